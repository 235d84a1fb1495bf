"""What a report counts, against scipy and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from quiet_tables import RODS, day
from scipy import stats

from assistant.messages import Event
from assistant.outings import tally
from assistant.outings.deep_water import DeepWater
from assistant.outings.effort import Observed, Strike, tabulate
from assistant.units import DISPLAY_UNITS


@pytest.mark.parametrize("count", [0, 1, 2, 7, 30])
def test_limits_of_a_poisson_mean(count: int) -> None:
    """Garwood's limits are quantiles of chi square."""
    low, high = tally.poisson_limits(count)
    assert low == pytest.approx(stats.chi2.ppf(0.1, 2 * count) / 2 if count else 0.0, abs=1e-6)
    assert high == pytest.approx(stats.chi2.ppf(0.9, 2 * count + 2) / 2, rel=1e-6)


def events(*said: tuple[float, str, str | None]) -> list[Event]:
    """Events from (minute, kind, rod)."""
    return [Event(60.0 * minute, kind, rod) for minute, kind, rod in said]


def test_how_strikes_ended() -> None:
    told = events(
        (1, "fish on", "P1"), (2, "fish on", "C"), (2.5, "hook-up", "P1"), (3, "lost", "C"), (8, "landed", "P1"),
        (20, "fish on", "P1"), (21, "back as it was", "P1"),
        (30, "fish on", "W"), (31, "hook-up", "W"),
        (40, "fish on", None), (41, "landed", None),
        (50, "fish on", "S1"), (51, "hook-up", "S1"), (55, "rod state", "S1"),
    )  # fmt: skip
    assert [(c.rod, c.outcome) for c in tally.catches(told)] == [
        ("P1", "landed"), ("C", "lost"), ("P1", "no hook-up"), ("W", "not told"), (None, "landed"), ("S1", "not told"),
    ]  # fmt: skip


def test_effort_and_strikes_by_line_and_depth() -> None:
    """Two hours of eight rods; W rises from 29 to 21 m after an hour; strikes of W at 30 and 90 min."""

    def rod(m: int, name: str) -> dict[str, Observed]:
        depth = (29.0 if m < 60 else 21.0) if name == "W" else 10.0
        return {"depth_m": Observed(depth, 2.0, "worked out", "x")}

    table = tabulate(day(120, rod=rod))
    caught = tally.catches(events((30, "fish on", "W"), (90, "fish on", "W"), (95, "fish on", None)))
    rows = {r.label: (r.rod_hours, r.strikes) for r in tally.by_line(table, caught, RODS)}
    assert rows["W"] == (pytest.approx(2.0), 2)
    assert rows["P1"] == (pytest.approx(2.0), 0)
    feet = tally.by_value(table, caught, "depth_m", DISPLAY_UNITS["angler"]["m"], 10.0)
    assert [(r.label, round(r.rod_hours, 3), r.strikes) for r in feet] == [
        ("30-40 ft", 14.0, 0), ("60-70 ft", 1.0, 1), ("90-100 ft", 1.0, 1),
    ]  # fmt: skip
    assert feet[1].rate == pytest.approx(1.0)
    assert feet[1].low < 1.0 < feet[1].high
    assert tally.by_value(table, caught, "pull_n", DISPLAY_UNITS["angler"]["N"], 1.0) == []


def test_turns_have_an_inside() -> None:
    """A turn to port: the port rods are inside, the centre is neither."""
    table = tabulate(
        day(60, boat=lambda m: {"turn_side": Observed(-1.0 if m < 30 else 0.0, 0.1, "measured", "x")})
    )
    caught = tally.catches(events((10, "fish on", "P1"), (12, "fish on", "S1"), (50, "fish on", "S1")))
    rows = {
        r.label: (round(r.rod_hours, 2), r.strikes)
        for r in tally.by_turn(table, caught, {"P1": "port", "S1": "starboard"})
    }
    assert rows == {"straight": (4.0, 1), "inside of turns": (0.5, 1), "outside of turns": (0.5, 1)}


def test_headings_against_a_deep_current_that_turns() -> None:
    """Toward north at the end, 6 h before that 21 x 6 = 127 degrees less; on the equator it does not turn."""
    boat = {"heading_rad": Observed(math.pi, 0.1, "measured", "x")}
    table = tabulate(day(361, boat=lambda m: boat))
    water = DeepWater(0.3, 0.0, ((1e-4, 0.0), (0.0, 1e-4)), ("pull P1",))
    rows = {r.label: r.rod_hours for r in tally.by_deep_current(table, [], water, 0.0)}
    assert rows == {"against it": pytest.approx(361 * 8 / 60)}
    rows = {r.label: r.rod_hours for r in tally.by_deep_current(table, [], water, 45.0)}
    turning = math.degrees(4.0 * math.pi / 86164.0 * math.sin(math.radians(45.0))) * 60.0  # degrees a minute
    against = np.sum(np.arange(361) * turning < 60.0)
    assert rows["against it"] == pytest.approx(against * 8 / 60)
    assert tally.by_deep_current(table, [], DeepWater(0.01, 0.0, ((1e-2, 0.0), (0.0, 1e-2)), ()), 45.0) == []


def test_the_deep_current_along_the_boat() -> None:
    """Toward north at the end: a boat heading north goes with it; on the equator it does not turn, so one heading south
    went against all of it. The sigma of the difference is twice its own along the heading."""
    boat = {m: {"heading_rad": Observed(math.pi if m < 60 else 0.0, 0.1, "measured", "x")} for m in range(91)}
    table = tabulate(day(91, boat=lambda m: boat[m]))
    water = DeepWater(0.3, 0.1, ((4e-4, 0.0), (0.0, 1e-4)), ("pull P1",))
    along = tally.along_boat(table, [Strike(1800.0), Strike(2400.0, "P1")], water, 0.0)
    assert along is not None
    assert (along.then_mps, along.now_mps) == (pytest.approx(-0.3), pytest.approx(0.3))
    assert along.sigma_mps == pytest.approx(2 * 0.02)
    turned = tally.along_boat(table, [Strike(1800.0)], water, 45.0)
    assert turned is not None
    back = (
        4.0 * math.pi / 86164.0 * math.sin(math.radians(45.0)) * (5400.0 - 1800.0 + 360.0)
    )  # middle of its window
    assert turned.then_mps == pytest.approx(-(0.3 * math.cos(back) - 0.1 * math.sin(-back)), abs=0.002)
    assert tally.along_boat(table, [], water, 0.0) is None
