"""Signal K over TCP: one JSON a line; a client has to subscribe first ("Streaming over TCP", 1.7)."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator

from assistant.web.ports import listening
from assistant.web.signalk import MAX_CLIENTS, Client, Feed, SendText
from assistant.web.subscriptions import MESSAGE_BYTES

PORTS_TRIED = 20


class LineServer:
    """`bind()`, then `await serve(stop)` as one task; both do nothing where nothing is to be served."""

    def __init__(self, feed: Feed | None, port: int | None, host: str = "127.0.0.1") -> None:
        self._feed, self._port, self._host = feed, port, host
        self._socket: socket.socket | None = None
        self._answering: set[asyncio.Task[None]] = set()

    def bind(self) -> str:
        """Take the first free port from the one asked for; where that is, "" if nothing is to be served.

        Raises:
            OSError: none of PORTS_TRIED ports is free.
        """
        if self._feed is None or self._port is None:
            return ""
        self._socket = listening(self._host, self._port, PORTS_TRIED, "signalk_port")
        self._feed.tcp_port = self._socket.getsockname()[1]
        return f"tcp://{self._host}:{self._feed.tcp_port}"

    async def serve(self, stop: asyncio.Event) -> None:
        """Serve lines to whoever connects, until `stop` is set or cancelled."""
        if self._socket is None:
            return
        feed = self._feed
        assert feed is not None

        async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            self._answering.add(task)
            writer.transport.set_write_buffer_limits(high=0)  # drain waits until the kernel has taken it all
            try:
                if feed.clients < MAX_CLIENTS:
                    await Client(feed, subscribed=False).serve(_sender(writer), _lines(reader), stop)
            finally:
                writer.transport.abort()
                self._answering.discard(task)

        server = await asyncio.start_server(answer, sock=self._socket, limit=MESSAGE_BYTES)
        try:
            await stop.wait()
        finally:
            server.close()
            for task in self._answering:
                task.cancel()
            await asyncio.gather(*self._answering, return_exceptions=True)


def _sender(writer: asyncio.StreamWriter) -> SendText:
    async def send(text: str) -> None:
        writer.write(text.encode("ascii") + b"\r\n")
        await writer.drain()

    return send


async def _lines(reader: asyncio.StreamReader) -> AsyncIterator[str | bytes]:
    """Lines of a client until it leaves, or sends one too long."""
    with contextlib.suppress(ValueError, OSError):
        while line := await reader.readline():
            yield line
