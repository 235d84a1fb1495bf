"""What trollers say of their gear lies in the default bands; what does not is named here, with its numbers and why.

Source of every fact: common practice, no source (tests/campaigns/facts.py has them all).
"""

from __future__ import annotations

from typing import Any

import pytest
from facts import main

PARTS_OUTSIDE = {
    "large disc, 40 lb wire, 150 ft, setting 1-1.5, 2.0-2.8 mph, spoon": (
        "68-101 ft: a light lure runs it at the bottom of what is told and deeper ('or somewhat more')"
    ),
    "lead-core: 2.4 -> 1.3 mph, times as deep": (
        "1.90-1.96 against 1.9: the bare line's closed form is 1.81, the spoon's drag adds the rest; copper 1.86-1.91"
    ),
}
"""What may lie outside as a part of a fact that names neither lure nor kind of line, each with what it is instead."""


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    return main(["--seed", "1", "--n", "120"])


def test_default_bands_hold_the_facts(result: dict[str, Any]) -> None:
    assert len(result["facts"]) > 30
    assert result["outside"] == []
    assert set(result["parts_outside"]) <= set(PARTS_OUTSIDE), result["parts_outside"]


def test_the_facts_that_name_no_lure(result: dict[str, Any]) -> None:
    """Both planer facts, lead-core and copper at any length."""
    rows = {row["fact"]: row for row in result["facts"]}
    for name in (
        "large disc, 40 lb wire, 150 ft, setting 1-1.5, 2.0-2.8 mph, either lure",
        "standard disc, 65 lb braid, 140 ft, setting 2.5-3.5, 2.0-2.8 mph, either lure",
        "lead-core, 3 colours near 2.4 mph, per colour",
        "lead-core, 10 colours near 2.4 mph, per colour",
        "copper, 100 ft near 2.7 mph, per 100 ft",
        "copper, 300 ft near 2.7 mph, per 100 ft",
    ):
        assert rows[name]["low"] <= rows[name]["said"][0], name
        assert rows[name]["said"][1] <= rows[name]["high"], name


def test_light_discs_lose_little_to_speed(result: dict[str, Any]) -> None:
    """Under 8 % from 2.0 to 2.9 mph, the median of what agrees with the other facts."""
    rows = {row["fact"]: row for row in result["facts"]}
    for name in ("large disc", "standard disc"):
        assert rows[f"{name} of 0.03 kg in water, given the facts: 2.0 -> 2.9 mph loses"]["typical"], name


def test_sharpness_is_measured(result: dict[str, Any]) -> None:
    halves = result["sharpness"]["half_width_over_depth"]
    assert len(halves) == 4
    assert all(0.0 < half < 1.0 for half in halves.values())
