"""Every reference case of the shared folder, at the tolerances the solver is held to; sources: its README."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from towing_compare import worst

from assistant.lines.cases import solve


@pytest.mark.parametrize("name", ["steady", "circle", "course"])
def test_reference_cases(shared: Path, name: str) -> None:
    file = shared / "reference" / f"{name}.json"
    if not file.exists():
        pytest.skip(f"no reference cases at {file}")
    cases = json.loads(file.read_text(encoding="utf-8"))["cases"]
    assert cases
    for case in cases:
        expected = case.pop("expect")
        if name == "course":
            case["report_t_s"] = [row[0] for row in expected["rows"]]
        ratios = worst(case["kind"], solve(case), expected)
        assert max(ratios.values()) <= 1.0, (case["id"], ratios)
