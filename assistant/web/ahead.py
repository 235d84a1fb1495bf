"""What the page may ask of the forecasts: the newest one, and what if the boat did this or that.

GET /api/forecast                                        the newest forecast
GET /api/forecast?side=port&degrees=90&rate=2            what if: also radius=120ft, speed=1.8mph; side=straight, fish
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from assistant.web.settings import Refused

MOST_QUERY = 300


class Foreteller(Protocol):
    """Who makes forecasts."""

    def payload(self) -> bytes | None:
        """The newest one as a JSON object; None while there is none."""

    async def what_if(self, asked: Mapping[str, str]) -> bytes:
        """The one asked for; raises Refused."""


class AskAhead:
    """The route's endpoint; without a foreteller there are no forecasts here."""

    def __init__(self, foreteller: Foreteller | None) -> None:
        self._foreteller = foreteller

    async def answer(self, request: Request) -> Response:
        """The newest forecast, or the one that the query asks for."""
        if self._foreteller is None:
            return JSONResponse({"error": "no forecasts are made here"}, 404)
        if not request.query_params:
            newest = self._foreteller.payload()
            if newest is None:
                return JSONResponse({"error": "no forecast yet"}, 503, {"Retry-After": "1"})
            return Response(newest, media_type="application/json")
        try:
            if len(request.url.query) > MOST_QUERY:
                raise Refused(413, f"query: more than {MOST_QUERY} characters")
            told = await self._foreteller.what_if(dict(request.query_params))
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)
        return Response(told, media_type="application/json")
