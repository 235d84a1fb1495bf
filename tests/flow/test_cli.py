"""The command line from outside: demo, simulate, version, help, and errors without a traceback."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import time
from pathlib import Path

import pytest
from flow_tools import finished, free_ports, get_frame, start, summary_of, until


def test_demo_runs_to_its_end() -> None:
    """Simulator, UDP, flow, broker and page, all real; 8 seconds; one line of JSON at the end."""
    page, broker = free_ports(2)
    process = start("demo", "--seconds", "8", "--port", page, "--broker-port", broker)
    frame = until(lambda: (f := get_frame(page)) and f["boat"]["stw_mps"]["value"] and f, process)
    assert frame["mode"] == "simulated"
    assert len(frame["lines"]) == 8
    summary = summary_of(process)
    assert summary["mode"] == "simulated"
    assert summary["steps"] == pytest.approx(8 * 4, abs=4)
    assert summary["frames"] == pytest.approx(8 * 2, abs=2)
    assert summary["sentences"] > 30
    assert summary["published"] > 0
    assert set(summary["latency_ms"]) == {"p50", "p99"}


def test_demo_takes_the_next_free_ports_and_says_so() -> None:
    with socket.create_server(("127.0.0.1", 0)) as page, socket.create_server(("127.0.0.1", 0)) as broker:
        taken = [one.getsockname()[1] for one in (page, broker)]
        process = start("demo", "--seconds", "2", "--port", taken[0], "--broker-port", taken[1])
        code, _, err = finished(process)
    assert code == 0, err
    assert all(f"(port {port} is taken)" in err for port in taken)
    assert re.search(r"page +http://127\.0\.0\.1:\d+/", err)


def simulator_of(process: subprocess.Popen[str]) -> Path:
    """The /proc entry of the one simulator among a demo's children."""
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    commands = {pid: Path(f"/proc/{pid}/cmdline").read_bytes() for pid in children}
    (simulator,) = (pid for pid, words in commands.items() if b"\0demo\0--to\0" in words)
    return Path(f"/proc/{simulator}")


def test_demo_ends_at_ctrl_c_with_its_simulator() -> None:
    page, broker = free_ports(2)
    process = start("demo", "--port", page, "--broker-port", broker)
    until(lambda: get_frame(page), process)
    simulator = simulator_of(process)
    process.send_signal(signal.SIGINT)
    assert summary_of(process, 20.0)["frames"] > 0
    assert not simulator.exists()


def test_a_killed_demo_leaves_no_simulator_behind() -> None:
    page, broker = free_ports(2)
    process = start("demo", "--port", page, "--broker-port", broker)
    until(lambda: get_frame(page), process)
    simulator = simulator_of(process)
    process.kill()
    deadline_s = time.monotonic() + 10.0
    while simulator.exists():
        assert time.monotonic() < deadline_s
        time.sleep(0.05)
    finished(process)


def test_simulate_is_the_simulator(tmp_path: Path) -> None:
    """A scenario to a file, and that file through the flow."""
    log = tmp_path / "straight.nmea"
    code, _, err = finished(
        start("simulate", "straight", "--to", f"file:{log}", "--rate", "100000", "--seconds", "60")
    )
    assert code == 0, err
    frames = tmp_path / "frames.jsonl"
    summary = summary_of(start("replay", log, "--frames", frames))
    assert summary["sentences"]["bad_sum"] == 0
    assert summary["minutes"] == pytest.approx(1.0, abs=0.1)
    last = json.loads(frames.read_text().splitlines()[-1])
    assert last["lines"]["R1"]["depth_m"]["state"] == "ok"


def test_simulate_passes_errors_on() -> None:
    code, _, err = finished(start("simulate", "no-such-scenario", "--to", "udp:1"))
    assert code == 2
    assert "no-such-scenario" in err
    assert "Traceback" not in err


def test_version_is_the_installed_one() -> None:
    code, out, err = finished(start("version"))
    assert (code, err) == (0, "")
    assert re.fullmatch(r"spreadwatch \d+\.\d+\.\d+\n", out)


def test_help_of_every_command() -> None:
    code, out, _ = finished(start("--help"))
    assert code == 0
    for name in ("demo", "run", "replay", "simulate", "solve", "bench", "version"):
        assert re.search(rf"^  {name} ", out, re.MULTILINE), name
    code, out, _ = finished(start("run", "--help"))
    assert code == 0
    assert all(option in out for option in ("--config", "--source", "--broker", "--port", "--seconds"))


@pytest.mark.parametrize(
    "arguments",
    [
        ("run", "--port", "0"),
        ("demo", "--seconds", "-1"),
        ("demo", "--seconds", "nan"),
        ("launch",),
        ("replay",),
    ],
    ids=" ".join,
)
def test_misuse_is_exit_2_without_a_traceback(arguments: tuple[str, ...]) -> None:
    code, out, err = finished(start(*arguments))
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    assert "Error" in err
