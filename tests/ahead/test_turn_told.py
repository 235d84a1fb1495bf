"""Short form of the campaign that records the invented day's turn: two rods, the turn four times as fast."""

from __future__ import annotations

import turn_told


def test_the_turn_is_told_and_compared_with_what_came() -> None:
    short = ["--before", "40", "--after", "122", "--faster", "6", "--rods", "P1", "W"]
    result = turn_told.main(["--seed", "3", *short])
    (run,) = result["runs"]
    assert any(0.0 < since_s < 30.0 and "This turn" in text for since_s, text in run["said"])
    assert set(run["rods"]) == {"P1", "W"} and len(run["pairs"]) == 1
    for rod in run["rods"].values():
        depth = rod["depth_m"]
        assert abs(depth["true"] - rod["now_true_m"]) > 0.1
        assert depth["said"][1] <= depth["said"][0] <= depth["said"][2]
    assert run["rods"]["P1"]["depth_m"]["held"]
