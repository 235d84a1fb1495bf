"""The daemon as people start it: a process, real UDP, pty, TCP, files, a real broker, a real Ctrl-C."""

from __future__ import annotations

import asyncio
import json
import os
import pty
import signal
import socket
import time
import tty
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
from flow_tools import (
    boat_texts,
    feeding,
    feeding_udp,
    finished,
    free_ports,
    get_frame,
    start,
    summary_of,
    until,
)


def udp_port() -> int:
    """A UDP port that nobody has."""
    return free_ports(1, socket.SOCK_DGRAM)[0]


def lines_known(page: int) -> dict[str, Any] | None:
    """The page's frame once it holds the lines."""
    frame = get_frame(page)
    return frame if frame and frame["lines"]["P1"]["depth_m"]["value"] is not None else None


def test_udp_to_page_and_embedded_broker() -> None:
    """Sentences in at one end; Frames out at page and broker, every topic retained there."""
    udp, (page, broker) = udp_port(), free_ports(2)
    process = start("run", "--source", f"udp:{udp}", "--broker", f"embedded:{broker}", "--port", page)
    with feeding_udp(udp):
        shown = until(lambda: lines_known(page), process)
        topics = asyncio.run(_retained(broker))
        time.sleep(3.0)
        process.send_signal(signal.SIGINT)
        summary = summary_of(process)
    assert shown["mode"] == summary["mode"] == "live"
    assert summary["sentences"] > 50
    assert 0.0 < summary["latency_ms"]["p50"] <= summary["latency_ms"]["p99"]
    frame = json.loads(topics["spreadwatch/marigold/frame"])
    assert frame["boat"]["stw_mps"]["value"] == pytest.approx(1.9 * 1852 / 3600, abs=0.05)
    assert frame["lines"]["P1"]["depth_m"]["value"] > 3.0
    assert topics["spreadwatch/marigold/online"] == b"online"
    assert len(topics["spreadwatch/marigold/panel"]) <= 400
    assert {f"spreadwatch/marigold/line/{rod}" for rod in frame["lines"]} <= set(topics)


async def _retained(broker: int) -> dict[str, bytes]:
    topics: dict[str, bytes] = {}
    async with aiomqtt.Client("127.0.0.1", broker, timeout=5) as client:
        await client.subscribe("spreadwatch/#", qos=1)
        async with asyncio.timeout(10):
            async for message in client.messages:
                assert isinstance(message.payload, bytes)
                topics[str(message.topic)] = message.payload
                if len(topics) >= 11:
                    return topics
    return topics


def test_a_note_reaches_the_frame_of_the_running_daemon() -> None:
    """Typed on the same machine, out at page and broker; nonsense ends in its own words and exit 2."""
    page, broker = free_ports(2)
    process = start("run", "--source", f"udp:{udp_port()}", "--broker", f"embedded:{broker}", "--port", page)
    until(lambda: get_frame(page), process)
    for words in (("P1", "bend", "soft"), ("R1", "speed", "1.9", "--unit", "mph", "--depth", "70ft")):
        assert finished(start("note", *words, "--port", page))[:2] == (0, f"{words[0]}: taken\n")
    code, out, err = finished(start("note", "P1", "bend", "sfot", "--port", page))
    assert (code, out) == (2, "") and "want one of soft, usual, hard" in err
    frame = until(lambda: (f := get_frame(page)) and "R1" in f.get("seen", {}) and f, process)
    assert frame["seen"]["P1"]["bend"]["word"] == "soft"
    ball = frame["seen"]["R1"]["ball_speed_mps"]
    assert ball["value"] == pytest.approx(1.9 * 1609.344 / 3600, abs=1e-5)
    assert ball["depth_m"] == pytest.approx(21.336) and ball["state"] == "ok"
    asyncio.run(_sensor(broker))
    found = until(lambda: (f := get_frame(page)) and "pull_n" in f["seen"]["P1"] and f, process)
    assert found["seen"]["P1"]["pull_n"]["value"] == 44.0
    process.send_signal(signal.SIGINT)
    assert summary_of(process)["rejects"]["sensor message"] == 1
    code, _, err = finished(start("note", "P1", "bend", "soft", "--port", page))
    assert code == 2 and "nobody answers" in err


async def _sensor(broker: int) -> None:
    """A load cell that sends a few values a second, and one line of rubbish."""
    async with aiomqtt.Client("127.0.0.1", broker, timeout=5) as client:
        await client.publish("spreadwatch/marigold/sensor", b"44", qos=1)
        for _ in range(4):
            payload = json.dumps({"rod": "P1", "kind": "pull", "value": 44.0})
            await client.publish("spreadwatch/marigold/sensor", payload, qos=1)
            await asyncio.sleep(0.3)


