"""Short form of the campaign that counts whether touches and crossings are called in time."""

from __future__ import annotations

import forecast_calls


def test_touches_and_crossings_are_counted_and_calls_of_a_known_truth_come_true() -> None:
    result = forecast_calls.main(["--seed", "7", "--n", "1"])
    known = result["known"]
    assert known["happened"] > 0 and known["calls"] > 0
    assert known["calls_true"] >= 0.5
