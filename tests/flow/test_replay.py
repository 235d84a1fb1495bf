"""Recorded logs through the flow: grid, gaps, assumed time, counts, and the same frames every time."""

from __future__ import annotations

import io
import json
import signal
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flow_tools import STEP_S, boat_texts, finished, start, summary_of, with_sum

from assistant import config, raw_log, replay, replay_reader
from assistant.configured import Coefficient
from assistant.errors import LogError
from assistant.lines.facts import CONTRADICTION
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, STATES


def write_log(path: Path, times_s: list[float]) -> Path:
    """A log of a boat on a steady course that was heard at these times [s]."""
    path.write_text("".join(f"{text}\r\n" for t in times_s for text in boat_texts(t, 200.0)))
    return path


def frames_of(path: Path) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Summary and frames of a replay with the demo spread."""
    out = io.BytesIO()
    summary = replay.replay(path, config.load(), out)
    return summary, [json.loads(line) for line in out.getvalue().splitlines()]


def test_one_frame_a_second_on_the_grid(tmp_path: Path) -> None:
    summary, frames = frames_of(write_log(tmp_path / "a.nmea", [float(t) for t in range(31)]))
    assert len(frames) in (31, 32)  # the last second's sentences may reach past its end
    assert [frame["t_s"] for frame in frames] == [float(t) for t in range(len(frames))]
    assert [frame["seq"] for frame in frames] == list(range(len(frames)))
    assert {frame["mode"] for frame in frames} == {"replayed"}
    # The time stands in the third of five sentences a second: the log began 0.4 s before its first second.
    assert frames[20]["utc"] == "2026-07-18T00:00:19.600Z"
    assert (summary["frames"], summary["clock"]) == (len(frames), "sentences")
    assert summary["sentences"]["good"] == 31 * 5


def test_a_gap_has_no_frames_and_settles_the_lines(tmp_path: Path) -> None:
    times_s = [*map(float, range(40)), *map(float, range(340, 380))]
    log = write_log(tmp_path / "gap.nmea", times_s)
    _, frames = frames_of(log)
    heard = [frame["t_s"] for frame in frames]
    assert not [t for t in heard if 45.0 < t < 338.0]
    assert heard == sorted(set(heard))
    assert len(frames) == pytest.approx(80, abs=4)
    after = [inputs for inputs in raw_log.read_log(log).inputs() if inputs.t_s > 300.0]
    assert after[0].settle
    assert not any(inputs.settle for inputs in after[1:])
    assert after[0].t_s == pytest.approx(340.0, abs=1.0)


def test_no_sentence_is_lost_or_doubled_on_the_grid(tmp_path: Path) -> None:
    log = raw_log.read_log(write_log(tmp_path / "b.nmea", [0.0, 1.0, 2.0, 90.0, 91.0, 200.0]))
    every = list(log.inputs())
    assert [s.text for inputs in every for s in inputs.sentences] == list(log.clock.texts)
    times = [inputs.t_s for inputs in every]
    assert times == sorted(set(times))
    assert all(t / STEP_S == round(t / STEP_S) for t in times)
    assert all(s.t_s <= inputs.t_s for inputs in every for s in inputs.sentences)


def test_assumed_time_says_so(tmp_path: Path) -> None:
    path = tmp_path / "c.nmea"
    path.write_text("".join(with_sum("IIVHW,200.0,T,,M,1.90,N,,K") + "\n" for _ in range(20)))
    summary, frames = frames_of(path)
    assert summary["clock"] == "assumed"
    assert "assumed" in frames[-1]["boat"]["stw_mps"]["source"]
    assert frames[-1]["utc"] is None


def test_shares_add_up_to_one(tmp_path: Path) -> None:
    summary, frames = frames_of(write_log(tmp_path / "d.nmea", [float(t) for t in range(20)]))
    assert set(summary["states"]) == set(BOAT_QUANTITIES)
    assert set(summary["lines"]) == set(LINE_QUANTITIES)
    for shares in (*summary["states"].values(), *summary["lines"].values()):
        assert sum(shares.values()) == pytest.approx(1.0, abs=2e-4)
    for name, shares in summary["states"].items():
        for state in STATES:
            counted = sum(frame["boat"][name]["state"] == state for frame in frames) / len(frames)
            assert shares[state] == pytest.approx(counted, abs=1e-4)


def test_facts_that_contradict_are_among_the_rejects(tmp_path: Path) -> None:
    loaded = config.load()
    deep = replace(loaded.facts[0], says=Coefficient(40.0, 39.9, 40.1, "made up: twice as deep"))
    log = write_log(tmp_path / "log.nmea", [float(k) for k in range(4)])
    rejects = replay.replay(log, replace(loaded, facts=(loaded.facts[0], deep)))["rejects"]
    assert rejects == {**replay.replay(log, loaded)["rejects"], CONTRADICTION: 2}  # type: ignore[dict-item]


@pytest.mark.parametrize(
    ("content", "says"),
    [(None, "No such file"), (b"", "no good sentence"), (b"\x00\xff" * 5000, "no good sentence")],
    ids=["missing", "empty", "binary"],
)
def test_what_is_no_log_is_refused(tmp_path: Path, content: bytes | None, says: str) -> None:
    path = tmp_path / "x.nmea"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(LogError, match=says):
        replay.replay(path, config.load())


def test_a_directory_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="directory"):
        replay.replay(tmp_path, config.load())


def test_command_replays_a_real_log_twice_alike(shared: Path, tmp_path: Path) -> None:
    """Sentence counts against counts.json of the shared folder, made by another implementation."""
    name = "small-sounder-gps.log"
    outs = [tmp_path / "1.jsonl", tmp_path / "2.jsonl"]
    both = [start("replay", shared / "nmea" / name, "--frames", out) for out in outs]
    summaries = [summary_of(process) for process in both]
    assert summaries[0] == summaries[1]
    assert outs[0].read_bytes() == outs[1].read_bytes()
    counts = json.loads((shared / "nmea/counts.json").read_text())[name]
    assert {key: summaries[0]["sentences"][key] for key in counts} == counts
    assert summaries[0]["frames"] == outs[0].read_text().count("\n")
    assert summaries[0]["lines"]["depth_m"]["dead"] < 0.5  # GPS alone: a fallback speed moves the lines


@pytest.mark.parametrize(
    "arguments",
    [
        ("replay", "nowhere.nmea"),
        ("replay", "{log}", "--frames", "{dir}/no/such/out"),
        ("replay", "{log}", "--config", "{log}"),
    ],
    ids=["no log", "unwritable frames", "config is no directory"],
)
def test_command_errors_are_one_line_and_exit_2(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    log = write_log(tmp_path / "e.nmea", [0.0, 1.0])
    code, out, err = finished(start(*(a.format(log=log, dir=tmp_path) for a in arguments)))
    assert (code, out) == (2, "")
    assert err.startswith("spreadwatch: ")
    assert err.count("\n") == 1


def test_read_here_or_in_a_process_beside_gives_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_log(tmp_path / "c.nmea", [*map(float, range(90)), *map(float, range(300, 330))])
    beside, here = io.BytesIO(), io.BytesIO()
    summary = replay.replay(log, config.load(), beside)
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    assert replay.replay(log, config.load(), here) == summary
    assert here.getvalue() == beside.getvalue() != b""


def test_the_process_that_reads_is_gone_after_an_error(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    started: list[subprocess.Popen[bytes]] = []
    popen = subprocess.Popen

    def kept(*args: Any, **options: Any) -> subprocess.Popen[bytes]:
        started.append(popen(*args, **options))
        return started[-1]

    monkeypatch.setattr("subprocess.Popen", kept)
    log = write_log(tmp_path / "d.nmea", [*map(float, range(30))])
    with pytest.raises(InterruptedError), replay_reader.located(log, config.load().boat) as located:
        assert located.header.counts["good"] == 30 * 5
        raise InterruptedError
    assert [process.poll() for process in started] == [-signal.SIGKILL]
