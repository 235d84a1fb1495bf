"""Lines that fold or kink: seen where they do and nowhere else, remembered, marched in shorter steps, told with care.

Source: shapes drawn by hand; the same kernel in quarter steps, and converged (tests/campaigns/live_error.py).
"""

from __future__ import annotations

import math
from dataclasses import replace

import live_error
import numpy as np
import pytest
from live_march import STILL, chains_of, start, tips_along, water_of
from live_tools import Live
from numpy.typing import NDArray

from assistant import config
from assistant.lines import folds, layout, spread
from assistant.lines.fleet import Fleet, marched

Array = NDArray[np.float64]

LOADED = config.load()
COPPER = [rod.name for rod in LOADED.rods].index("C")
PLANER = [rod.name for rod in LOADED.rods].index("P1")
BODY_NODE = spread.CUT.total - spread.CUT.below  # where the leader begins


def straight_tow() -> Fleet:
    tip = tips_along(LOADED, np.array([[0.0, 0.0, 1.0, 0.0, 0.0]]))[0]
    return start(chains_of(LOADED), water_of(LOADED), spread.CUT, tip)


def drawn(fleet: Fleet, rod: int, points: Array) -> Fleet:
    """The fleet with one line (of the first group) lying along points (N+1, 3)."""
    works = fleet.works.copy()
    works.reshape(fleet.views().shape)[0, :, layout.X1 : layout.X1 + 3, rod] = points
    return replace(fleet, works=works)


def legs(*bends: tuple[int, float], depth_m: float = 10.0) -> Array:
    """Points a metre apart in a level plane that turn by so many degrees at nodes."""
    at = dict(bends)
    heading, north, east, points = 0.0, 0.0, 0.0, []
    for node in range(spread.CUT.total + 1):
        points.append([north, east, depth_m])
        heading += math.radians(at.get(node, 0.0))
        north, east = north + math.cos(heading), east + math.sin(heading)
    return np.array(points)


def seen(fleet: Fleet, dt: float = 1.0) -> folds.Bends:
    return folds.looked(fleet.bends, fleet.works, fleet.cut.total, dt, 4)


@pytest.mark.parametrize(
    ("points", "is_fold"),
    [
        (legs((8, 170.0)), True),
        (legs((8, 35.0), (9, 35.0), (10, 35.0)), True),
        (legs((8, 40.0), (9, 40.0)), False),
        (legs((4, 50.0), (12, 50.0)), False),  # too far apart
        (legs((8, 170.0), depth_m=-1.0), False),  # in the air
    ],
    ids=["hairpin", "a bight", "80 degrees", "two corners", "dry"],
)
def test_a_line_folds_where_it_turns_back_within_a_quarter(points: Array, is_fold: bool) -> None:
    bends = seen(drawn(straight_tow(), COPPER, points))
    assert bends.folding()[0].tolist() == [is_fold and lane == COPPER for lane in range(layout.LANES)]


def test_a_body_may_turn_a_line_back() -> None:
    """No fold; but where it is more than 107 degrees the group's steps are divided."""
    for degrees, parts in ((100.0, 1), (140.0, 4)):
        bends = seen(drawn(straight_tow(), PLANER, legs((BODY_NODE, degrees))))
        assert not bends.folding().any()
        assert bends.parts.tolist() == [parts]


def test_a_fold_is_remembered_for_a_while() -> None:
    tow = straight_tow()
    bends = seen(drawn(tow, COPPER, legs((8, 170.0))))
    for k in range(1, 60):
        bends = folds.looked(bends, tow.works, tow.cut.total, 1.0, 4)
        assert bends.folding()[0, COPPER] == (k < folds.FOLD_S)
        assert bends.parts[0] == (4 if k < folds.KINK_S else 1)


def test_bends_are_looked_for_once_a_second() -> None:
    """At quarter steps the other three cost nothing, and a fold may be seen that much later."""
    folded = drawn(straight_tow(), COPPER, legs((8, 170.0)))
    bends = replace(folded.bends, looked_s=0.0)
    for k in range(1, 5):
        bends = folds.looked(bends, folded.works, folded.cut.total, 0.25, 4)
        assert bends.folding().any() == (k == 4)


def _surged(parts: int, dt: float, seconds: float) -> Fleet:
    """Speed grows from 0.8 to 1.6 m/s within 2 s (a course that every dt follows exactly), steps in so many parts."""
    case = live_error.Case("surge", ((0.0, 0.8, 0.0), (1.0, 0.8, 0.0), (3.0, 1.6, 0.0)))
    tips = tips_along(LOADED, live_error.way_of(case, dt))
    fleet = start(chains_of(LOADED), water_of(LOADED), spread.CUT, tips[0])
    mains = fleet.mains_m.reshape(-1)[: fleet.count]
    fleet = replace(fleet, bends=replace(fleet.bends, parts=np.full(1, parts)))
    for k in range(1, round(seconds / dt) + 1):
        fleet, failed, restart = marched(fleet, tips[k], mains, STILL, dt, k == 1, 1e-7)
        assert not failed
        assert not restart
    return fleet


def test_a_divided_step_is_as_good_as_short_ones() -> None:
    """Against steps of 1/64 s: whole quarter seconds, those in four parts, and sixteenths all the way.

    A BDF2 step errs by (1+w)^2 / (w (1+2w)) of a constant, w it over the last one (Taylor series): 4/3 for equal ones,
    4.2 for the first of four parts, so four parts make 1.53 times the error of four equal steps.
    """
    fine, whole, divided, short = (
        _surged(parts, dt, 12.0).positions_m()
        for parts, dt in ((1, 1 / 64), (1, 1 / 4), (4, 1 / 4), (1, 1 / 16))
    )
    off_whole, off_divided, off_short = (np.abs(p - fine).max() for p in (whole, divided, short))
    assert off_divided < 0.12 * off_whole
    assert 1.3 * off_short < off_divided < 1.7 * off_short


def test_a_divided_step_leaves_a_whole_one_behind() -> None:
    before, after = _surged(4, 0.25, 3.0).views(), _surged(4, 0.25, 3.25).views()
    for now, last in ((layout.X1, layout.X2), (layout.VX1, layout.VX2)):
        assert np.array_equal(after[:, :, last : last + 3], before[:, :, now : now + 3])
    assert np.array_equal(after[:, 1:, layout.T2], before[:, 1:, layout.T1])


def test_folding_copper_is_said_doubtful_and_its_band_holds_the_converged_depth() -> None:
    case = live_error.Case(
        "turn 180 sharp", ((0.0, 1.0, 0.0), (4.0, 1.0, 0.0), (19.0, 1.0, math.pi)), rate_dps=12.0
    )
    cut = replace(spread.CUT, total=4 * spread.CUT.total, below=4 * spread.CUT.below)
    truth, _ = live_error.depths(LOADED, case, cut, spread.STEP_S / 4, 1e-6, finer=1)
    live = Live(LOADED, 1.0)
    said = 0
    for k, depth_m in enumerate(truth[:, COPPER]):
        t_s = (k + 1) * live_error.EVERY_S
        live.run(live_error.EVERY_S, turn_radps=math.radians(12.0) if 4.0 < t_s <= 19.0 else 0.0)
        line = live.lines()["C"]
        if "line folding" in line.conditions:
            said += 1
            assert line.depth_m.state == "doubtful"
            assert line.depth_m.low is not None and line.depth_m.high is not None
            assert line.depth_m.low <= depth_m <= line.depth_m.high, t_s
    assert said > 60
