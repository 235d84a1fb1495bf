"""What the tests of the flow share: sentences with checksums, a spoon-fed boat, the command line."""

from __future__ import annotations

import contextlib
import json
import math
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from functools import reduce
from pathlib import Path
from typing import Any

from assistant.messages import Inputs, Sentence

ROOT = Path(__file__).resolve().parents[2]
STEP_S = 0.25


def with_sum(body: str) -> str:
    """A sentence around `body`: `$`, `*` and the exclusive-or of all between (NMEA 0183)."""
    return f"${body}*{reduce(lambda a, b: a ^ b, body.encode()):02X}"


def boat_texts(t_s: float, heading_deg: float, speed_kn: float = 1.9, mtw: bool = True) -> list[str]:
    """What the instruments of a boat in still water say once a second."""
    clock = f"{int(t_s // 3600) % 24:02d}{int(t_s // 60) % 60:02d}{t_s % 60.0:05.2f}"
    heading = heading_deg % 360.0
    texts = [
        f"IIHDT,{heading:.1f},T",
        f"IIVHW,{heading:.1f},T,,M,{speed_kn:.2f},N,,K",
        f"GPRMC,{clock},A,4500.0000,N,03000.0000,W,{speed_kn:.2f},{heading:.1f},180726,9.0,W,A",
        "SDDPT,38.2,0.3",
    ]
    return [with_sum(body) for body in (*texts, *(["IIMTW,20.5,C"] if mtw else []))]


def straight_and_turn(duration_s: float) -> Iterator[Inputs]:
    """Inputs of a boat: straight for 30 s, then to starboard at 1 deg/s; sentences once a second."""
    for tick in range(math.ceil(duration_s / STEP_S)):
        t_s = tick * STEP_S
        texts = boat_texts(t_s, 200.0 + max(0.0, t_s - 30.0)) if tick % 4 == 0 else []
        yield Inputs(t_s, tuple(Sentence(t_s, "test", text) for text in texts))


def free_ports(count: int, kind: socket.SocketKind = socket.SOCK_STREAM) -> list[int]:
    """Ports on loopback that nobody has now."""
    sockets = [socket.socket(socket.AF_INET, kind) for _ in range(count)]
    for one in sockets:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in sockets]
    for one in sockets:
        one.close()
    return ports


def command(*arguments: object) -> list[str]:
    """The command line `spreadwatch ...` of this checkout."""
    return [sys.executable, "-m", "assistant", *map(str, arguments)]


def start(*arguments: object) -> subprocess.Popen[str]:
    """Start it; both outputs are kept apart."""
    env = {**os.environ, "PYTHONWARNINGS": "error", "PYTHONFAULTHANDLER": "1", "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        command(*arguments),
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        text=True,
    )
    STARTED.append(process)
    return process


STARTED: list[subprocess.Popen[str]] = []
"""Every process started; the fixture in conftest.py ends what a failed test left running."""


def finished(process: subprocess.Popen[str], timeout_s: float = 120.0) -> tuple[int, str, str]:
    """Wait for its end: exit code, stdout, stderr. One that does not end is killed, and says where it was."""
    try:
        out, err = process.communicate(timeout=timeout_s)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGABRT)  # faulthandler writes the stacks of all threads
        out, err = process.communicate()
        raise AssertionError(f"did not end in {timeout_s} s: {out}{err}") from None
    return process.returncode, out, err


def summary_of(process: subprocess.Popen[str], timeout_s: float = 120.0) -> dict[str, Any]:
    """Its summary: exactly one line of strict JSON on stdout, exit 0, no traceback."""
    code, out, err = finished(process, timeout_s)
    assert code == 0, err
    assert "Traceback" not in err, err
    assert out.count("\n") == 1, out

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    loaded = json.loads(out, parse_constant=refuse)
    assert isinstance(loaded, dict)
    return loaded


@contextlib.contextmanager
def feeding(send: Callable[[bytes], object], every_s: float = 0.2) -> Iterator[None]:
    """Within the block a boat's sentences go out again and again; a wire that nobody listens to is no fault."""
    stop = threading.Event()
    begin_s = time.monotonic()

    def feed() -> None:
        while not stop.wait(every_s):
            for text in boat_texts(time.monotonic() - begin_s, 200.0):
                with contextlib.suppress(OSError):
                    send(f"{text}\r\n".encode())

    thread = threading.Thread(target=feed)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


@contextlib.contextmanager
def feeding_udp(port: int) -> Iterator[None]:
    """`feeding` to a UDP port of this machine."""
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out,
        feeding(lambda data: out.sendto(data, ("127.0.0.1", port))),
    ):
        yield


def get_frame(page: int) -> dict[str, Any] | None:
    """The newest frame of the page at this port; None while there is none."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{page}/api/frame", timeout=2.0) as answer:
            loaded: dict[str, Any] = json.load(answer)
            return loaded
    except OSError:
        return None


def until(condition: Callable[[], Any], process: subprocess.Popen[str], timeout_s: float = 90.0) -> Any:
    """Wait until `condition()` is true while the process lives; returns what it gave."""
    deadline_s = time.monotonic() + timeout_s
    while time.monotonic() < deadline_s:
        if result := condition():
            return result
        if process.poll() is not None:
            raise AssertionError(f"ended too early: {process.communicate()}")
        time.sleep(0.1)
    process.kill()
    raise AssertionError(f"not within {timeout_s} s: {process.communicate()}")
