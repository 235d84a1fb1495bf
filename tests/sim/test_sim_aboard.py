"""Load cells, a crew that tells, touches, fish towed unnoticed: what a scenario may have aboard besides instruments."""

from __future__ import annotations

import json
from pathlib import Path

import pynmea2
import pytest
from sim_stream import CALM, play, write

from sim.__main__ import main
from sim.checked import CheckError
from sim.scenario import read_scenario

LEGS = "legs = [{ duration_s = 40, speed_mph = 2.1, heading_deg = 90 }]\n"
CELLS = 'loads = [{ rod = "S2", name = "LOADS2", sigma_n = 0.0 }]\n'


def stamped(folder: Path, scenario: Path | str, *more: str) -> list[dict[str, object]]:
    """What a scenario says, with times."""
    out = folder / "out.jsonl"
    assert main([str(scenario), "--to", f"stamped:{out}", *more]) == 0
    return [json.loads(line) for line in out.read_text().splitlines()]


def test_a_load_cell_shows_the_true_pull(tmp_path: Path) -> None:
    path = write(tmp_path, LEGS + CELLS + CALM)
    sentences, truth = play(tmp_path, path, truth=True)
    shown = [pynmea2.parse(s, check=True) for s in sentences if s[3:6] == "XDR"]
    assert [m.data[3] for m in shown] == ["LOADS2"] * 41
    for message, row in zip(shown, truth, strict=True):
        assert message.data[0::2][:2] == ["N", "N"]
        assert float(message.data[1]) == pytest.approx(row["lines"]["S2"]["tension_n"], abs=0.051)


def test_a_towed_fish_pulls_and_a_planer_digs_again(tmp_path: Path) -> None:
    rods = '[[rods]]\nrod = "S2"\ntowing_from_s = 10\ntowing_to_s = 25\n'
    rods += '[[rods]]\nrod = "P1"\ntripped_at_s = 5\nrearmed_at_s = 15\n'
    _, truth = play(tmp_path, write(tmp_path, LEGS + CALM + rods), truth=True)
    s2, p1 = ([row["lines"][rod]["tension_n"] for row in truth] for rod in ("S2", "P1"))
    assert s2[24] > 1.3 * s2[9]
    assert s2[40] < 1.2 * s2[9]
    assert p1[14] < 0.7 * p1[4]
    assert p1[40] > 1.2 * p1[14]


def test_the_crew_tells_at_its_times_and_once_of_a_touch(tmp_path: Path) -> None:
    """W runs some 26 m deep: over 20 m of water it is on the bottom all the time, told once."""
    told = 'told = [{ at_s = 12, rod = "P1", kind = "bend", value = "soft" }, { at_s = 3.5, kind = "fish on" }]\n'
    shallow = "[water]\nbottom_m = 20.0\nbottom_swell_m = 0.0\nhump_m = 0.0\n"
    rows = stamped(tmp_path, write(tmp_path, LEGS + told + 'touches = ["W"]\n' + CALM + shallow))
    said = [(row["t_s"], row["told"]) for row in rows if "told" in row]
    assert said == [
        (0.0, {"rod": "W", "kind": "touch", "value": "bottom"}),
        (4.0, {"kind": "fish on"}),
        (12.0, {"rod": "P1", "kind": "bend", "value": "soft"}),
    ]
    times = [float(row["t_s"]) for row in rows]  # type: ignore[arg-type]
    assert times == sorted(times)
    plain, _ = play(tmp_path, tmp_path / "one.toml")
    assert [row["text"] for row in rows if "text" in row] == plain


def test_a_variant_is_the_other_but_for_what_it_says(tmp_path: Path) -> None:
    day, alone = read_scenario("day"), read_scenario("day-alone")
    assert (alone.legs, alone.lake, alone.rods) == (day.legs, day.lake, day.rods)
    assert alone.aboard.loads == ()
    kinds = [{said["kind"] for _, said in one.aboard.told} for one in (day, alone)]
    assert kinds[0] - kinds[1] == {"bend", "lean"}
    outcomes = [said["kind"] for _, said in day.aboard.told]
    assert [outcomes.count(kind) for kind in ("fish on", "landed", "lost")] == [11, 7, 3]
    assert read_scenario("april").aboard.rods == frozenset()


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("told = [{ at_s = -1, kind = 'trip' }]", "at_s"),
        ("told = [{ at_s = 1, rod = 'P1' }]", "kind"),
        ("told = [{ at_s = 1, kind = 'trip', when = 3 }]", "when"),
        ("loads = [{ rod = 'P1' }]", "name"),
        ("loads = 3", "loads"),
        ("touches = 'W'", "touches"),
        ("lines = { step_s = 9.0 }", "step_s"),
    ],
)
def test_what_cannot_be_is_named(tmp_path: Path, line: str, message: str) -> None:
    with pytest.raises(CheckError, match=message):
        read_scenario(str(write(tmp_path, LEGS + line.replace("'", '"') + "\n")))


def test_the_surface_turns_too(tmp_path: Path) -> None:
    """Toward north at 60 degrees an hour: half a minute later 0.5 degrees to the east."""
    water = "[water]\nsurface_drift_mps = 1.0\nsurface_set_deg = 0.0\nsurface_turning_deg_h = 60.0\n"
    _, truth = play(tmp_path, write(tmp_path, LEGS + CALM + water), "--seconds", "30", truth=True)
    assert truth[0]["boat"]["set_rad"] == pytest.approx(0.0)
    assert truth[30]["boat"]["set_rad"] == pytest.approx(0.5 * 3.141592653589793 / 180.0)
