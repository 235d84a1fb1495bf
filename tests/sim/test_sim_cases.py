"""Bad towing cases: told by file, id, key, value, allowed range; the good ones still solved; exit code 2."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from sim.cases import read_case
from sim.checked import CheckError
from sim.towing import main, solve

GOOD: dict[str, Any] = {
    "id": "good",
    "kind": "steady",
    "water": {"density_kg_m3": 1000.0, "gravity_m_s2": 9.81},
    "speed_m_s": 1.0,
    "bodies": [{"wet_weight_n": 4.0, "drag_area_m2": 0.001}],
    "segments": [
        {
            "length_m": 30.0,
            "diameter_m": 0.0004,
            "mass_kg_m": 0.0001,
            "normal_drag": 1.2,
            "tangential_drag": 0.02,
        }
    ],
}
COURSE = {"kind": "course", "course": {"points": [[0, 1.0, 0], [5, 1.0, 0]]}}

BAD: list[tuple[dict[str, Any], str, str]] = [
    ({"kind": "bent"}, "kind: 'bent'", "'steady', 'circle', 'course'"),
    ({"speed_m_s": -1.0}, "speed_m_s: -1.0", "0 to 20"),
    ({"speed_m_s": float("nan")}, "speed_m_s: nan", "0 to 20"),
    ({"speed_m_s": "1"}, "speed_m_s: '1'", "0 to 20"),
    ({"speed_m_s": True}, "speed_m_s: True", "0 to 20"),
    ({"speed_m_s": None}, "speed_m_s: missing", "0 to 20"),
    ({"water": {"density_kg_m3": 1000.0}}, "water.gravity_m_s2: missing", "0.1 to 100"),
    ({"water": 3}, "water: 3", "an object"),
    ({"segments": []}, "segments: 0 entries", "1 to 100"),
    ({"segments": [GOOD["segments"][0] | {"length_m": -3.0}]}, "segments[0].length_m: -3.0", "0 to 5000"),
    ({"segments": [GOOD["segments"][0] | {"diameter_m": 0}]}, "segments[0].diameter_m: 0", "1e-06 to 1"),
    ({"bodies": [{}, {}]}, "bodies: 2 entries", "0 to 1"),
    ({"bodies": [{"mass_kg": -1}]}, "bodies[0].mass_kg: -1", "0 to 100000"),
    ({"kind": "circle"}, "circle: None", "an object"),
    (
        {"kind": "circle", "circle": {"radius_m": 50, "turn": "left"}},
        "circle.turn: 'left'",
        "'port', 'starboard'",
    ),
    (
        {"current": {"depth_m": [0, 5], "east_m_s": [0], "north_m_s": [0, 0]}},
        "current.east_m_s: 1 entries",
        "2 to 2",
    ),
    (
        {"current": {"depth_m": [5, 5], "east_m_s": [0, 0], "north_m_s": [0, 0]}},
        "current.depth_m",
        "strictly rising",
    ),
    (COURSE | {"report_t_s": [-1]}, "report_t_s: -1", "0 to"),
    (COURSE | {"course": {"points": [[0, 1, 0], [0, 1, 0]]}}, "course.points", "strictly rising"),
    ({"format": "towing case 2"}, "format: 'towing case 2'", "'towing case 1'"),
]


@pytest.mark.parametrize(("change", "told", "allowed"), BAD, ids=[told for _, told, _ in BAD])
def test_a_bad_value_is_named(change: dict[str, Any], told: str, allowed: str) -> None:
    with pytest.raises(CheckError) as error:
        read_case(GOOD | change)
    assert told in str(error.value)
    assert "allowed" in str(error.value)
    assert allowed in str(error.value)


def test_the_others_are_still_solved(tmp_path: Path) -> None:
    path = tmp_path / "cases.json"
    path.write_text(json.dumps({"cases": [GOOD | {"id": "a", "speed_m_s": 99}, 7, GOOD, GOOD | {"id": "c"}]}))
    run = subprocess.run(
        [sys.executable, "-m", "sim.towing", str(path)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 2
    assert [json.loads(row)["id"] for row in run.stdout.splitlines()] == ["good", "c"]
    first, second = run.stderr.splitlines()
    assert first == f"{path}: case a: speed_m_s: 99; allowed: a number from 0 to 20"
    assert second.startswith(f"{path}: case number 1: case: 7; allowed")


def test_one_case_is_a_file_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "one.json"
    path.write_text(json.dumps(GOOD))
    assert main([str(path)]) == 0
    assert json.loads(capsys.readouterr().out)["result"].keys() == {
        "depth_m",
        "setback_m",
        "lateral_m",
        "tension_n",
    }


@pytest.mark.parametrize("text", ["", "{", "[1", '{"cases": 3}', "\x00"])
def test_a_bad_file_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    path = tmp_path / "bad.json"
    path.write_text(text)
    assert main([str(path)]) == 2
    assert str(path) in capsys.readouterr().err
    assert main([str(tmp_path / "none.json")]) == 2


def test_line_of_no_length_and_bodies_of_no_weight() -> None:
    short = solve(read_case(GOOD | {"segments": [GOOD["segments"][0] | {"length_m": 0.0}]}))
    assert short["depth_m"] == pytest.approx(0.0, abs=1e-5)
    assert short["tension_n"] == pytest.approx((4.0**2 + 0.5**2) ** 0.5, rel=1e-3)
    for bodies in ([], [{}], [{"wet_weight_n": 0.0, "drag_area_m2": 0.001}]):
        assert solve(read_case(GOOD | {"bodies": bodies}))["setback_m"] == pytest.approx(30.0, abs=0.1)


def test_where_nothing_pulls_it_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line as heavy as water at rest has no shape."""
    neutral = GOOD["segments"][0] | {"mass_kg_m": 1000.0 * 3.141592653589793 * 0.0004**2 / 4.0}
    path = tmp_path / "limp.json"
    path.write_text(json.dumps(GOOD | {"bodies": [], "speed_m_s": 0.0, "segments": [neutral]}))
    assert main([str(path)]) == 2
    told = capsys.readouterr().err
    assert "straight" in told or "steady" in told
