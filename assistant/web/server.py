"""The page's server: Starlette under uvicorn, as one task of the daemon's event loop.

GET  /             the page and its parts (FILES)        GET /events   the newest state, as it comes
GET  /api/frame    the newest frame                      POST /api/setting  {"rod": NAME, FIELD: VALUE}
GET  /api/forecast the newest forecast, or a what-if (ahead.py)
                                                         POST /api/note     {"rod": NAME, "kind": K, "value": V}
                                                         POST /api/alert    {"do": "acknowledge", "key": KEY}
                                                         POST /api/event    {"rod": NAME, "kind": K, "value": V}
GET  /signalk, /signalk/v1/stream: see signalk_ws.py; only where a Feed is given
"""

from __future__ import annotations

import asyncio
import contextlib
import dataclasses
import math
import socket
import time
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Literal

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from uvicorn.protocols.http.h11_impl import H11Protocol

from assistant.configured import BodyType, Rod
from assistant.messages import AlertAction, Frame, LineSetting
from assistant.payloads import Json, frame_object, frame_payload, shapes_object, to_json
from assistant.units import DISPLAY_UNITS
from assistant.web import signalk_ws
from assistant.web.actions import parse_action
from assistant.web.ahead import AskAhead, Foreteller
from assistant.web.events import EventStream, Newest
from assistant.web.guard import LOCAL_NAMES, Guard, allowed_hosts, is_loopback
from assistant.web.ports import listening
from assistant.web.settings import MAX_BODY_BYTES, Refused, limits_of, parse_setting
from assistant.web.signalk import Feed
from assistant.web.subscriptions import MESSAGE_BYTES

PAGE = Path(__file__).parent / "page"
JAVASCRIPT = "text/javascript; charset=utf-8"
FILES: Mapping[str, tuple[str, str]] = {  # path: (file of the page, content type)
    "/": ("index.html", "text/html; charset=utf-8"),
    "/style.css": ("style.css", "text/css; charset=utf-8"),
    "/app.js": ("app.js", JAVASCRIPT),
    "/link.js": ("link.js", JAVASCRIPT),
    "/units.js": ("units.js", JAVASCRIPT),
    "/pen.js": ("pen.js", JAVASCRIPT),
    "/strip.js": ("strip.js", JAVASCRIPT),
    "/ruler.js": ("ruler.js", JAVASCRIPT),
    "/spread.js": ("spread.js", JAVASCRIPT),
    "/rows.js": ("rows.js", JAVASCRIPT),
    "/beside.js": ("beside.js", JAVASCRIPT),
    "/change.js": ("change.js", JAVASCRIPT),
    "/happened.js": ("happened.js", JAVASCRIPT),
    "/quiet.js": ("quiet.js", JAVASCRIPT),
    "/player.js": ("player.js", JAVASCRIPT),
    "/note.js": ("note.js", JAVASCRIPT),
    "/alerts.js": ("alerts.js", JAVASCRIPT),
    "/ahead.js": ("ahead.js", JAVASCRIPT),
    "/whatif.js": ("whatif.js", JAVASCRIPT),
    "/speech.js": ("speech.js", JAVASCRIPT),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}
SIDES = ("port", "centre", "starboard")
PORTS_TRIED = 100


def port_to_starboard(rods: Sequence[Rod]) -> list[str]:
    """Names of the rods as the page orders them: by side, then by where the tip is."""
    ordered = sorted(rods, key=lambda rod: (SIDES.index(rod.side), rod.tip_starboard_m))
    return [rod.name for rod in ordered]


