"""Towing cases that are wrong: told with file, case, key, value and what is allowed; the others are still printed."""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.lines import cases
from assistant.lines.cases import CaseError, NoSteadyShape, solve
from assistant.solve import main

GOOD: dict[str, Any] = {
    "format": "towing case 1",
    "id": "ball",
    "kind": "steady",
    "water": {"density_kg_m3": 1000.0, "gravity_m_s2": 9.81},
    "speed_m_s": 1.2,
    "bodies": [{"wet_weight_n": 40.0, "drag_area_m2": 0.003}],
    "segments": [
        {
            "length_m": 20.0,
            "diameter_m": 0.001,
            "mass_kg_m": 0.0042,
            "normal_drag": 1.3,
            "tangential_drag": 0.01,
        }
    ],
}
COURSE: dict[str, Any] = {
    **GOOD,
    "kind": "course",
    "course": {"columns": ["t_s", "speed_m_s", "heading_deg"], "points": [[0, 1.2, 0], [2, 1.2, 0]]},
    "line_out": {"t_s": [0.0, 2.0], "length_m": [20.0, 21.0]},
    "current": {"depth_m": [0.0, 9.0], "east_m_s": [0.0, 0.1], "north_m_s": [0.0, 0.0]},
}
CIRCLE: dict[str, Any] = {**GOOD, "kind": "circle", "circle": {"radius_m": 60.0, "turn": "port"}}


