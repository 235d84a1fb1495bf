"""The page's server over real sockets: who may ask, what is refused, and that nobody gets a queue."""

from __future__ import annotations

import asyncio
import json
import signal
import socket
from typing import Any

import pytest
from out_frames import RODS, demo_frame, demo_rods
from page_tools import Serving, ask, post, serving

from assistant.messages import Inputs
from assistant.web.events import MAX_CLIENTS
from assistant.web.server import FILES, PAGE, port_to_starboard


async def watch(here: Serving, read: bool = True) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A page that watches; one that does not `read` has a small receive buffer, as a sleeping phone."""
    sock = socket.socket()
    if not read:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    sock.setblocking(False)
    await asyncio.get_running_loop().sock_connect(sock, ("127.0.0.1", here.server.port))
    reader, writer = await asyncio.open_connection(sock=sock, limit=2**20 if read else 2048)
    writer.write(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{here.server.port}\r\n\r\n".encode())
    return reader, writer


async def next_event(reader: asyncio.StreamReader) -> dict[str, Any]:
    async with asyncio.timeout(5):
        while not (line := await reader.readline()).startswith(b"data: "):
            assert line, "the stream ended"
    event: dict[str, Any] = json.loads(line[6:])
    return event


async def test_every_part_of_the_page_is_there_and_guarded() -> None:
    assert {name for name, _ in FILES.values()} == {file.name for file in PAGE.iterdir()}
    async with serving() as here:
        for path, (name, content_type) in FILES.items():
            status, headers, body = await ask(here, path)
            assert (status, body) == (200, (PAGE / name).read_bytes())
            assert headers["content-type"] == content_type
            assert headers["content-security-policy"].startswith("default-src 'self'")
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["referrer-policy"] == "no-referrer"
            assert "set-cookie" not in headers and "access-control-allow-origin" not in headers
        for path in ("/../server.py", "/..%2fserver.py", "/page/index.html", "//etc/passwd", "/app.js/"):
            status, _, body = await ask(here, path)
            assert status in (307, 404) and b"import" not in body


@pytest.mark.parametrize("path", ["/", "/app.js", "/events", "/api/frame", "/api/me", "/nowhere"])
async def test_a_foreign_host_or_origin_is_refused_on_every_path(path: str) -> None:
    async with serving() as here:
        port = here.server.port
        ours = f"127.0.0.1:{port}"
        for host in (
            "evil.example",
            f"evil.example:{port}",
            "127.0.0.1",
            f"{ours}.evil.example",
            f"x{ours}",
            "",
        ):
            assert (await ask(here, path, Host=host))[0] == 403
        assert (await ask(here, path, Host=None))[0] == 400
        for origin in ("http://evil.example", "null", f"https://{ours}", f"http://{ours}.evil.example"):
            assert (await ask(here, path, Origin=origin))[0] == 403
            assert (await post(here, {"rod": "C", "line_out_m": 1}, Origin=origin))[0] == 403
        assert here.settings == []


async def test_our_own_names_are_let_in() -> None:
    async with serving() as here:
        for name in ("127.0.0.1", "localhost", "LOCALHOST", "[::1]"):
            host = f"{name}:{here.server.port}"
            assert (await ask(here, "/api/frame", Host=host, Origin=f"http://{host}"))[0] == 200


async def test_the_newest_frame_is_the_one_offered() -> None:
    async with serving(feeding=False) as here:
        assert (await ask(here, "/api/frame"))[0] == 503
        here.server.offer(demo_frame(seq=1))
        here.server.offer(demo_frame(seq=2))
        status, _, body = await ask(here, "/api/frame")
        assert status == 200 and json.loads(body)["seq"] == 2


async def test_an_event_holds_the_frame_and_all_a_page_needs() -> None:
    async with serving(units="metric") as here:
        reader, writer = await watch(here)
        event = await next_event(reader)
        writer.close()
    added = {"shapes", "order", "units", "status", "title", "age_s", "stamp_s"}
    assert {"t_s", "utc", "seq", "mode", "boat", "lines", "alerts", *added} <= set(event)
    assert event["order"] == list(RODS)  # port to starboard, though the rods came by name
    assert event["units"]["m"] == {"scale": 1.0, "offset": 0.0, "digits": 1, "label": "m"}
    assert len(event["shapes"]["C"]) == 13 and 0 <= event["age_s"] < 1
    assert event["status"]["udp:10110"]["rejects"] == {"bad_sum": 3}


async def test_a_page_that_stops_reading_wakes_to_news_not_to_a_backlog() -> None:
    async with serving(feeding=False) as here:
        reader, writer = await watch(here, read=False)
        await asyncio.sleep(0.1)
        for seq in range(300):  # 75 s of frames at 4 Hz
            here.server.offer(demo_frame(seq=seq))
            await asyncio.sleep(0.002)
        reader._limit = 2**20  # type: ignore[attr-defined]
        seen = [(await next_event(reader))["seq"]]
        while seen[-1] != 299:
            seen.append((await next_event(reader))["seq"])
        writer.close()
    assert len(seen) < 25, f"{len(seen)} old frames were kept for it"


async def test_one_page_too_many_is_refused_politely_and_a_place_is_free_again() -> None:
    async with serving() as here:
        watchers = [await watch(here) for _ in range(MAX_CLIENTS)]
        for reader, _ in watchers:
            await next_event(reader)
        assert here.server.clients == MAX_CLIENTS
        status, headers, body = await ask(here, "/events")
        assert status == 503 and headers["retry-after"] == "5" and b"50 pages" in body
        for _, writer in watchers:
            writer.close()
        async with asyncio.timeout(5):
            while here.server.clients:
                await asyncio.sleep(0.02)
        reader, writer = await watch(here)
        await next_event(reader)
        writer.close()


async def test_it_stops_quickly_with_pages_open_and_leaves_ctrl_c_alone() -> None:
    before = signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)
    loop = asyncio.get_running_loop()
    async with serving() as here:
        watchers = [await watch(here) for _ in range(3)]
        for reader, _ in watchers:
            await next_event(reader)
        assert (signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)) == before
        began = loop.time()
    assert loop.time() - began < 3
    for _, writer in watchers:
        writer.close()


async def test_a_taken_port_gives_the_next_free_one() -> None:
    async with serving(port_from=18700) as first, serving(port_from=first.server.port) as second:
        assert second.server.port > first.server.port
        assert second.server.url == f"http://127.0.0.1:{second.server.port}/"
        assert (await ask(second, "/api/me"))[0] == 200


def test_rods_are_ordered_by_side_then_by_tip() -> None:
    assert port_to_starboard(demo_rods()) == ["P2", "P1", "R1", "W", "C", "R2", "S1", "S2"]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b'{"do": "acknowledge", "key": "lure slow"}', 200),
        (b'{"do": "shelve", "key": "lure slow"}', 200),
        (b'{"do": "mute"}', 200),
        (b'{"do": "acknowledge"}', 422),
        (b'{"do": "silence for ever", "key": "a"}', 422),
        (b'{"do": "mute", "for": 3}', 400),
        (b"[" * 3000, 400),
        (b" " * 5000, 413),
    ],
)
async def test_what_may_be_done_about_an_alert(body: bytes, status: int) -> None:
    async with serving() as here:
        got, _, _ = await ask(here, "/api/alert", "POST", body, Content_Type="application/json")
        assert got == status
        assert len(here.inbox.into(Inputs(3.0)).actions) == (status == 200)
