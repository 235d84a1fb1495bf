"""Signal K over real WebSockets and TCP: what is asked, what is framed, what becomes of a server that goes."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from signalk_tools import HELLO, delta
from source_tools import VHW, clock, listening, until
from websockets.asyncio.server import ServerConnection, serve

from firmware_bridge.framing import LONGEST_DELTA
from firmware_bridge.instruments import open_source
from firmware_bridge.wires import MESSAGE_BYTES

DELTA = delta({"navigation.speedThroughWater": 1.5})


async def test_messages_of_a_websocket_become_lines() -> None:
    """Also one written on several lines, one in bytes, several in one, a long one; what is asked for is in the path."""
    asked: list[str] = []

    async def answer(connection: ServerConnection) -> None:
        assert connection.request is not None
        asked.append(connection.request.path)
        for message in (
            HELLO,
            json.dumps(json.loads(DELTA), indent=1),
            DELTA.encode(),
            "{" + "1" * LONGEST_DELTA,
        ):
            await connection.send(message)
        await connection.wait_closed()

    async with serve(answer, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        source = open_source(f"signalk-ws:127.0.0.1:{port}", clock)
        async with listening(source) as got:
            await until(lambda: len(got) == 3 and source.status().counts["too_long"] == 1)
            assert source.status().state == "connected"
    assert asked == ["/signalk/v1/stream?subscribe=self"]
    assert [json.loads(sentence.text) for sentence in got] == [json.loads(HELLO), *[json.loads(DELTA)] * 2]
    assert {sentence.source for sentence in got} == {source.url}


async def test_another_path_and_a_refusal() -> None:
    """A server that refuses is asked again, and what it answered is shown."""
    asked: list[str] = []

    async def answer(connection: ServerConnection) -> None:
        raise AssertionError("nobody gets so far")

    def refuse(connection: ServerConnection, request: object) -> object:
        asked.append(request.path)
        return connection.respond(401, "no")

    async with serve(answer, "127.0.0.1", 0, process_request=refuse) as server:
        port = server.sockets[0].getsockname()[1]
        source = open_source(f"signalk-ws:127.0.0.1:{port}/here?token=x", clock)
        async with listening(source):
            await until(lambda: len(asked) >= 2)
    assert set(asked) == {"/here?token=x"}
    assert "401" in source.status().error


async def test_a_websocket_that_breaks_is_opened_again() -> None:
    """By a goodbye, by a broken connection, by a message too large."""
    opened = 0

    async def answer(connection: ServerConnection) -> None:
        nonlocal opened
        opened += 1
        await connection.send(DELTA)
        if opened == 2:
            connection.transport.abort()
        elif opened == 3:
            await connection.send("x" * (MESSAGE_BYTES + 1))
            await connection.wait_closed()
        elif opened == 4:
            await connection.wait_closed()

    async with serve(answer, "127.0.0.1", 0) as server:
        port = server.sockets[0].getsockname()[1]
        source = open_source(f"signalk-ws:127.0.0.1:{port}", clock)
        async with listening(source) as got:
            await until(lambda: len(got) == 4)
    assert opened == 4 == source.status().opened


@asynccontextmanager
async def tcp_server(lines: bytes, asked: list[bytes]) -> AsyncIterator[int]:
    """Sends `lines` once it was asked for something."""

    done = asyncio.Event()

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(HELLO.encode() + b"\r\n")
        asked.append(await reader.readline())
        writer.write(lines)
        await reader.read()
        writer.close()
        await writer.wait_closed()
        done.set()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]
        await done.wait()


async def test_a_tcp_server_is_asked_once() -> None:
    """Signal K 1.7, streaming over TCP: no subscription at first, one JSON a line. Sentences may stand between."""
    asked: list[bytes] = []
    async with tcp_server(f"{DELTA}\r\n{VHW}\r\n{DELTA}".encode(), asked) as port:
        source = open_source(f"signalk-tcp:127.0.0.1:{port}", clock)
        async with listening(source) as got:
            await until(lambda: len(got) == 3)
            assert [sentence.text for sentence in got] == [HELLO, DELTA, VHW]
    assert asked == [b'{"context":"vessels.self","subscribe":[{"path":"*"}]}\r\n']


async def test_a_plain_tcp_source_asks_nothing() -> None:
    asked: list[bytes] = []
    async with tcp_server(b"", asked) as port:
        source = open_source(f"tcp:127.0.0.1:{port}", clock)
        async with listening(source) as got:
            await until(lambda: len(got) == 1)
            await asyncio.sleep(0.05)
    assert asked == [b""]  # the end, and nothing before it
