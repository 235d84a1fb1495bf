"""Forecasts against circles solved elsewhere, against the live lines that then really march, and against symmetry."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from ahead_tools import line_of, on, only, shipped, under_way

from assistant.ahead.forecast import AFTER_S, forecast, marched_ahead
from assistant.ahead.manoeuvre import (
    STRAIGHT_ON,
    Manoeuvre,
    Response,
    Start,
    Stop,
    as_meant,
    drawn,
    on_radius,
    planned,
    slowed,
    steered,
    ways,
)
from assistant.ahead.tow import Towing, marched_along
from assistant.lines.fleet import Cut, settled
from assistant.lines.spread import STILL
from assistant.lines.towpoints import TowPoints
from assistant.messages import LineSetting

SHARP = Response(turn_lag_s=0.0, speed_lag_s=0.0)


def one_boat(speed_mps: float = 1.0, heading_rad: float = 0.0) -> Start:
    return Start(np.zeros(1), np.zeros(1), np.full(1, speed_mps), heading_rad)


# --- the boat ----------------------------------------------------------------------------------


def test_a_full_circle_closes_and_has_its_radius() -> None:
    """Plane geometry: a circle of radius R at speed v takes 2 pi R / v and ends where it began."""
    radius, speed = 40.0, 1.1
    turn = on_radius(math.tau, radius, speed)
    step = 0.25
    way = ways(turn, SHARP, as_meant(turn), one_boat(speed), step, round(math.tau * radius / speed / step))
    assert math.hypot(way.north_m[-1, 0], way.east_m[-1, 0]) < 0.3
    assert way.east_m.max() == pytest.approx(2 * radius, rel=2e-3)  # to starboard of north is east
    assert way.east_m.min() > -0.1


def test_a_lagging_boat_turns_by_what_was_meant() -> None:
    for under_way_now in (False, True):
        turn = replace(planned(-math.pi / 2, math.radians(2.0)), under_way=under_way_now)
        way = ways(turn, Response(turn_lag_s=3.0), as_meant(turn), one_boat(), 0.25, 400)
        assert way.heading_rad[-1, 0] == pytest.approx(-math.pi / 2, abs=1e-6)
        assert np.all(np.diff(way.heading_rad[:, 0]) <= 1e-12)
        rate = np.gradient(way.heading_rad[:, 0], 0.25)
        assert np.abs(rate - way.turn_radps[:, 0])[1:-1].max() < math.radians(0.1)


def test_speed_goes_where_it_was_set_and_a_turn_costs_its_share() -> None:
    way = ways(slowed(0.5), Response(speed_lag_s=6.0), as_meant(slowed(0.5)), one_boat(1.1), 0.25, 200)
    assert way.speed_mps[0, 0] == pytest.approx(1.1)
    assert way.speed_mps[24, 0] == pytest.approx(0.5 + 0.6 * math.exp(-1.0))
    turn = planned(math.pi, math.radians(3.0))
    lossy = ways(turn, Response(loss_s=2.0), as_meant(turn), one_boat(), 0.25, 160)
    assert lossy.speed_mps.min() == pytest.approx(1.0 - 2.0 * math.radians(3.0), abs=1e-3)


def test_draws_follow_the_stops() -> None:
    """Half the boats stop at 30 degrees, a quarter each at 60 and 90, whatever the seed; none turns the other way."""
    stops = tuple(Stop(-math.radians(a), w) for a, w in ((30, 2.0), (60, 1.0), (90, 1.0)))
    steered = Manoeuvre("steered", stops, math.radians(1.0), 0.2)
    for seed in range(5):
        angles = drawn(steered, seed).angle_rad
        assert angles[0] == pytest.approx(-math.radians(30))
        counts = [int(np.isclose(angles[1:], -math.radians(a)).sum()) for a in (30, 60, 90)]
        assert counts == [16, 8, 8]
    shaky = replace(steered, stop_sigma_rad=1.0)
    assert (drawn(shaky, 1).angle_rad <= 0.0).all()
    assert drawn(STRAIGHT_ON, 3).angle_rad.tolist() == [0.0] * 33


def test_a_steered_turn_may_stop_where_it_has_not_been() -> None:
    """At 100 degrees of a turn to port, what is left are the stops from 120 on; past all of them it still goes on."""
    turn = steered(-math.radians(100.0), -math.radians(2.0), math.radians(0.2))
    left = [-math.degrees(stop.angle_rad) for stop in turn.stops]
    assert left == pytest.approx([20.0, 50.0, 80.0, 170.0, 260.0])
    assert turn.under_way
    assert turn.rate_share == pytest.approx(math.hypot(0.25, 0.1))
    assert steered(math.radians(900.0), math.radians(2.0)).angle_rad() > 0.0


def test_a_turn_without_a_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="90 degrees"):
        planned(math.pi / 2, 0.0)
    with pytest.raises(ValueError, match="radius"):
        on_radius(math.pi / 2, 0.0, 1.0)


# --- the lines ---------------------------------------------------------------------------------


def test_steady_circles(shared: Path) -> None:
    """Source: circle.json, independent shooting in the rotating frame; 0.5 % or 5 cm, 0.05 N, 0.01 m/s."""
    for case in json.loads((shared / "reference/circle.json").read_text())["cases"]:
        line, water = line_of(case)
        speed, radius = case["speed_m_s"], case["circle"]["radius_m"]
        side = 1.0 if case["circle"]["turn"] == "starboard" else -1.0
        height = case["tow_point_height_m"]
        place = np.array([[0.0, 0.0, height]])
        points = TowPoints(place, place, np.zeros(1), np.zeros(1), (), plain=True)
        tip = np.array([[0.0], [0.0], [-height], [speed], [0.0], [0.0]])
        fleet = settled([line], [water], Cut(48, 4), tip, STILL, np.zeros((1, 2)))
        towing = Towing(fleet, points, np.zeros(1, np.int64), np.zeros(1), STILL, True, 1e-6)
        turn = on_radius(side * 100.0, radius, speed)  # far more than is steered here
        steps = 2400
        way = ways(turn, Response(turn_lag_s=2.0), as_meant(turn), one_boat(speed), 0.25, steps)
        marks = np.array([0, steps - 4, steps])
        seen = marched_along(towing, way, np.arange(steps + 1), marks, 0.25)
        heading = way.heading_rad[-1, 0]
        off = seen.points_m[-1, 0, -1] - seen.points_m[-1, 0, 0]
        c, s = math.cos(heading), math.sin(heading)
        got = {
            "depth_m": seen.depth_m[-1, 0],
            "behind_m": -(c * off[0] + s * off[1]),
            "inward_m": side * (c * off[1] - s * off[0]),
            "tension_n": seen.pull_n[-1, 0],
            "end_speed_m_s": seen.lure_speed_mps[-1, 0],
        }
        least = {"tension_n": 0.05, "end_speed_m_s": 0.01}
        for name, value in got.items():
            want = case["expect"][name]
            assert abs(value - want) <= max(0.005 * abs(want), least.get(name, 0.05)), (case["id"], name)


def test_what_was_forecast_then_happens_to_the_live_lines() -> None:
    """The fine line of a forecast is the live line of the same kernel: equal to 3 cm if the boat does as was said."""
    rate = math.radians(2.0)
    state = under_way(only("P1", "C", "W"), 21.0)
    turn = replace(planned(math.radians(80.0), rate), under_way=True)
    ahead = marched_ahead(state, turn, SHARP, 0)
    later = on(on(state, 40.0, rate), 40.0)
    told = forecast(state, turn, SHARP)
    assert told is not None
    assert later.motion is not None
    assert later.motion.heading_rad == pytest.approx(state.motion.heading_rad + math.radians(80.0))  # type: ignore[union-attr]
    assert later.fleet is not None
    depths = later.fleet.positions_m()[-1, 2, :3]
    for k, name in enumerate(("P1", "W", "C")):
        at = float(np.interp(80.0, ahead.times_s, told.lines[name].depth_m[:, 0]))
        assert at == pytest.approx(depths[k], abs=0.03), name


def test_port_and_starboard_mirror() -> None:
    """Twins on both sides in still water do the same in mirrored turns."""
    loaded = only("P1", "S1")
    state = under_way(loaded, 2.0)
    rate = math.radians(1.5)
    port, starboard = (forecast(state, planned(side * math.pi / 2, rate)) for side in (-1.0, 1.0))
    assert port is not None
    assert starboard is not None
    one, other = port.lines["P1"], starboard.lines["S1"]
    assert np.abs(one.depth_m[:, 0] - other.depth_m[:, 0]).max() < 0.01
    assert np.abs(port.line_gap_m[:, 0] - starboard.line_gap_m[:, 0]).max() < 0.02


def test_straight_on_in_still_water_nothing_happens() -> None:
    state = under_way(shipped(), 2.0)
    told = forecast(state)
    assert told is not None
    assert told.times_s[0] == 0.0
    assert AFTER_S <= told.times_s[-1] < AFTER_S + 4.0
    for line in told.lines.values():
        assert line.rise.value < 0.05
        assert line.sink.value < 0.05
        assert (np.diff(line.depth_m, axis=1)[:, 0] < 0).all() or line.depth_m[0, 1] <= line.depth_m[0, 0]
        assert (line.depth_m[:, 1] <= line.depth_m[:, 0]).all()
        assert (line.depth_m[:, 2] >= line.depth_m[:, 0]).all()


def test_nothing_is_said_of_a_line_that_runs_or_is_aboard() -> None:
    state = under_way(only("P1", "S1", "W"), 2.0)
    assert forecast(replace(state, motion=None)) is None
    settings = (
        LineSetting(2.0, "P1", line_out_m=20.0),
        LineSetting(2.0, "S1", rod_state="coming in"),
    )
    from assistant.lines import spread
    from assistant.messages import Estimate

    stw, heading = Estimate(1.0, 0.03, "ok", 0.1, "test"), Estimate(0.5, 0.02, "ok", 0.1, "test")
    told = forecast(spread.advance(state, stw, heading, settings, 2.25, False))
    assert told is not None
    assert set(told.lines) == {"W"}
    assert told.lost == {"P1": "line runs", "S1": "line comes in"}
    assert told.pairs == ()


def test_the_live_state_is_left_as_it_was() -> None:
    state = under_way(only("P1"), 3.0)
    assert state.fleet is not None
    before = state.fleet.works.copy()
    first = forecast(state, planned(math.pi, math.radians(3.0)))
    again = forecast(state, planned(math.pi, math.radians(3.0)))
    assert np.array_equal(state.fleet.works, before)
    assert first is not None
    assert again is not None
    assert np.array_equal(first.lines["P1"].depth_m, again.lines["P1"].depth_m)
