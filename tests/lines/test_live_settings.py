"""The live settings against a converged run of the same kernel, and random towing: short forms of campaigns."""

from __future__ import annotations

from random import Random

import line_hours
import live_error
import numpy as np
import pytest
from live_march import chains_of, start, tips_along, water_of

from assistant import config
from assistant.lines import layout, spread


@pytest.mark.parametrize("kind", ["turn 90", "surge", "waves", "trip"])
def test_live_depth_is_converged(kind: str) -> None:
    loaded = config.load()
    found = live_error.compare(loaded, live_error.random_case(Random(f"ci/{kind}"), kind))
    assert (found.error_m <= found.allowed_m).all()
    assert not found.folding.any()


def test_a_slow_half_circle_is_right_when_the_slack_planer_snaps_straight() -> None:
    """In whole steps this one is 15 cm off for six seconds."""
    loaded = config.load()
    found = live_error.compare(loaded, live_error.random_case(Random("2/142"), "turn 180"))
    assert (found.error_m <= found.allowed_m).all()


def test_the_two_runs_differ() -> None:
    """Not the same run twice: the pieces of the live one show, by millimetres at least."""
    loaded = config.load()
    found = live_error.compare(loaded, live_error.random_case(Random("differ"), "turn 90"))
    assert 1e-4 < found.error_m.max() < 0.03


def test_a_sharp_turn_folds_the_heavy_inside_line_and_says_so() -> None:
    loaded = config.load()
    case = live_error.Case(
        "turn 180 sharp", ((0.0, 1.0, 0.0), (4.0, 1.0, 0.0), (19.0, 1.0, np.pi)), rate_dps=12.0
    )
    _, folds = live_error.depths(loaded, case, spread.CUT, spread.STEP_S, spread.TOLERANCE_M)
    names = [rod.name for rod in loaded.rods]
    assert folds[:, names.index("S1")].any()


def test_random_line_hours() -> None:
    found = line_hours.run(seed=3, n=4.0)
    assert found["failures"] == found["over_length"] == found["nan"] == []
    assert found["line_hours"] == pytest.approx(4.0, abs=0.2)


def test_a_line_too_long_is_seen() -> None:
    loaded = config.load()
    tip = tips_along(loaded, np.array([[0.0, 0.0, 1.0, 0.0, 0.0]]))[0]
    fleet = start(chains_of(loaded), water_of(loaded), spread.CUT, tip)
    assert line_hours.over_length(fleet) < 1e-6
    fleet.views()[0, -1, layout.X1 + 2, 0] += 0.05
    assert line_hours.over_length(fleet) > line_hours.TOO_LONG
