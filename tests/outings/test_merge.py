"""Outings merged: nothing lost, everything at its time, Frames of the first part the same to the last byte."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from outing_tools import DATE, checksummed

from assistant import config, replay
from assistant.__main__ import main
from assistant.configured import Config
from assistant.messages import Event, Inputs, LineSetting, Sentence
from assistant.outings.entries import Opening, Step, Told
from assistant.outings.recorder import Recorder
from assistant.outings.recording import Outing, opening_of

MORNING = datetime(2026, 7, 18, 10, 30, tzinfo=UTC)


def outing(root: Path, later_s: float, loaded: Config, mode: str = "live") -> None:
    """A minute of straight towing, begun so much later; a strike, a line let out, and the strike taken back."""
    clock = (MORNING + timedelta(seconds=later_s)).isoformat()
    one = Recorder(root, Opening("", "0.0", mode, 0, loaded, clock), DATE)  # type: ignore[arg-type]
    for tick in range(240):
        t_s = tick * 0.25
        said = (
            [checksummed("IIHDT,200.0,T"), checksummed("IIVHW,200.0,T,,M,2.00,N,,K")] if tick % 4 == 0 else []
        )
        out = (LineSetting(t_s, "P1", line_out_m=60.0),) if tick == 100 else ()
        one.step(Inputs(t_s, tuple(Sentence(t_s, "udp:1", text) for text in said), out), framed=tick % 4 == 0)
        if tick == 120:
            number = one.tell(Told(Event(t_s, "fish on", "S2"))).result(20.0)
            one.tell(Told(Event(t_s, "fish on", "S1", corrects=number))).result(20.0)
    one.close(60.0)


def ask(*arguments: str) -> Result:
    """The command line `spreadwatch outings ...`."""
    return CliRunner().invoke(main, ["outings", *arguments], catch_exceptions=False)


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where outings are."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    return tmp_path / "spreadwatch"


def frames(folder: Path) -> list[bytes]:
    """Of a replay."""
    out = io.BytesIO()
    opening = opening_of(folder)
    replay.replay(folder, opening.config, out, opening.seed)
    return out.getvalue().splitlines()


def _texts(step: Step) -> list[str]:
    return [sentence.text for sentence in step.inputs.sentences]


def test_two_outings_become_one(root: Path) -> None:
    loaded = config.load()
    outing(root, 0.0, loaded)
    outing(root, 300.1, loaded)
    said = ask("merge", "20260718-2", "20260718-1")
    assert said.exit_code == 0
    assert said.output.startswith("20260718-3: made of")
    whole, parts = Outing(root / "20260718-3"), [Outing(root / f"20260718-{k}") for k in (1, 2)]
    verdict = json.loads(ask("verify", "20260718-3").output)["outings"][0]
    assert verdict["verdict"] == "whole"
    assert verdict["entries"] == sum(len(list(part.entries())) for part in parts) - 1  # one closing for two
    old = [entry for part in parts for _, entry in part.entries() if isinstance(entry, Step)]
    new = [entry for _, entry in whole.entries() if isinstance(entry, Step)]
    assert [one.inputs.sentences for one in new[:240]] == [one.inputs.sentences for one in old[:240]]
    assert [_texts(one) for one in new] == [_texts(one) for one in old]
    assert {
        after.inputs.t_s - before.inputs.t_s for after, before in zip(new[240:], old[240:], strict=True)
    } == {300.0}
    assert [(told.event.rod, told.event.t_s) for told in whole.events().values()] == [
        ("S1", 30.0),
        ("S1", 330.0),
    ]


def test_frames_of_a_merged_outing(root: Path) -> None:
    """Those of the first part are the same; in the second the rod is as that part began with it, and as it was set."""
    loaded = config.load()
    outing(root, 0.0, loaded)
    outing(root, 300.0, loaded)
    ask("merge", "20260718-1", "20260718-2")
    one, both = frames(root / "20260718-1"), frames(root / "20260718-3")
    assert both[: len(one)] == one
    first, second = (
        json.loads(line)["lines"]["P1"]["depth_m"]["value"] for line in (one[24], both[len(one) + 24])
    )
    assert second == pytest.approx(first, rel=1e-3)  # before the line is let out, both times


@pytest.mark.parametrize(
    ("later_s", "change", "mode", "why"),
    [
        (30.0, {}, "live", "began before 20260718-1 ended"),
        (2e5, {}, "live", "not one outing"),
        (300.0, {"alerts": None}, "live", "another configuration than 20260718-1: alerts"),
        (300.0, {}, "simulated", "is simulated, 20260718-1 live"),
    ],
)
def test_what_cannot_be_one(root: Path, later_s: float, change: dict[str, None], mode: str, why: str) -> None:
    loaded = config.load()
    outing(root, 0.0, loaded)
    other = replace(loaded, alerts=replace(loaded.alerts, lure_slow_mps=0.5)) if change else loaded
    outing(root, later_s, other, mode)
    said = ask("merge", "20260718-1", "20260718-2")
    assert said.exit_code == 2
    assert why in said.output
    assert ask("list").output.count("\n") == 2


def test_one_outing_is_no_two(root: Path) -> None:
    outing(root, 0.0, config.load())
    assert ask("merge", "20260718-1", "20260718-1").exit_code == 2
    assert ask("merge", "20260718-1", "../20260718-1").exit_code == 2


def test_what_differs_without_matter(root: Path) -> None:
    loaded = config.load()
    outing(root, 0.0, loaded)
    outing(root, 300.0, replace(loaded, page_port=9000, sources=("udp:2",)))
    assert ask("merge", "20260718-1", "20260718-2").exit_code == 0
