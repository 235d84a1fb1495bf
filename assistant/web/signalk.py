"""Our Signal K for whoever is connected: one slot with the newest Frame, one client object for each connection.

Nobody waits for a client: it is sent the newest values once it has taken the ones before, and those in between are
skipped. A client that takes nothing for STALLED_S loses its place.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable

from assistant import deltas
from assistant.deltas import Pair
from assistant.messages import Frame, Mode
from assistant.payloads import Json, to_json
from assistant.web.events import STALLED_S, Newest
from assistant.web.subscriptions import Subscriptions

MAX_CLIENTS = 20

SendText = Callable[[str], Awaitable[None]]


class Feed:
    """The newest Frame as Signal K, for all clients.

    Args:
        boat_id: of the configuration; vessel: the identity of our vessel, "" for one made from the boat's id.
        mode: what is not live says so in its source.
        program: version of this program.
    """

    def __init__(self, boat_id: str, vessel: str, mode: Mode, program: str) -> None:
        self.context = deltas.own_context(boat_id, vessel)
        self.tcp_port: int | None = None  # where lines over TCP are served
        self.newest = Newest(time.monotonic)
        self.clients = 0
        self._source = deltas.own_source(boat_id, mode)
        self._program = program
        self._frame: Frame | None = None
        self._pairs: list[Pair] = []

    def offer(self, frame: Frame) -> None:
        """Take a newer frame. Never blocks."""
        self._frame, self._pairs = frame, []
        self.newest.put(lambda: b"{}")

    def pairs(self) -> list[Pair]:
        """Paths and values of the newest frame, worked out once and only if anybody looks."""
        if self._frame is not None and not self._pairs:
            self._pairs = deltas.pairs_of(self._frame)
        return self._pairs

    def _utc(self) -> str | None:
        return None if self._frame is None else self._frame.utc

    def hello(self) -> str:
        """The first message of a connection."""
        return _text(deltas.hello(self.context, self._utc()))

    def values(self, pairs: list[Pair]) -> str:
        """A delta of these values, of the newest frame."""
        return _text(deltas.delta(self.context, self._source, self._utc(), pairs))

    def meaning(self, paths: list[str]) -> str:
        """A delta that says what paths mean."""
        return _text(deltas.meta_delta(self.context, self._source, paths))

    def discovery(self, host: str) -> Json:
        """The answer to "/signalk", asked for as `host`."""
        return deltas.discovery(host, self.tcp_port, self._program)


def _text(message: Json) -> str:
    return to_json(message).decode("ascii")


class Client:
    """One connection: hello, then what it subscribed to, with the meaning of each path before its first value."""

    def __init__(self, feed: Feed, subscribed: bool) -> None:
        self._feed = feed
        self._described: set[str] = set()
        self.subscriptions = Subscriptions(feed.context)
        if subscribed:
            self.subscriptions.everything()

    async def serve(self, send: SendText, heard: AsyncIterator[str | bytes], stop: asyncio.Event) -> None:
        """Talk until the client leaves, stalls, or `stop` is set."""
        self._feed.clients += 1
        tasks = [
            asyncio.create_task(self._send(send), name="signalk.send"),
            asyncio.create_task(self._hear(heard), name="signalk.hear"),
            asyncio.create_task(_set(stop)),
        ]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._feed.clients -= 1
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _hear(self, heard: AsyncIterator[str | bytes]) -> None:
        async for message in heard:
            self.subscriptions.take(message)

    async def _send(self, send: SendText) -> None:
        feed, seen = self._feed, 0
        async with asyncio.timeout(STALLED_S):
            await send(feed.hello())
        while True:
            if not await feed.newest.newer_than(seen):
                continue
            seen = feed.newest.count
            wanted = self._wanted()
            for text in wanted:
                async with asyncio.timeout(STALLED_S):
                    await send(text)

    def _wanted(self) -> list[str]:
        """The messages to send of the newest frame."""
        pairs = self._feed.pairs()
        due = set(self.subscriptions.due([path for path, _ in pairs], time.monotonic()))
        chosen = [pair for pair in pairs if pair[0] in due]
        new = [path for path, _ in chosen if path not in self._described]
        self._described.update(new)
        messages = [self._feed.meaning(new)] if new else []
        return [*messages, self._feed.values(chosen)] if chosen else []


async def _set(stop: asyncio.Event) -> None:
    await stop.wait()
