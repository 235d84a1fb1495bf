"""Running a source beside a test."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import aclosing, asynccontextmanager, suppress

from wire_tools import summed

from assistant.messages import Sentence
from firmware_bridge.instruments import Source

PATIENCE_S = 10.0
VHW = summed("IIVHW,,T,200.0,M,1.8,N,,K")
DPT = summed("SDDPT,40.0,0.4,")


def free_port(kind: socket.SocketKind) -> int:
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@asynccontextmanager
async def listening(source: Source) -> AsyncIterator[list[Sentence]]:
    """The source at work in a task of its own; the list grows as sentences come."""
    got: list[Sentence] = []

    async def listen() -> None:
        async with aclosing(source.sentences()) as sentences:
            async for sentence in sentences:
                got.append(sentence)  # noqa: PERF401  # looked at while it grows

    task = asyncio.create_task(listen())
    try:
        yield got
        assert not task.done() or task.exception() is None
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def until(condition: Callable[[], bool]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not condition():
            await asyncio.sleep(0.005)


def clock() -> float:
    return asyncio.get_running_loop().time()
