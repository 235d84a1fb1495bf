"""What the page may ask of the forecasts: the newest one, and what if the boat did this or that.

GET /api/forecast                                        the newest forecast
GET /api/forecast?side=port&degrees=90&rate=2            what if: also radius=120ft, speed=1.8mph; side=straight, fish
GET /api/advice?side=port&degrees=90&rate=2              what would keep every line clear through that turn
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Protocol

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from assistant.web.settings import Refused

MOST_QUERY = 300
NONE_HERE = JSONResponse({"error": "no forecasts are made here"}, 404)


class Foreteller(Protocol):
    """Who makes forecasts."""

    def payload(self) -> bytes | None:
        """The newest one as a JSON object; None while there is none."""

    async def what_if(self, asked: Mapping[str, str]) -> bytes:
        """The one asked for; raises Refused."""

    async def advice(self, asked: Mapping[str, str]) -> bytes:
        """What would keep every line clear; raises Refused."""


class AskAhead:
    """The routes' endpoints; without a foreteller there are no forecasts here."""

    def __init__(self, foreteller: Foreteller | None) -> None:
        self._foreteller = foreteller

    async def answer(self, request: Request) -> Response:
        """The newest forecast, or the one that the query asks for."""
        if self._foreteller is None:
            return NONE_HERE
        if request.query_params:
            return await _told(request, self._foreteller.what_if)
        newest = self._foreteller.payload()
        if newest is None:
            return JSONResponse({"error": "no forecast yet"}, 503, {"Retry-After": "1"})
        return Response(newest, media_type="application/json")

    async def advice(self, request: Request) -> Response:
        """What would keep every line clear through the turn that the query asks for."""
        return NONE_HERE if self._foreteller is None else await _told(request, self._foreteller.advice)


async def _told(request: Request, ask: Callable[[Mapping[str, str]], Awaitable[bytes]]) -> Response:
    try:
        if len(request.url.query) > MOST_QUERY:
            raise Refused(413, f"query: more than {MOST_QUERY} characters")
        return Response(await ask(dict(request.query_params)), media_type="application/json")
    except Refused as refused:
        return JSONResponse({"error": str(refused)}, refused.status)
