"""What trollers say of their gear lies in the default bands; what does not is named here, with its numbers and why.

Source of every fact: common practice, no source (tests/campaigns/facts.py has them all).
"""

from __future__ import annotations

from typing import Any

import pytest
from facts import main

OUTSIDE = {
    "large disc, 40 lb wire, 150 ft, setting 1-1.5, 2.0-2.8 mph, spoon": (
        "69-100 ft: a light lure runs it at the bottom of what is told and deeper ('or somewhat more')"
    ),
    "standard disc, 65 lb braid, 140 ft, setting 2.5-3.5, 2.0-2.8 mph, flasher-fly": (
        "17-50 ft: the fact goes with a light lure, its band 36-66 ft holds it"
    ),
    "lead-core, 5 colours near 2.4 mph, per colour": (
        "3.3-5.0 ft: a spoon and leader lift a short core; 10 colours hold it, and the bare line's closed form is 5.0"
    ),
    "copper, 150 ft near 2.7 mph, per 100 ft": "16.0-21.0 ft: likewise; 300 ft holds it",
    "copper, 250 ft near 2.7 mph, per 100 ft": "16.9-21.9 ft: likewise, by a hair",
    "lead-core: 2.4 -> 1.3 mph, times as deep": (
        "1.91-1.98 against 1.9: the bare line gives 1.85, the spoon's drag adds the rest"
    ),
    "standard disc, flasher-fly: tripped two minutes ago, pull of before": (
        "0.50-0.93 against 0.5: what is left is the flasher's own drag, as much as a standard disc pulls by default"
    ),
}
"""Facts the default band may leave out, each with what it is instead."""


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    return main(["--seed", "1", "--n", "120"])


def test_default_bands_hold_the_facts(result: dict[str, Any]) -> None:
    assert len(result["facts"]) > 30
    assert set(result["outside"]) <= set(OUTSIDE), result["outside"]


def test_the_facts_that_name_no_lure(result: dict[str, Any]) -> None:
    """Both planer facts, lead-core by the whole core, copper by its full length."""
    rows = {row["fact"]: row for row in result["facts"]}
    for name in (
        "large disc, 40 lb wire, 150 ft, setting 1-1.5, 2.0-2.8 mph, either lure",
        "standard disc, 65 lb braid, 140 ft, setting 2.5-3.5, 2.0-2.8 mph, either lure",
        "lead-core, 10 colours near 2.4 mph, per colour",
        "copper, 300 ft near 2.7 mph, per 100 ft",
    ):
        assert rows[name]["low"] <= rows[name]["said"][0], name
        assert rows[name]["said"][1] <= rows[name]["high"], name


def test_sharpness_is_measured(result: dict[str, Any]) -> None:
    halves = result["sharpness"]["half_width_over_depth"]
    assert len(halves) == 4
    assert all(0.0 < half < 1.0 for half in halves.values())