def changed(case: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """The case with one value replaced; path like segments.0.length_m."""
    case = copy.deepcopy(case)
    *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
    place: Any = case
    for step in way:
        place = place[step]
    place[last] = value
    return case


WRONG = [
    (GOOD, "segments.0.length_m", -1.0, ("segments[0].length_m", "-1.0", "0 to 5000")),
    (GOOD, "segments.0.diameter_m", 0, ("segments[0].diameter_m", "0", "1e-06 to 1")),
    (GOOD, "segments.0.normal_drag", "1.2", ("segments[0].normal_drag", "'1.2'", "0 to 20")),
    (GOOD, "segments.0.mass_kg_m", True, ("segments[0].mass_kg_m", "True", "0 to 100")),
    (GOOD, "segments.0", 7, ("segments[0]", "7", "an object")),
    (GOOD, "segments", [], ("segments", "[]", "at least one")),
    (GOOD, "bodies.0.wet_weight_n", math.nan, ("bodies[0].wet_weight_n", "nan", "-100000 to 100000")),
    (GOOD, "bodies.0.drag_area_m2", math.inf, ("bodies[0].drag_area_m2", "inf", "0 to 100")),
    (GOOD, "bodies", [{}, {}], ("bodies", "2", "at most one per segment")),
    (GOOD, "speed_m_s", 1e9, ("speed_m_s", "1000000000.0", "0 to 20")),
    (GOOD, "water.density_kg_m3", None, ("water.density_kg_m3", "None", "500 to 2000")),
    (GOOD, "tow_point_height_m", -0.1, ("tow_point_height_m", "-0.1", "0 to 100")),
    (GOOD, "kind", "stedy", ("kind", "'stedy'", "'steady'")),
    (GOOD, "format", "towing case 2", ("format", "towing case 2", "towing case 1")),
    (CIRCLE, "circle.radius_m", 0.0, ("circle.radius_m", "0.0", "0.1 to 1e+09")),
    (CIRCLE, "circle.turn", "left", ("circle.turn", "'left'", "'port', 'starboard'")),
    (COURSE, "course.points.1", [2, 1.2], ("course.points[1]", "[2, 1.2]", "3 numbers")),
    (COURSE, "course.points.1.0", 0, ("course.points", "0 followed by 0", "increasing")),
    (COURSE, "course.points.1.0", 1e6, ("course.points", "1000000.0", "0 to 86400")),
    (COURSE, "course.points", [], ("course.points", "[]", "at least one point")),
    (COURSE, "course.columns", None, ("course.columns", "None", "t_s, speed_m_s, heading_deg")),
    (GOOD, "kind", [], ("kind", "[]", "steady, circle, course")),
    (COURSE, "course.points.1.1", -2, ("course.points[1].speed_m_s", "-2", "0 to 20")),
    (COURSE, "line_out.length_m", [20.0], ("line_out", "1", "as many")),
    (COURSE, "line_out.length_m.1", -3.0, ("line_out.length_m[1]", "-3.0", "0 to 5000")),
    (COURSE, "current.depth_m", [9.0, 0.0], ("current.depth_m", "9 followed by 0", "increasing")),
    (COURSE, "current.east_m_s.1", 50.0, ("current.east_m_s[1]", "50.0", "-10 to 10")),
    (COURSE, "report_t_s", [-5.0], ("report_t_s[0]", "-5.0", "0 to")),
]


@pytest.mark.parametrize(
    ("case", "path", "value", "said"), WRONG, ids=[f"{w[0]['kind']}-{w[1]}" for w in WRONG]
)
def test_a_wrong_value_is_named_with_what_is_allowed(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    case: dict[str, Any],
    path: str,
    value: Any,
    said: tuple[str, ...],
) -> None:
    wrong = {**changed(case, path, value), "id": "wrong one"}
    file = tmp_path / "some cases.json"
    file.write_text(json.dumps({"cases": [GOOD, wrong, {**GOOD, "id": "after"}]}), encoding="utf-8")
    assert main([str(file)]) == 2
    out, err = capsys.readouterr()
    assert [json.loads(line)["id"] for line in out.splitlines()] == ["ball", "after"]
    assert len(err.splitlines()) == 1
    for part in ("some cases.json", "wrong one", "allowed", *said):
        assert part in err


@pytest.mark.parametrize("key", ["water", "segments", "speed_m_s", "kind"])
def test_a_missing_key_is_named(key: str) -> None:
    with pytest.raises(CaseError, match=key):
        solve({k: v for k, v in GOOD.items() if k != key})


@pytest.mark.parametrize(
    "text", ["", "{", "[1, 2", '{"cases": 7}', "\x00", '{"cases": [', "[" * 100_000, '{"a": 1e999999}'],
    ids=range(8),
)  # fmt: skip
def test_a_file_that_holds_no_cases(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    bad, good = tmp_path / "bad.json", tmp_path / "good.json"
    bad.write_text(text, encoding="utf-8")
    good.write_text(json.dumps(GOOD), encoding="utf-8")
    assert main([str(bad), str(tmp_path / "absent.json"), str(good)]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["id"] == "ball"
    assert "bad.json" in err
    assert "absent.json" in err


def test_nothing_of_expect_is_read_but_the_times(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    course = {**COURSE, "expect": {"rows": [[1.0, "deep", None, {}], [2.0]]}}
    file = tmp_path / "one.json"
    file.write_text(json.dumps(course), encoding="utf-8")
    assert main([str(file)]) == 0
    result = json.loads(capsys.readouterr().out)["result"]
    assert [row[0] for row in result["rows"]] == [1.0, 2.0]


STRANGE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def paths(case: Any, way: str = "") -> list[str]:
    """Every place in a case."""
    if isinstance(case, dict):
        inner = [p for key, value in case.items() for p in paths(value, f"{way}.{key}")]
    elif isinstance(case, list):
        inner = [p for i, value in enumerate(case) for p in paths(value, f"{way}.{i}")]
    else:
        inner = []
    return [*([way[1:]] if way else []), *inner]


PLACES = [(case, path) for case in (GOOD, CIRCLE, COURSE) for path in paths(case)]


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PLACES), STRANGE)
def test_strange_json_anywhere_is_solved_or_refused_in_words(
    place: tuple[dict[str, Any], str], value: Any
) -> None:
    """Also through the text of JSON, as a file would bring it; a result holds finite numbers only."""
    case = json.loads(json.dumps(changed(place[0], place[1], value)))
    try:
        with mock.patch.object(cases, "LONGEST_S", 60.0):  # not to wait for courses of a day
            result = solve(case)
    except (CaseError, NoSteadyShape) as error:
        assert str(error)
    else:
        json.dumps(result, allow_nan=False)


@settings(max_examples=60, deadline=None)
@given(STRANGE)
def test_strange_json_as_a_case(tmp_path_factory: pytest.TempPathFactory, value: Any) -> None:
    file = tmp_path_factory.mktemp("strange") / "case.json"
    file.write_text(json.dumps(value), encoding="utf-8")
    assert main([str(file)]) in (0, 2)