def test_pty_source() -> None:
    """A serial port: a pseudo-terminal of the kernel; nothing is ever written to it."""
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    (page,) = free_ports(1)
    source = f"serial:{os.ttyname(theirs)}?baud=38400"
    process = start("run", "--source", source, "--broker", "none", "--port", page)
    with feeding(lambda data: os.write(ours, data)):
        until(lambda: lines_known(page), process)
        process.send_signal(signal.SIGTERM)
        summary = summary_of(process)
    assert summary["sentences"] > 5
    os.set_blocking(ours, False)
    with pytest.raises(BlockingIOError):
        os.read(ours, 1)
    os.close(ours)
    os.close(theirs)


def test_tcp_source_and_named_pipe_together(tmp_path: Path) -> None:
    """Two sources at once; a named pipe is live, not a recorded file."""
    fifo = tmp_path / "pipe"
    os.mkfifo(fifo)
    (page,) = free_ports(1)
    with socket.create_server(("127.0.0.1", 0)) as server:
        tcp = f"tcp:127.0.0.1:{server.getsockname()[1]}"
        sources = ("--source", tcp, "--source", f"file:{fifo}")
        process = start("run", *sources, "--broker", "none", "--port", page)
        server.settimeout(90.0)
        client, _ = server.accept()
        with (
            client,
            fifo.open("wb", buffering=0) as pipe,
            feeding(lambda data: pipe.write(data) if b"SDDPT" in data else client.sendall(data)),
        ):
            frame = until(lambda: lines_known(page), process)
            process.send_signal(signal.SIGTERM)
            summary = summary_of(process)
    assert summary["mode"] == "live"
    assert tcp in frame["boat"]["stw_mps"]["source"]
    assert "pipe" in frame["boat"]["water_depth_m"]["source"]


def test_recorded_file_is_played_at_its_own_pace(tmp_path: Path) -> None:
    log = tmp_path / "day.nmea"
    log.write_text("".join(f"{text}\r\n" for t in range(60) for text in boat_texts(float(t), 200.0)))
    (page,) = free_ports(1)
    source = ("--source", f"file:{log}", "--broker", "none")
    summary = summary_of(start("run", *source, "--port", page, "--seconds", "4"))
    assert summary["mode"] == "replayed"
    assert summary["sentences"] == pytest.approx(4 * 5, abs=10)


def test_broker_down_leaves_no_step_out() -> None:
    udp, (page, nobody) = udp_port(), free_ports(2)
    args = ("--source", f"udp:{udp}", "--broker", f"mqtt://127.0.0.1:{nobody}", "--port", page)
    process = start("run", *args)
    with feeding_udp(udp):
        until(lambda: lines_known(page), process)
        time.sleep(4.0)
        frame = get_frame(page)
        process.send_signal(signal.SIGINT)
        summary = summary_of(process)
    assert frame is not None
    assert frame["t_s"] > 4.0
    assert frame["seq"] == round(frame["t_s"] * 2)  # one for each half second: none left out
    assert summary["steps"] >= 2 * summary["frames"] - 1
    assert summary["published"] == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_end_it_clean(number: signal.Signals) -> None:
    page, broker = free_ports(2)
    args = ("--source", f"udp:{udp_port()}", "--broker", f"embedded:{broker}", "--port", page)
    process = start("run", *args)
    until(lambda: get_frame(page), process)
    process.send_signal(number)
    assert summary_of(process, 20.0)["frames"] > 0


def test_a_second_instance_says_what_is_taken() -> None:
    """Page and broker move to the next free port and say so; the source says that somebody has it."""
    udp, (page, broker) = udp_port(), free_ports(2)
    args = ("--source", f"udp:{udp}", "--broker", f"embedded:{broker}", "--port", page)
    first = start("run", *args)
    until(lambda: get_frame(page), first)
    code, _, err = finished(start("run", *args, "--seconds", "3"))
    assert code == 0
    assert f"port {page} is taken" in err
    assert f"port {broker} is taken" in err
    assert f"udp:{udp}" in err
    assert "in use" in err
    first.send_signal(signal.SIGINT)
    assert summary_of(first)["frames"] > 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((), "no source"),
        (("--source", "usb:1"), "unknown kind 'usb'"),
        (("--source", "udp:99999"), "udp:99999"),
        (("--source", "file:nowhere.log"), "No such file"),
        (("--source", "udp:10110", "--source", "file:nowhere.log"), "played alone"),
        (("--source", "udp:10110", "--broker", "http://x"), "http://x"),
        (("--source", "udp:10110", "--broker", "mqtt://u:secret@h/path"), "want none, embedded"),
        (("--source", "udp:10110", "--config", "nowhere"), "no such directory"),
    ],
)
def test_wrong_options_are_one_line_and_exit_2(arguments: tuple[str, ...], says: str) -> None:
    code, out, err = finished(start("run", "--seconds", "1", *arguments))
    assert (code, out) == (2, "")
    assert says in err
    assert "secret" not in err
    assert "Traceback" not in err
