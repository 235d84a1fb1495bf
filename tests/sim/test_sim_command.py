"""`python -m sim` as its users start it: every target for real, clean ends, clear refusals."""

from __future__ import annotations

import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pynmea2
import pytest
from sim_stream import LEGS, write

from sim.__main__ import main

PATIENCE_S = 120.0  # the truth model compiles on its first step, and a compiler hears no signal


@contextmanager
def simulator(*arguments: str) -> Iterator[subprocess.Popen[str]]:
    """The simulator as a process; it is gone when the block ends."""
    process = subprocess.Popen(
        [sys.executable, "-m", "sim", *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def free_port() -> int:
    """A TCP port nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


def check(data: bytes) -> int:
    """Count the sentences; each has its line end and its checksum."""
    lines = data.split(b"\r\n")
    for line in lines[:-1]:
        pynmea2.parse(line.decode("ascii"), check=True)
    return len(lines) - 1


def test_udp_one_sentence_a_datagram() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(PATIENCE_S)
        port = receiver.getsockname()[1]
        with simulator("straight", "--to", f"udp:{port}", "--seconds", "10", "--rate", "20") as process:
            datagrams = [receiver.recv(4096) for _ in range(150)]
            assert process.wait(20.0) == 0
    assert all(check(datagram) == 1 for datagram in datagrams)
    assert datagrams[0].startswith(b"$GPRMC,081000.00")


def test_udp_is_paced() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(PATIENCE_S)
        with simulator("straight", "--to", f"udp:127.0.0.1:{receiver.getsockname()[1]}", "--rate", "5"):
            receiver.recv(4096)
            start = time.monotonic()
            while b"RMC,081005" not in receiver.recv(4096):
                pass
    assert time.monotonic() - start > 0.9  # five seconds at five times real time


def test_tcp_waits_for_the_first_client_and_misses_nothing() -> None:
    port = free_port()
    with simulator("straight", "--to", f"tcp-listen:{port}", "--seconds", "5", "--rate", "50") as process:
        for _ in range(400):
            try:
                client = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
                break
            except ConnectionRefusedError:
                time.sleep(0.05)
        with client, client.makefile("rb") as stream:
            data = stream.read()
        assert process.wait(20.0) == 0
    assert data.startswith(b"$GPRMC,081000.00")
    assert check(data) > 90


def test_pty_prints_its_path_and_waits_for_a_reader() -> None:
    with simulator("straight", "--to", "pty:", "--seconds", "5", "--rate", "20") as process:
        assert process.stdout is not None
        path = process.stdout.readline().strip()
        assert Path(path).is_char_device()
        device = os.open(path, os.O_RDONLY | os.O_NOCTTY)
        data = b""
        try:
            while b"RMC,081004" not in data:
                assert select.select([device], [], [], 20.0)[0]
                data += os.read(device, 4096)
        finally:
            os.close(device)
        assert process.wait(20.0) == 0
    assert data.startswith(b"$GPRMC,081000.00")
    assert check(data) > 60


@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_told_to_stop_it_ends_clean(tmp_path: Path, stop: signal.Signals) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(PATIENCE_S)
        truth = tmp_path / "truth.jsonl"
        target = f"udp:{receiver.getsockname()[1]}"
        with simulator("demo", "--to", target, "--truth", str(truth)) as process:
            receiver.recv(4096)
            process.send_signal(stop)
            _, told = process.communicate(timeout=PATIENCE_S)
            assert process.returncode == 0
    assert told == ""
    assert truth.read_text().endswith("\n")


LEG = "{ duration_s = 30, speed_mph = 2.0, heading_deg = 90 }"

BAD_SCENARIOS = [
    ("legs = []", "legs: []"),
    (
        "legs = [{ duration_s = 30, speed_mph = 99.0, heading_deg = 90 }]",
        "legs[0].speed_mph: 99.0; allowed: a number from 0 to 20",
    ),
    ("legs = [{ duration_s = 30, speed_mph = 2.0, turn_deg_s = 2.0 }]", "on the first leg a heading"),
    (f"legs = [{LEG}, {{ duration_s = 30, speed_mph = 2.0 }}]", "legs[1].heading_deg, turn_deg_s"),
    (f"legs = [{LEG}]\nlegz = 3", "legz: unknown key"),
    (f"legs = [{LEG}]\n[water]\nsurface_drift = 0.1", "water.surface_drift: unknown key"),
    (f"legs = [{LEG}]\n[water]\nbottom_m = -4", "water.bottom_m: -4; allowed: a number from 2 to 400"),
    (
        f"legs = [{LEG}]\n[boat]\nspeed_lag_s = true",
        "boat.speed_lag_s: True; allowed: a number from 0.1 to 60",
    ),
    (
        f"legs = [{LEG}]\n[instruments]\nwithout = ['XYZ']",
        "instruments.without: ['XYZ']; allowed: a list of RMC",
    ),
    (f"legs = [{LEG}]\n[[faults]]\nkind = 'gone'\nstart_s = 1", "faults[0].kind: 'gone'; allowed: freeze"),
    (
        f"legs = [{LEG}]\n[[faults]]\nkind = 'drop'\nsentence = 'ABC'\nstart_s = 1",
        "faults[0].sentence: 'ABC'",
    ),
    (f"legs = [{LEG}]\n[[faults]]\nkind = 'drop'\nsentence = 'VHW'", "faults[0].start_s: missing"),
    (f"legs = [{LEG}]\n[[rods]]\nrod = 'Q9'", "'Q9' is not in"),
    (f"legs = [{LEG}]\nrepeat = 1", "repeat: 1; allowed: true, false"),
    ("legs = [", "wanted: a readable TOML file"),
]


@pytest.mark.parametrize(("text", "told"), BAD_SCENARIOS, ids=[told[:30] for _, told in BAD_SCENARIOS])
def test_a_bad_scenario_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str
) -> None:
    path = write(tmp_path, text)
    assert main([str(path), "--to", f"file:{tmp_path / 'out'}"]) == 2
    error = capsys.readouterr().err
    assert told in error
    if "Q9" not in told:
        assert str(path) in error


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["no-such", "--to", "file:x"], "no-such"),
        (["straight", "--to", "smoke:x"], "allowed: udp:[HOST:]PORT"),
        (["straight", "--to", "udp:99999"], "allowed: udp:[HOST:]PORT"),
        (["straight", "--to", "udp:"], "allowed: udp:[HOST:]PORT"),
        (["straight", "--to", "file:"], "allowed: udp:[HOST:]PORT"),
        (["straight", "--to", "file:/no/such/folder/x"], "can be written"),
        (["straight", "--to", "udp:9", "--truth", "/no/such/folder/x"], "can be written"),
        (["straight", "--to", "udp:9", "--config", "/no/such/folder"], "--config: /no/such/folder"),
    ],
)
def test_a_bad_command_is_refused(
    capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    assert main(arguments) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    "option", [["--rate", "0"], ["--rate", "nan"], ["--seconds", "-1"], ["--seed", "-3"]]
)
def test_a_bad_number_is_refused(capsys: pytest.CaptureFixture[str], option: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["straight", "--to", "udp:9", *option])
    assert ended.value.code == 2
    assert option[0] in capsys.readouterr().err


def test_one_pass_of_a_loop_into_a_file(tmp_path: Path) -> None:
    path = write(tmp_path, "repeat = true\n" + LEGS)
    assert main([str(path), "--to", f"file:{tmp_path / 'log'}"]) == 0
    data = (tmp_path / "log").read_bytes()
    assert check(data) > 1000
    assert b"RMC,081100.00" in data
    assert b"RMC,081101.00" not in data
