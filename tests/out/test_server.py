"""The page's server over real sockets: who may ask, what is refused, and that nobody gets a queue."""

from __future__ import annotations

import asyncio
import json
import signal
import socket
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from out_frames import RODS, demo_frame, demo_rods
from page_tools import DISC, Serving, serving

from assistant.messages import RigPart, Rod
from assistant.web.events import MAX_CLIENTS
from assistant.web.guard import is_loopback
from assistant.web.server import FILES, PAGE, port_to_starboard
from assistant.web.settings import Refused, RodLimits, limits_of, parse_setting

Answer = tuple[int, dict[str, str], bytes]


async def ask(
    here: Serving, path: str = "/", method: str = "GET", body: bytes = b"", **headers: str | None
) -> Answer:
    """One request with exactly these headers (None leaves Host out) -> status, headers, body."""
    named = {"Host": f"127.0.0.1:{here.server.port}", "Content-Length": str(len(body)), "Connection": "close"}
    named |= {key.replace("_", "-"): value for key, value in headers.items()}  # type: ignore[misc]
    head = "".join(f"{key}: {value}\r\n" for key, value in named.items() if value is not None)
    reader, writer = await asyncio.open_connection("127.0.0.1", here.server.port)
    writer.write(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body)
    async with asyncio.timeout(5):
        raw = await reader.read()
    writer.close()
    await writer.wait_closed()
    top, _, rest = raw.partition(b"\r\n\r\n")
    status, *lines = top.decode().split("\r\n")
    return int(status.split()[1]), {k.lower(): v for k, v in (line.split(": ", 1) for line in lines)}, rest


async def post(here: Serving, asked: object, **headers: str) -> Answer:
    body = asked if isinstance(asked, bytes) else json.dumps(asked).encode()
    return await ask(here, "/api/setting", "POST", body, **({"Content_Type": "application/json"} | headers))


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


# --- settings -----------------------------------------------------------------------------------


async def test_a_setting_reaches_the_callback_in_si() -> None:
    async with serving() as here:
        status, _, body = await post(
            here, {"rod": "C", "line_out_m": 61.5, "rod_state": "coming in", "tripped": False}
        )
        assert status == 200, body
        (setting,) = here.settings
        assert (setting.t_s, setting.rod, setting.line_out_m, setting.rod_state) == (
            12.5,
            "C",
            61.5,
            "coming in",
        )
        assert setting.tripped is False and setting.setting is None


@pytest.mark.parametrize(
    ("asked", "status", "said"),
    [
        (b"{", 400, "JSON"),
        (b"[" * 4000, 400, "JSON"),
        (b'"x"', 400, "want an object"),
        (b'{"rod":"C","line_out_m":NaN}', 422, "line_out_m NaN: want a number from 0 to 600"),
        ({"rod": "C", "line_out_m": -1}, 422, "line_out_m -1: want a number from 0 to 600"),
        ({"rod": "C", "line_out_m": True}, 422, "line_out_m true"),
        ({"rod": "C", "line_out_m": "160 ft"}, 422, "line_out_m"),
        ({"rod": "C", "line_out_m": 10**400}, 422, "line_out_m"),
        ({"rod": "C", "setting": 1}, 422, "setting 1: this rod has no planer"),
        ({"rod": "C", "rod_state": "lost"}, 422, 'rod_state "lost": want one of aboard, going out'),
        ({"rod": "Z", "setting": 1}, 422, 'rod "Z": want one of'),
        ({"rod": ["C"]}, 422, "rod"),
        ({"rod": "C"}, 422, "field null: want some of line_out_m"),
        ({"rod": "C", "line_out": 1}, 422, 'field "line_out"'),
        (b" " * 5000, 413, "4096"),
    ],
)  # fmt: skip
async def test_a_wrong_setting_is_refused_with_field_value_and_range(
    asked: object, status: int, said: str
) -> None:
    async with serving() as here:
        got, _, body = await post(here, asked)
        assert got == status and said in json.loads(body)["error"]
        assert here.settings == []


async def test_a_setting_must_be_json_and_posted() -> None:
    async with serving() as here:
        for kind in (
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
            "application/jsonp",
            "",
        ):
            assert (await post(here, {"rod": "C", "line_out_m": 1}, Content_Type=kind))[0] == 415
        assert (await ask(here, "/api/setting"))[0] == 405
        assert (await ask(here, "/", "DELETE", Content_Type="application/json"))[0] == 405
        assert here.settings == []


async def test_a_setting_from_another_machine_is_refused() -> None:
    assert [is_loopback({"client": (address, 1)}) for address in ("127.0.0.1", "127.9.9.9", "::1")] == [
        True
    ] * 3
    for address in ("192.168.1.20", "10.0.0.1", "fe80::1", "not an address", "0.0.0.0"):
        assert not is_loopback({"client": (address, 1)})
    assert not is_loopback({}) and not is_loopback({"client": None})
    async with serving() as here:  # a proxy's word about where it comes from is not taken
        assert (await post(here, {"rod": "C", "line_out_m": 1}, X_Forwarded_For="192.168.1.20"))[0] == 200


def test_the_dial_of_the_rods_own_planer_is_the_range() -> None:
    rig = (RigPart(line="wire"), RigPart(body="disc", setting=1.0), RigPart(body="spoon"))
    rod = Rod("P1", "port", "", 0, 0, 1, 50, rig)
    limits = {"P1": limits_of(rod, {"disc": DISC}), "C": RodLimits(None)}
    assert parse_setting(b'{"rod":"P1","setting":3.5}', limits, 1.0).setting == 3.5
    with pytest.raises(Refused, match=r"setting 3.6: want a number from 0 to 3.5"):
        parse_setting(b'{"rod":"P1","setting":3.6}', limits, 1.0)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=20) | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
askable = st.dictionaries(
    st.sampled_from(["rod", "line_out_m", "setting", "rod_state", "tripped", "x"]),
    json_values | st.just("P1"),
    max_size=5,
)


@given(st.binary(max_size=60) | askable.map(lambda asked: json.dumps(asked).encode()))
def test_any_body_is_a_setting_within_its_limits_or_refused(body: bytes) -> None:
    try:
        setting = parse_setting(body, {"P1": RodLimits((0.0, 3.5))}, 1.0)
    except Refused as refused:
        assert 400 <= refused.status < 500 and str(refused).isascii()
        return
    assert setting.rod == "P1"
    assert setting.line_out_m is None or 0 <= setting.line_out_m <= 600
    assert setting.setting is None or 0 <= setting.setting <= 3.5


def test_rods_are_ordered_by_side_then_by_tip() -> None:
    assert port_to_starboard(demo_rods()) == ["P2", "P1", "R1", "W", "C", "R2", "S1", "S2"]
