"""The truth model against the shared reference cases, at three times the tolerances the assistant is held to.

Source of every number: the case's own `source`, an independent code (scipy integration or MoorDyn).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import towing_compare

from sim.cases import read_case
from sim.towing import solve

SLACKER = 3.0


def error(kind: str, got: dict[str, Any], expect: dict[str, Any]) -> float:
    """The largest error over all values, 1 = what the assistant is allowed."""
    assert got.keys() >= expect.keys()
    return max(towing_compare.worst(kind, got, expect).values())


@pytest.mark.parametrize("kind", ["steady", "circle"])
def test_reference_settled(shared: Path, kind: str) -> None:
    cases = json.loads((shared / "reference" / f"{kind}.json").read_text())["cases"]
    errors = {case["id"]: error(kind, solve(read_case(case)), case["expect"]) for case in cases}
    assert len(errors) >= 10
    assert max(errors.values()) <= SLACKER, errors


def test_reference_courses(shared: Path) -> None:
    cases = json.loads((shared / "reference" / "course.json").read_text())["cases"]
    errors = {case["id"]: error("course", solve(read_case(case)), case["expect"]) for case in cases}
    assert len(errors) >= 10
    assert max(errors.values()) <= SLACKER, errors


def test_nothing_of_expect_is_read_but_the_times(shared: Path) -> None:
    cases = json.loads((shared / "reference" / "course.json").read_text())["cases"]
    case = cases[0] | {"course": {"points": [[0, 1.1, 0], [4, 1.1, 0], [8, 1.1, 12]]}}
    times = [0.0, 2.5, 8.0]
    bare = {k: v for k, v in case.items() if k != "expect"}
    by_rows = solve(read_case(case | {"expect": {"rows": [[t, 9e9, None, "x", {}] for t in times]}}))
    by_key = solve(read_case(bare | {"report_t_s": times}))
    assert by_rows == by_key
    each_second = solve(read_case(bare))
    assert [row[0] for row in each_second["rows"]] == [float(t) for t in range(9)]
    assert each_second["rows"][8] == pytest.approx(by_key["rows"][2], abs=1e-3)
