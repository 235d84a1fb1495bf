"""Every rig's line let out and reeled in: within 5 % of a finer run on the way, within 0.5 % once settled.

Source: the same kernel four times finer in time and space; the end by steady integration (tests/campaigns/payout.py).
"""

from __future__ import annotations

from typing import Any

import pytest
from payout import MORE, Run, errors, main

from assistant import config


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    return main(["--seed", "1"])


def test_line_running_out_and_in_on_every_rig(result: dict[str, Any]) -> None:
    assert result["runs"] > 30
    for found in (result["taut_worst_percent"], result["slack_worst_percent"]):
        assert max(found["running_depth"] or 0.0, found["running_place"] or 0.0) <= 5.0, result
        assert max(found["settled_depth"] or 0.0, found["settled_place"] or 0.0) <= 0.5, result
    assert not result["off_unsaid"]
    assert len(result["slack"]) <= 2  # what is let out is taken by the boat


def test_a_line_that_ran_out_faster_than_the_boat_goes_would_be_said_to_fold() -> None:
    """Lead-core, which then hangs in loops: its depth meanwhile is off by up to 7 %, and it ends where it should."""
    loaded = config.load(MORE / "every_rig")
    rod = next(rod for rod in loaded.rods if rod.name == "colours")
    found = errors(Run(loaded, rod, 0.5 * rod.line_out_m, rod.line_out_m, 1.0, 1.2), "colours out")
    assert found.slack and found.said
    assert found.running_depth < 10.0
    assert max(found.settled_depth, found.settled_place) <= 0.5
