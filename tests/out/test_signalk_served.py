"""Signal K as others on board get it: real WebSockets and TCP, who may ask, and that nobody waits for anybody."""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from typing import Any

import pytest
from out_frames import demo_frame, demo_line, demo_q, demo_rods
from page_tools import Serving, ask, serving
from signalk_schema import judge_with
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import InvalidStatus

from assistant.messages import LineState
from assistant.web.events import SEND_BUFFER_BYTES
from assistant.web.server import PageServer
from assistant.web.signalk import MAX_CLIENTS, Feed
from assistant.web.signalk_tcp import LineServer
from assistant.web.subscriptions import Subscriptions
from firmware_bridge.broker import free_port

P1 = "fishing.lines.P1.lureDepth"
Message = dict[str, Any]


@contextlib.asynccontextmanager
async def offering(feeding: bool = True) -> AsyncIterator[tuple[Serving, Feed, int]]:
    """The page's server with Signal K, over WebSocket and TCP."""
    feed = Feed("marigold", "", "simulated", "0.1.0")
    lines = LineServer(feed, free_port(18375))
    server = PageServer(
        free_port(18640), "Marigold", "angler", demo_rods(), lambda setting: None, signalk=feed
    )
    server.bind()
    lines.bind()
    here, stop = Serving(server, demo_frame(), {}), asyncio.Event()
    tasks = [asyncio.create_task(server.serve(stop)), asyncio.create_task(lines.serve(stop))]
    feeder = asyncio.create_task(here.feed() if feeding else asyncio.sleep(0))
    try:
        assert feed.tcp_port is not None
        yield here, feed, feed.tcp_port
    finally:
        feeder.cancel()
        stop.set()
        async with asyncio.timeout(5):  # it ends, whoever is connected
            await asyncio.gather(*tasks)


def address(here: Serving, query: str = "") -> str:
    return f"ws://127.0.0.1:{here.server.port}/signalk/v1/stream{query}"


async def read(client: ClientConnection) -> Message:
    async with asyncio.timeout(5):
        message: Message = json.loads(await client.recv())
        return message


def values_of(message: Message) -> dict[str, Any]:
    (update,) = message["updates"]
    return {pair["path"]: pair["value"] for pair in update["values"]}


async def test_hello_then_what_it_means_then_values(need: Callable[[str], str]) -> None:
    judge = judge_with(need("node"))
    async with offering() as (here, feed, _), connect(address(here), proxy=None) as client:
        hello, meta, first, second = [await read(client) for _ in range(4)]
        discovery = json.loads((await ask(here, "/signalk"))[2])
        assert json.loads((await ask(here, "/signalk/v1/api/self"))[2]) == feed.context
    assert hello["self"] == first["context"] == feed.context
    assert first["updates"][0]["$source"] == "spreadwatch.marigold.simulated"
    assert first["updates"][0]["timestamp"] == "2026-07-18T08:35:12.250Z"
    assert values_of(first)[P1] == values_of(second)[P1] == 20.7
    described = {pair["path"]: pair["value"] for pair in meta["updates"][0]["meta"]}
    assert set(described) == set(values_of(first)) == set(values_of(second))
    assert described[P1]["units"] == "m"
    stream = discovery["endpoints"]["v1"]
    assert stream["signalk-ws"] == address(here)
    assert stream["version"] == hello["version"]
    said = judge([("hello", hello), ("delta", meta), ("delta", first), ("discovery", discovery)])
    assert [one["errors"] for one in said] == [[]] * 4


async def test_subscriptions_decide_what_comes() -> None:
    """subscribe=none: nothing but the hello, until it is asked for; of two paths, those two; then of one."""
    wanted = {
        "context": "vessels.self",
        "subscribe": [{"path": "navigation.*"}, {"path": "fishing.lines.*.lureDepth"}],
    }
    unwanted = {"context": "*", "unsubscribe": [{"path": "navigation.*"}]}
    async with offering() as (here, _, _), connect(address(here, "?subscribe=none"), proxy=None) as client:
        assert "roles" in await read(client)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.8):
                await client.recv()
        await client.send("{nonsense")
        await client.send(json.dumps({**wanted, "context": "vessels.urn:mrn:imo:mmsi:230099999"}))
        await client.send(json.dumps(wanted))
        assert "meta" in (await read(client))["updates"][0]
        got = set(values_of(await read(client)))
        own = (
            "speedThroughWater",
            "headingTrue",
            "speedOverGround",
            "courseOverGroundTrue",
            "rateOfTurn",
            "position",
        )
        lures = {f"fishing.lines.{rod}.lureDepth" for rod in here.frame.lines}
        assert got == {f"navigation.{leaf}" for leaf in own} | lures
        await client.send(json.dumps(unwanted))
        async with asyncio.timeout(5):
            while "navigation.headingTrue" in values_of(await read(client)):
                pass


