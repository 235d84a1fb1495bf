"""The whole daemon on Signal K, in and out: real WebSockets, real TCP, its own output as a source, a client asleep."""

from __future__ import annotations

import asyncio
import io
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from flow_tools import boat_texts, free_ports
from signalk_boat import HELLO, boat_deltas
from test_signalk_flow import alike, without_sources
from websockets.asyncio.server import ServerConnection, serve
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from assistant import config, daemon, payloads, pipeline, replay
from assistant.messages import Frame, Inputs, Sentence
from assistant.outings import store
from assistant.outings.recording import Outing, opening_of

EVERY_S = 0.25
SECONDS = 7.0


@dataclass
class Boat:
    """Instruments behind two Signal K servers: compass and log behind a WebSocket, GPS and sounder behind TCP."""

    ports: dict[str, int] = field(default_factory=dict)
    ready: threading.Event = field(default_factory=threading.Event)
    done: threading.Event = field(default_factory=threading.Event)
    said: dict[str, list[str]] = field(default_factory=dict)  # delta -> the same in sentences

    async def run(self) -> None:
        """Both servers until `done`."""
        async with serve(self._over_websocket, "127.0.0.1", 0) as one:
            two = await asyncio.start_server(self._over_tcp, "127.0.0.1", 0)
            self.ports = {"ws": one.sockets[0].getsockname()[1], "tcp": two.sockets[0].getsockname()[1]}
            self.ready.set()
            while not self.done.is_set():
                await asyncio.sleep(0.05)
            two.close()
            await asyncio.sleep(2.0 * EVERY_S)  # until both have said their last

    def _told(self, began_s: float) -> list[str]:
        """What all four instruments say now, in deltas; remembers what they would say in sentences."""
        t_s = round((time.monotonic() - began_s) / EVERY_S) * EVERY_S
        steered = (t_s, 200.0 + max(0.0, 5.0 * (t_s - 3.0)), 1.9 + 0.05 * (round(t_s / EVERY_S) % 3))
        heading, log, gps, depth, temperature = boat_texts(*steered)
        deltas = boat_deltas(*steered)
        self.said |= dict(zip(deltas, ([heading], [log], [gps], [depth, temperature]), strict=True))
        return deltas

    async def _over_websocket(self, connection: ServerConnection) -> None:
        await connection.send(HELLO)
        began_s = time.monotonic()
        with suppress(ConnectionClosed):
            while not self.done.is_set():
                for text in self._told(began_s)[:2]:
                    await connection.send(text)
                await asyncio.sleep(EVERY_S)

    async def _over_tcp(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(HELLO.encode() + b"\r\n")
        if b"subscribe" in await reader.readline():
            began_s = time.monotonic()
            while not (self.done.is_set() or writer.transport.is_closing()):
                writer.write("".join(f"{text}\r\n" for text in self._told(began_s)[2:]).encode())
                await asyncio.sleep(EVERY_S)
        writer.close()


@pytest.fixture
def boat() -> Iterator[Boat]:
    """The servers, in a thread of their own."""
    one = Boat()
    thread = threading.Thread(target=asyncio.run, args=(one.run(),))
    thread.start()
    assert one.ready.wait(10.0)
    yield one
    one.done.set()
    thread.join()


def tried(work: Callable[[], None], until_s: float) -> None:
    """`work`, again and again while nobody answers yet."""
    while time.monotonic() < until_s:
        try:
            work()
        except (OSError, EOFError):
            time.sleep(0.1)
        else:
            return


def watching(port: int, got: list[dict[str, Any]], asleep: list[socket.socket]) -> None:
    """One client that subscribes and never reads, one that reads until the daemon is gone."""

    def sleep() -> None:
        sock = socket.create_connection(("127.0.0.1", port))
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        asleep.append(sock)
        sock.sendall(
            f"GET /signalk/v1/stream HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\n"
            "Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
        )

    def listen() -> None:
        url = f"ws://127.0.0.1:{port}/signalk/v1/stream"
        with connect(url, proxy=None) as client, suppress(ConnectionClosed):
            got.extend(json.loads(message) for message in client)

    limit_s = time.monotonic() + 60.0
    tried(sleep, limit_s)
    tried(listen, limit_s)


def values_at(got: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Path -> value by timestamp, of what a client got."""
    updates = [update for message in got for update in message.get("updates", ()) if "values" in update]
    return {
        update["timestamp"]: {pair["path"]: pair["value"] for pair in update["values"]}
        for update in updates
        if "timestamp" in update
    }


def test_in_and_out_of_the_daemon(boat: Boat, tmp_path: Path) -> None:
    """Frames are those of the same told in sentences; the outing replays to the byte; clients get what is shown."""
    page, lines = free_ports(2)
    sources = (f"signalk-ws:127.0.0.1:{boat.ports['ws']}", f"signalk-tcp:127.0.0.1:{boat.ports['tcp']}")
    loop = f"signalk-ws:127.0.0.1:{page}"  # what we say comes back to us
    loaded = replace(config.load(), signalk=True, signalk_port=lines)
    daemon.warm_up(loaded)
    shown: list[Frame] = []
    options = daemon.Options(
        loaded, (*sources, loop), "none", page, seconds=SECONDS, show=shown.append, outings=tmp_path
    )
    got: list[dict[str, Any]] = []
    asleep: list[socket.socket] = []
    client = threading.Thread(target=watching, args=(page, got, asleep))
    client.start()
    summary = daemon.run(options)
    client.join()
    for sock in asleep:
        sock.close()

    assert [frame.seq for frame in shown] == list(range(len(shown))) and len(shown) >= 2 * SECONDS - 1
    last = shown[-1]
    assert last.boat["stw_mps"].source == f"{sources[0]}#n2k.2/delta"
    assert last.boat["sog_mps"].source == f"{sources[1]}#gps.GP/delta"
    assert {last.boat[name].state for name in ("stw_mps", "heading_rad", "sog_mps", "water_depth_m")} == {
        "ok"
    }
    assert last.lines["P1"].depth_m.value is not None
    rejects = summary["rejects"]
    assert isinstance(rejects, dict) and rejects["delta own"] > 5  # one for each of our deltas
    assert {reason for reason in rejects if reason.startswith("delta")} == {"delta own"}

    (name,) = store.ids(tmp_path)
    out = io.BytesIO()
    opening = opening_of(tmp_path / name)
    replay.replay(tmp_path / name, opening.config, out, opening.seed)
    replayed = [payloads.frame_payload(replace(frame, mode="replayed")) for frame in shown]
    assert out.getvalue().splitlines() == replayed

    for live, told in zip(shown, in_sentences(boat, tmp_path / name), strict=True):
        plain = [without_sources(json.loads(payloads.frame_payload(frame))) for frame in (live, told)]
        assert alike(*plain), (live.t_s, plain)

    by_time = values_at(got)
    matched = [frame for frame in shown if frame.utc in by_time]
    assert len(matched) >= SECONDS  # the client came a moment late
    for frame in matched:
        values = by_time[str(frame.utc)]
        depth = frame.lines["P1"].depth_m
        assert values["fishing.lines.P1.lureDepth"] == payloads.rounded(depth.value)
        assert values["navigation.speedOverGround"] == payloads.rounded(frame.boat["sog_mps"].value)


def in_sentences(boat: Boat, outing: Path) -> list[Frame]:
    """Frames of the same instants, every delta replaced by the sentences that say the same."""
    state, frames = pipeline.initial(config.load(), "live"), []
    for inputs, framed in Outing(outing).steps():
        sentences = tuple(
            Sentence(one.t_s, one.source, text)
            for one in inputs.sentences
            for text in boat.said.get(one.text, ())
        )
        told: Inputs = replace(inputs, sentences=sentences)
        if framed:
            state, frame = pipeline.step(state, told)
            frames.append(frame)
        else:
            state = pipeline.advance(state, told)
    return frames
