"""Forecasts live: the real daemon, the simulator in a turn, a real mosquitto; and its outing replayed to the byte."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
from flow_tools import ROOT, finished, free_ports, get_frame, start, summary_of, until

from assistant import config, pipeline
from assistant.ahead.following import Question
from assistant.ahead.manoeuvre import STRAIGHT_ON, Response
from assistant.forecaster import Forecaster, ForecasterError, Job
from assistant.lines import spread
from assistant.lines.spread import SpreadState
from assistant.messages import Estimate
from assistant.outings import store
from assistant.outings.entries import Step
from assistant.outings.recording import Outing

TURN = """
about = "straight, then a turn to port"
legs = [
    { duration_s = 8, speed_mph = 2.1, heading_deg = 200 },
    { duration_s = 120, speed_mph = 2.1, turn_deg_s = -3.0 },
]
[water]
bottom_m = 60.0
hump_m = 0.0
"""
LONGEST_S = 90.0  # the turn is watched until enough forecasts came by, on a busy machine later


def ask(page: int, query: str) -> tuple[int, dict[str, Any]]:
    """Status and JSON of /api/forecast, or of another path."""
    path = query if query.startswith("/") else f"/api/forecast{query}"
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{page}{path}", timeout=20.0) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as error:
        return error.code, json.load(error)


async def heard(broker: int, forecasts: list[dict[str, Any]], frames: dict[int, dict[str, Any]]) -> None:
    """All forecasts and Frames that come by, until cancelled."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    async with aiomqtt.Client("127.0.0.1", broker, timeout=5) as client:
        for topic in ("forecast", "frame"):
            await client.subscribe(f"spreadwatch/marigold/{topic}", qos=1)
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            said = json.loads(message.payload, parse_constant=refuse)
            if str(message.topic).endswith("frame"):
                frames[said["seq"]] = said
            else:
                assert not message.retain
                forecasts.append(said)


@contextlib.contextmanager
def mosquitto(program: str, folder: Path, port: int) -> Any:
    """A broker on loopback."""
    conf = folder / "broker.conf"
    conf.write_text(f"user root\npersistence false\nlistener {port} 127.0.0.1\nallow_anonymous true\n")
    broker = subprocess.Popen(
        [program, "-c", str(conf)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield broker
    finally:
        broker.kill()
        broker.wait()


def test_a_turn_is_foreseen_published_and_replayed_to_the_byte(
    need: Callable[[str], str], tmp_path: Path
) -> None:
    (udp,), (page, port) = free_ports(1, socket.SOCK_DGRAM), free_ports(2)
    scenario = tmp_path / "turn.toml"
    scenario.write_text(TURN)
    forecasts: list[dict[str, Any]] = []
    frames: dict[int, dict[str, Any]] = {}
    with mosquitto(need("mosquitto"), tmp_path, port):
        process = start(
            "run", "--source", f"udp:{udp}", "--broker", f"mqtt://127.0.0.1:{port}", "--port", page,
            "--outings", tmp_path / "outings",
        )  # fmt: skip
        until(lambda: get_frame(page), process)
        asyncio.run(_watched(port, udp, page, scenario, forecasts, frames))
        process.send_signal(signal.SIGINT)
        summary = summary_of(process)
    turning = [one for one in forecasts if one["kind"] == "turn"]
    assert summary["forecasts"]["made"] >= len(forecasts) > len(turning) >= 4
    assert all(one["t_s"] < other["t_s"] for one, other in itertools.pairwise(forecasts))
    assert all(one["age_s"] >= 0.0 and one["mode"] == "live" for one in forecasts)
    last = turning[-1]
    assert set(last["rods"]) == {"P2", "P1", "R1", "W", "C", "R2", "S1", "S2"}
    moves = {name: max(rod["rise_m"]["value"], rod["sink_m"]["value"]) for name, rod in last["rods"].items()}
    assert max(moves.values()) > 1.0
    assert last["times_s"][-1] >= 120.0
    assert 0.0 < last["rods"]["P1"]["bottom_known"] < 1.0  # behind the boat it is sounded, ahead it is not
    _replayed(tmp_path, frames)


async def _watched(
    port: int,
    udp: int,
    page: int,
    scenario: Path,
    forecasts: list[dict[str, Any]],
    frames: dict[int, dict[str, Any]],
) -> None:
    """Play the scenario, listen, and ask what if in the middle of the turn."""
    listening = asyncio.create_task(heard(port, forecasts, frames))
    sim = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "sim", str(scenario), "--to", f"udp:{udp}", "--seconds", str(LONGEST_S),
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    until_s = time.monotonic() + LONGEST_S
    while sum(one["kind"] == "turn" for one in forecasts) < 4 or len(frames) < 30:
        assert time.monotonic() < until_s, f"{len(forecasts)} forecasts, {len(frames)} frames"
        await asyncio.sleep(0.2)
    status, told = await asyncio.to_thread(ask, page, "?side=starboard&degrees=60&rate=1")
    assert (status, told["kind"], told["about"]) == (200, "turn", "60° to starboard, 1°/s")
    assert len(told["said"].split()) <= 8
    assert (await asyncio.to_thread(ask, page, "?side=fish"))[1]["kind"] == "fish"
    assert (await asyncio.to_thread(ask, page, "?side=up"))[0] == 422
    status, advice = await asyncio.to_thread(ask, page, "/api/advice?side=port&degrees=40&rate=2")
    assert status == 200 and advice["lines"]
    assert advice["offered"] or advice["why"]
    newest = (await asyncio.to_thread(ask, page, ""))[1]
    assert newest["seq"] >= 1 and newest["age_s"] >= 0.0
    sim.kill()
    await sim.wait()
    listening.cancel()
    await asyncio.gather(listening, return_exceptions=True)


def _replayed(folder: Path, frames: dict[int, dict[str, Any]]) -> None:
    """The outing holds forecasts, and its frames are those that were published."""
    (name,) = store.ids(folder / "outings")
    steps = [entry for _, entry in Outing(folder / "outings" / name).entries() if isinstance(entry, Step)]
    assert sum(step.inputs.outlook is not None for step in steps) >= 4
    out = folder / "frames.jsonl"
    code, _, err = finished(start("replay", folder / "outings" / name, "--frames", out))
    assert code == 0, err
    again = [json.loads(line) for line in out.read_bytes().splitlines()]
    by_seq = {frame["seq"]: frame for frame in again}
    compared = [seq for seq in frames if seq in by_seq]
    assert len(compared) > 24
    for seq in compared:
        assert {**by_seq[seq], "mode": "live"} == frames[seq]


@pytest.fixture(scope="module")
def live() -> SpreadState:
    stw, heading = Estimate(1.0, 0.03, "ok", 0.1, "test"), Estimate(0.5, 0.02, "ok", 0.1, "test")
    return spread.advance(pipeline.initial(config.load(), "live").lines.spread, stw, heading, (), 0.25, False)


def test_the_process_dies_and_the_next_question_starts_another(live: SpreadState) -> None:
    job = Job(Question("straight", STRAIGHT_ON), Response(), None, 0)
    forecaster = Forecaster(config.load())
    try:
        first = forecaster.ask(job, live)
        assert forecaster.pid is not None
        os.kill(forecaster.pid, signal.SIGKILL)
        with pytest.raises(ForecasterError, match="ended"):
            forecaster.ask(job, live)
        again = forecaster.ask(job, live)
    finally:
        forecaster.stop()
    assert first.outlook is not None
    assert (again.outlook, again.body) == (first.outlook, first.body)
    assert forecaster.starts == 2