def test_rows_of_a_subscription() -> None:
    """Wildcards and periods; the clock is given."""
    paths = ["navigation.headingTrue", "navigation.position", P1]
    some = Subscriptions("vessels.x")
    some.take(
        json.dumps({"subscribe": [{"path": "navigation.*", "policy": "fixed", "period": 2000}, {"path": P1}]})
    )
    assert some.due(paths, 10.0) == paths
    assert some.due(paths, 10.5) == [P1]
    assert some.due(paths, 12.0) == paths
    some.take(json.dumps({"unsubscribe": [{"path": "*"}]}))
    assert some.due(paths, 20.0) == []
    for odd in (
        "[]",
        "1",
        '{"subscribe":1}',
        '{"subscribe":[1,{"path":2},{"path":""}]}',
        "[" * 9000,
        "x" * 20000,
    ):
        some.take(odd)
    some.take(json.dumps({"subscribe": [{"path": f"a.b{n}"} for n in range(500)]}))
    assert len(some.rows) == 64


@pytest.mark.parametrize(
    ("query", "headers", "status"),
    [
        ("", {"Host": "evil.example"}, 403),
        ("", {"Origin": "http://evil.example"}, 403),
        ("", {"Origin": "null"}, 403),
        ("?subscribe=some", {}, 501),
        ("?startTime=2026-07-18T08:35:12Z", {}, 501),
    ],
)
async def test_who_is_refused(query: str, headers: dict[str, str], status: int) -> None:
    """By the handshake itself, before anything is sent; the same socket is fine with our own names."""
    async with offering() as (here, feed, _):
        raw = {
            "Upgrade": "websocket",
            "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
            "Sec-WebSocket-Version": "13",
        }
        answer = await ask(here, f"/signalk/v1/stream{query}", **{"Connection": "Upgrade", **raw, **headers})
        assert answer[0] == status
        assert answer[1]["x-content-type-options"] == "nosniff"
        assert feed.clients == 0
        port = here.server.port
        async with connect(address(here), origin=f"http://localhost:{port}", proxy=None) as client:  # type: ignore[arg-type]
            assert "roles" in await read(client)


async def test_without_signal_k_there_is_none() -> None:
    async with serving() as here:
        assert (await ask(here, "/signalk"))[0] == (await ask(here, "/signalk/v1/api/self"))[0] == 404
        with pytest.raises(InvalidStatus):
            async with connect(address(here), proxy=None):
                pass


async def test_one_client_too_many() -> None:
    async with offering() as (here, feed, port), contextlib.AsyncExitStack() as stack:
        for _ in range(MAX_CLIENTS):
            client = await stack.enter_async_context(connect(address(here), proxy=None))
            await read(client)
        assert feed.clients == MAX_CLIENTS
        with pytest.raises(InvalidStatus) as refused:
            await connect(address(here), proxy=None)
        assert refused.value.response.status_code == 503
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert await reader.read() == b""
        writer.close()


async def test_lines_over_tcp_come_when_asked_for() -> None:
    async with offering() as (_, feed, port):
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        hello = json.loads(await reader.readline())
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.8):
                await reader.readline()
        writer.write(b'{"context":"vessels.self","subscribe":[{"path":"*"}]}\r\n')
        meta, values = [await reader.readline() for _ in range(2)]
        writer.close()
        async with asyncio.timeout(5):
            while feed.clients:
                await asyncio.sleep(0.02)
    assert hello["self"] == feed.context
    assert meta.endswith(b"\r\n") and values_of(json.loads(values))[P1] == 20.7


def at_depth(depth_m: float) -> LineState:
    """A line whose lure is so deep."""
    return replace(demo_line("P1"), depth_m=demo_q(depth_m, "m", 1.0))


def asleep(port: int) -> socket.socket:
    """A client that connects and does not read, with as small a buffer as there is."""
    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    sock.connect(("127.0.0.1", port))
    sock.setblocking(False)
    return sock


HANDSHAKE = (
    "GET /signalk/v1/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
)


@pytest.mark.parametrize("over", ["websocket", "tcp"])
async def test_who_stops_reading_keeps_nobody_waiting_and_wakes_to_news(over: str) -> None:
    """300 frames while it sleeps: what was kept for it is what the kernel holds, and the rest it never sees."""
    loop = asyncio.get_running_loop()
    async with offering(feeding=False) as (here, feed, tcp), connect(address(here), proxy=None) as awake:
        sock = asleep(here.server.port if over == "websocket" else tcp)
        asking = (
            HANDSHAKE.format(port=here.server.port)
            if over == "websocket"
            else '{"subscribe":[{"path":"*"}]}\r\n'
        )
        await loop.sock_sendall(sock, asking.encode())
        async with asyncio.timeout(5):
            while feed.clients < 2:
                await asyncio.sleep(0.02)
        await read(awake)
        for number in range(300):
            depth_m = 10.0 + number / 100.0
            here.server.offer(demo_frame(P1=at_depth(depth_m)))
            while "meta" in (message := await read(awake))["updates"][0]:
                pass
            assert values_of(message)[P1] == pytest.approx(depth_m)  # whoever reads gets every one of them
        got = b""
        async with asyncio.timeout(10):
            while b'"fishing.lines.P1.lureDepth","value":12.99' not in got:
                got += await loop.sock_recv(sock, 65536)
        sock.close()
    kept = got.count(b'"fishing.lines.P1.lureDepth","value"')
    assert kept < 40, f"{kept} old deltas were kept for it"
    assert len(got) < 12 * SEND_BUFFER_BYTES
