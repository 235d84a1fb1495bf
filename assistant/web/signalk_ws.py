"""Signal K under the page's server: GET /signalk says where it is, /signalk/v1/stream is the WebSocket.

Of the REST API there is /signalk/v1/api/self alone: a server that takes our data for its own boat asks whose it is.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

from assistant.web.signalk import MAX_CLIENTS, Client, Feed

SUBSCRIBE = ("self", "all", "none")
CLOSE_S = 0.5  # for a goodbye
NOT_OFFERED = ("startTime", "playbackRate")  # the past is played by `spreadwatch replay`


class Protocol(WebSocketsSansIOProtocol):
    """uvicorn's, but a client that does not take what it was sent is cut off at its end, not waited for."""

    async def run_asgi(self) -> None:
        """One connection."""
        await super().run_asgi()
        self._cut()

    def shutdown(self) -> None:
        """The server's end."""
        super().shutdown()
        self._cut()

    def _cut(self) -> None:
        if self.transport.get_write_buffer_size():
            self.transport.abort()


def routes(feed: Feed, stop: asyncio.Event) -> list[BaseRoute]:
    """What the page's server answers for Signal K, until `stop` is set."""

    async def discovery(request: Request) -> Response:
        return JSONResponse(feed.discovery(request.headers["host"]))  # which the guard knows to be ours

    async def whose(request: Request) -> Response:
        return JSONResponse(feed.context)

    async def stream(socket: WebSocket) -> None:
        refused = _refusal(feed, socket)
        if refused is not None:
            await socket.send_denial_response(refused)
            return
        await socket.accept()
        client = Client(feed, socket.query_params.get("subscribe", "self") != "none")
        await client.serve(socket.send_text, _messages(socket), stop)
        with contextlib.suppress(
            RuntimeError, OSError, WebSocketDisconnect
        ):  # gone already, or does not read
            async with asyncio.timeout(CLOSE_S):
                await socket.close(1001)

    return [
        Route("/signalk", discovery),
        Route("/signalk/v1/api/self", whose),
        WebSocketRoute("/signalk/v1/stream", stream),
    ]


def _refusal(feed: Feed, socket: WebSocket) -> Response | None:
    asked = socket.query_params
    if asked.get("subscribe", "self") not in SUBSCRIBE or any(name in asked for name in NOT_OFFERED):
        return PlainTextResponse("only subscribe=self, all or none\n", 501)
    if feed.clients >= MAX_CLIENTS:
        return PlainTextResponse(f"{MAX_CLIENTS} are connected already\n", 503)
    return None


async def _messages(socket: WebSocket) -> AsyncIterator[str | bytes]:
    """What the client sends, until it leaves."""
    while True:
        try:
            message = await socket.receive()
        except WebSocketDisconnect:
            return
        if message["type"] != "websocket.receive":
            return
        text, data = message.get("text"), message.get("bytes")
        yield text if text is not None else data or b""
