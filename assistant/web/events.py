"""The newest state for every page that watches: one slot for all, never a queue.

A page that stops reading gets no backlog when it wakes: the kernel may hold SEND_BUFFER_BYTES for it, the
event loop one event, and everything in between is skipped. Each event carries `stamp_s`, the server's clock
when its frame came, and `age_s`, its age when it was sent: a page can tell an old one without a common clock.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import Message, Receive, Scope, Send

MAX_CLIENTS = 50
SEND_BUFFER_BYTES = 16_384
STALLED_S = 15.0  # a page that takes nothing for so long loses its place; it comes back by itself
QUIET_S = 5.0  # without frames a comment is sent, so that a page that left is noticed

HEADERS = [(b"content-type", b"text/event-stream; charset=utf-8"), (b"x-accel-buffering", b"no")]


class Newest:
    """The newest state, built only when somebody looks, and those who wait for the next."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self.count = 0
        self.clients = 0
        self.stamp_s = 0.0
        self._clock = clock
        self._build: Callable[[], bytes] | None = None
        self._body: bytes | None = None
        self._next = asyncio.Event()

    def put(self, build: Callable[[], bytes]) -> None:
        """Take a newer state; `build` gives it as a JSON object, once, if anybody looks."""
        self.count += 1
        self.stamp_s = self._clock()
        self._build, self._body = build, None
        self._next.set()
        self._next = asyncio.Event()

    def body(self) -> bytes | None:
        """The newest state as a JSON object with `age_s` and `stamp_s`; None before the first."""
        if self._build is None:
            return None
        if self._body is None:
            self._body = self._build()
        age_s = self._clock() - self.stamp_s
        return b'{"age_s":%.3f,"stamp_s":%.3f,' % (age_s, self.stamp_s) + self._body[1:]

    async def newer_than(self, count: int) -> bool:
        """Wait until there is more than `count`; False when nothing came for QUIET_S."""
        if self.count <= count:
            try:
                async with asyncio.timeout(QUIET_S):
                    await self._next.wait()
            except TimeoutError:
                return False
        return True


class EventStream:
    """`/events` as an ASGI application: at most MAX_CLIENTS at a time, until `stop` is set."""

    def __init__(self, newest: Newest, stop: asyncio.Event) -> None:
        self.newest = newest
        self.stop = stop

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The ASGI application."""
        if Request(scope).method not in ("GET", "HEAD"):
            await PlainTextResponse("only GET\n", 405)(scope, receive, send)
            return
        if self.newest.clients >= MAX_CLIENTS:
            text = f"Sorry, {MAX_CLIENTS} pages are watching already. Close one and try again.\n"
            await PlainTextResponse(text, 503, {"Retry-After": "5"})(scope, receive, send)
            return
        self.newest.clients += 1
        sending = asyncio.create_task(self._send(send), name="web.events")
        leaving = [asyncio.create_task(self.stop.wait()), asyncio.create_task(_until_gone(receive))]
        try:
            await asyncio.wait([sending, *leaving], return_when=asyncio.FIRST_COMPLETED)
        finally:
            self.newest.clients -= 1
            for task in (sending, *leaving):
                task.cancel()
            await asyncio.gather(sending, *leaving, return_exceptions=True)
        if self.stop.is_set():
            await _within(1.0, send({"type": "http.response.body", "body": b"", "more_body": False}))

    async def _send(self, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": HEADERS})
        seen = 0
        event = b"retry: 1000\n\n"
        while await _within(
            STALLED_S, send({"type": "http.response.body", "body": event, "more_body": True})
        ):
            body = self.newest.body() if await self.newest.newer_than(seen) else None
            seen = self.newest.count
            event = b": quiet\n\n" if body is None else b"data: " + body + b"\n\n"


async def _until_gone(receive: Receive) -> None:
    message: Message = await receive()
    while message["type"] != "http.disconnect":
        message = await receive()


async def _within(timeout_s: float, sending: Awaitable[None]) -> bool:
    """Whether it went out in time."""
    try:
        async with asyncio.timeout(timeout_s):
            await sending
    except TimeoutError:
        return False
    return True