class _Protocol(H11Protocol):
    """Tell the application at once when a client does not read: nothing piles up in the event loop."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        transport.set_write_buffer_limits(high=0)
        super().connection_made(transport)


class _Server(uvicorn.Server):
    """uvicorn without its own signal handlers: Ctrl-C belongs to the daemon."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class PageServer:
    """The page of one boat: `offer(frame)` from the loop, `await serve(stop)` as one task.

    Args:
        port: the first port to try; `bind` takes the next free one.
        title: the boat's name, shown as text.
        units: "angler" or "metric".
        rods: all rods, in any order.
        on_setting: called with each checked LineSetting.
        bodies: the body types, for the range of each planer's dial.
        now_s: t_s [s] of a setting made now.
        on_action: called with each checked AlertAction.
        on_note: called with the body of each note; raises Refused. None: notes are not taken.
        kinds: what may be noted, for the form: {word: {"words": [...], "unit": SI unit}}.
        on_player: called with what the bar of a recording asks for; raises Refused. None: it is none.
        signalk: what is given to Signal K clients; None: nothing is.
        foreteller: who makes forecasts, if anybody does.
        host: the address to listen on; loopback unless the network is meant to see the page.
        names: host names besides the local ones under which the page may be asked for.
    """

    def __init__(
        self,
        port: int,
        title: str,
        units: Literal["angler", "metric"],
        rods: Sequence[Rod],
        on_setting: Callable[[LineSetting], None],
        *,
        bodies: Mapping[str, BodyType] | None = None,
        now_s: Callable[[], float] = lambda: math.nan,
        on_action: Callable[[AlertAction], None] = lambda action: None,
        on_note: Callable[[bytes], None] | None = None,
        on_event: Callable[[bytes], Awaitable[Json]] | None = None,
        kinds: Mapping[str, object] | None = None,
        on_player: Callable[[bytes], Json] | None = None,
        foreteller: Foreteller | None = None,
        signalk: Feed | None = None,
        host: str = "127.0.0.1",
        names: Sequence[str] = (),
    ) -> None:
        self.port = port
        self._host = host
        self._names = (*LOCAL_NAMES, *names)
        self._on_setting = on_setting
        self._now_s = now_s
        self._on_action = on_action
        self._on_note = on_note
        self._on_event = on_event
        self._on_player = on_player
        self._signalk = signalk
        self._ask_ahead = AskAhead(foreteller)
        self._limits = {rod.name: limits_of(rod, bodies or {}) for rod in rods}
        self._fixed: Json = {
            "title": title,
            "order": port_to_starboard(rods),
            "about": {rod.name: {"text": rod.about, "side": rod.side} for rod in rods},
            "dials": {rod: limits.dial for rod, limits in self._limits.items()},
            "labels": {rod: limits.labels for rod, limits in self._limits.items()},
            "kinds": dict(kinds or {}),
            "units": {unit: dataclasses.asdict(row) for unit, row in DISPLAY_UNITS[units].items()},
        }
        self._newest = Newest(time.monotonic)
        self._frame: Frame | None = None
        self._body: bytes | None = None  # of a recording: its state, the frame in it
        self._socket: socket.socket | None = None

    @property
    def url(self) -> str:
        """Where to look; the port is right once bound."""
        return f"http://{self._host}:{self.port}/"

    @property
    def clients(self) -> int:
        """How many pages are watching."""
        return self._newest.clients

    def offer(self, frame: Frame, extras: Mapping[str, object] | None = None) -> None:
        """Show a newer frame. Never blocks.

        Args:
            frame: what to show.
            extras: JSON added to the event: "status" {name: anything}, shown as it is; "causes" {boat quantity:
                why it is not ok}, shown instead of its source; "limits" {rod: what widens its depth most}.
        """
        self._frame = frame
        if self._signalk is not None:
            self._signalk.offer(frame)
        self._newest.put(lambda: to_json({**self.state(frame), **(extras or {})}))

    def state(self, frame: Frame) -> Json:
        """All that the page is told of a frame."""
        return {**frame_object(frame), "shapes": shapes_object(frame), **self._fixed}

    def offer_body(self, body: bytes) -> None:
        """Show a state that was made before, as JSON."""
        self._body = body
        self._newest.put(lambda: body)

    def bind(self) -> int:
        """Take the first free port from the one asked for; the port used.

        Raises:
            OSError: none of PORTS_TRIED ports is free.
        """
        self._socket = listening(self._host, self.port, PORTS_TRIED, "with --port")
        self.port = self._socket.getsockname()[1]
        return self.port

    async def serve(self, stop: asyncio.Event) -> None:
        """Serve until `stop` is set."""
        if self._socket is None:
            self.bind()
        assert self._socket is not None
        config = uvicorn.Config(
            self._application(stop), http=_Protocol, lifespan="off", loop="none",
            ws="none" if self._signalk is None else signalk_ws.Protocol,
            ws_max_size=MESSAGE_BYTES, ws_per_message_deflate=False,
            log_config=None, log_level="critical", access_log=False,
            proxy_headers=False, server_header=False, timeout_graceful_shutdown=1,
        )  # fmt: skip
        server = _Server(config)
        serving = asyncio.create_task(server.serve(sockets=[self._socket]), name="web.uvicorn")
        stopping = asyncio.create_task(stop.wait())
        try:
            await asyncio.wait([serving, stopping], return_when=asyncio.FIRST_COMPLETED)
        finally:
            stop.set()  # also when cancelled: the event streams have to end
            stopping.cancel()
            server.should_exit = True
            await serving
            self._socket.close()
            self._socket = None

    def _application(self, stop: asyncio.Event) -> Starlette:
        pages = [Route(path, _file(*FILES[path])) for path in FILES]
        signalk = [] if self._signalk is None else signalk_ws.routes(self._signalk, stop)
        return Starlette(
            routes=[
                *pages,
                *signalk,
                Route("/events", EventStream(self._newest, stop)),
                Route("/api/frame", self._get_frame),
                Route("/api/forecast", self._ask_ahead.answer),
                Route("/api/advice", self._ask_ahead.advice),
                Route("/api/setting", self._post_setting, methods=["POST"]),
                Route("/api/note", self._post_note, methods=["POST"]),
                Route("/api/event", self._post_event, methods=["POST"]),
                Route("/api/player", self._post_player, methods=["POST"]),
                Route("/api/alert", self._post_alert, methods=["POST"]),
                Route("/api/me", self._get_me),
            ],
            middleware=[Middleware(Guard, hosts=allowed_hosts(self._names, self.port))],
        )

    async def _get_frame(self, request: Request) -> Response:
        body = self._body if self._frame is None else frame_payload(self._frame)
        if body is None:
            return JSONResponse({"error": "no frame yet"}, 503, {"Retry-After": "1"})
        return Response(body, media_type="application/json")

    async def _get_me(self, request: Request) -> Response:
        return JSONResponse({"may_set": is_loopback(request.scope)})

    async def _post_setting(self, request: Request) -> Response:
        try:
            setting = parse_setting(await _body(request), self._limits, self._now_s())
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)
        self._on_setting(setting)
        return JSONResponse({"taken": setting.rod})

    async def _post_alert(self, request: Request) -> Response:
        try:
            action = parse_action(await _body(request), self._now_s())
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)
        self._on_action(action)
        return JSONResponse({"taken": action.kind})

    async def _post_player(self, request: Request) -> Response:
        try:
            body = await _body(request)
            if self._on_player is None:
                raise Refused(404, "this is no recording")
            return JSONResponse(self._on_player(body))
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)

    async def _post_event(self, request: Request) -> Response:
        try:
            body = await _body(request)
            if self._on_event is None:
                raise Refused(404, "events are not taken here")
            return JSONResponse(await self._on_event(body))
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)

    async def _post_note(self, request: Request) -> Response:
        try:
            body = await _body(request)
            if self._on_note is None:
                raise Refused(404, "notes are not taken here")
            self._on_note(body)
        except Refused as refused:
            return JSONResponse({"error": str(refused)}, refused.status)
        return JSONResponse({"taken": True})


async def _body(request: Request) -> bytes:
    """The body of a request, if it is of modest size."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > MAX_BODY_BYTES:
            raise Refused(413, f"body: more than {MAX_BODY_BYTES} bytes")
    return body


def _file(name: str, content_type: str) -> Callable[[Request], Awaitable[Response]]:
    """One file of the page, read once."""
    content = (PAGE / name).read_bytes()

    async def answer(request: Request) -> Response:
        return Response(content, headers={"Content-Type": content_type})

    return answer
