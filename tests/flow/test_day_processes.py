"""A whole invented day on the page, recorded, and its recording on the page: as processes, ended by Ctrl-C."""

from __future__ import annotations

import json
import signal
import subprocess
import urllib.request
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from flow_tools import finished, free_ports, get_frame, start, summary_of, until

Ask = Callable[..., dict[str, Any]]


def got(page: int, path: str) -> tuple[str, bytes]:
    """Content type and body."""
    with urllib.request.urlopen(f"http://127.0.0.1:{page}/{path}", timeout=5.0) as answer:
        return answer.headers["Content-Type"], answer.read()


def simulators_of(process: subprocess.Popen[str]) -> list[Path]:
    """The /proc entries of the simulators among the children of a process's threads."""
    children = [one.read_text().split() for one in Path(f"/proc/{process.pid}/task").glob("*/children")]
    found = [Path(f"/proc/{pid}") for some in children for pid in some]
    return [one for one in found if b"stamped:-" in (one / "cmdline").read_bytes()]


def ended(process: subprocess.Popen[str]) -> dict[str, Any]:
    """Ctrl-C, and its summary."""
    process.send_signal(signal.SIGINT)
    return summary_of(process, 30.0)


def asked_of(page: int, bar: Ask, process: subprocess.Popen[str], mode: str, made_s: float) -> dict[str, Any]:
    """Page and API once so much has been made; where the bar is after a seek."""
    frame = until(lambda: (f := get_frame(page)) and f["lines"]["P1"]["depth_m"]["value"] and f, process)
    assert frame["mode"] == mode
    assert len(frame["lines"]) == 8
    kind, body = got(page, "")
    assert (kind.startswith("text/html"), b"/app.js" in body) == (True, True)
    assert json.loads(got(page, "api/me")[1]) == {"may_set": True}
    bar(do="pause")
    until(lambda: bar(do="pause")["made_s"] >= made_s, process, 240.0)
    at = bar(do="seek", value=made_s - 60.0)
    assert (at["t_s"], at["playing"], at["error"]) == (made_s - 60.0, False, "")
    until(lambda: (f := get_frame(page)) and abs(f["t_s"] - at["t_s"]) <= 2.0, process)
    return at


def test_a_day_and_its_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, player_bar: Ask) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    root = tmp_path / "spreadwatch"
    (page,) = free_ports(1)
    bar = partial(player_bar, f"http://127.0.0.1:{page}/")
    process = start("demo", "--day", "--outings", root, "--port", page)
    at = asked_of(page, bar, process, "simulated", 800.0)
    assert [event["words"] for event in at["events"]][:1] == ["P1 fish on"]  # 06:22, that is 720 s
    assert at["rate"] == 20.0
    (simulator,) = simulators_of(process)
    summary = ended(process)
    assert (summary["shown_s"], summary["made_s"] >= 800.0) == (740.0, True)
    assert not simulator.exists()
    code, out, err = finished(start("outings", "verify"))
    (checked,) = json.loads(out)["outings"]
    assert (code, checked["readable"], checked["closed"], checked["lost"]) == (0, True, True, 0), err

    process = start("replay", checked["outing"], "--page", "--port", page)
    at = asked_of(page, bar, process, "replayed", 760.0)
    assert bar(do="back")["t_s"] == 0.0
    assert bar(do="next")["t_s"] == 710.0
    assert ended(process)["shown_s"] == 710.0
