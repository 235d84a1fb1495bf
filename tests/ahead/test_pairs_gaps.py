"""Nearest lines against brute force, the bottom against made-up slopes, boards and hung lines against live ones."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ahead_tools import on, only, under_way
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from assistant import config
from assistant.ahead.forecast import forecast
from assistant.ahead.gaps import BESIDE_M, BEYOND_M, Soundings, bottom_at, least_around, sounded
from assistant.ahead.manoeuvre import Response, planned
from assistant.ahead.pairs import closest
from assistant.lines.motion import Motion
from assistant.messages import BoatState, Estimate

LINES = npst.arrays(np.float64, (2, 3, 5, 3), elements=st.floats(-20.0, 20.0))


@settings(deadline=None, max_examples=60)
@given(LINES)
def test_nearest_lines_are_those_of_brute_force(points: np.ndarray[Any, Any]) -> None:
    """Independent computation: 60 points on each piece of a line; the true gap is less by their spacing at most."""
    found = closest(points, np.zeros(3, np.int64), np.zeros((3, 3), np.bool_))
    share = np.linspace(0.0, 1.0, 60)[:, None]
    dense = [
        [np.concatenate([line[i] + share * (line[i + 1] - line[i]) for i in range(4)]) for line in instant]
        for instant in points
    ]
    for a, b in ((0, 1), (0, 2), (1, 2)):
        gaps = [np.sqrt(((lines[a][:, None] - lines[b][None]) ** 2).sum(axis=2)).min() for lines in dense]
        step = max(np.linalg.norm(np.diff(points, axis=2), axis=3).max() / 59.0, 1e-9)
        assert min(gaps) - step - 1e-9 <= found.by_pair_m[a, b] <= min(gaps) + 1e-9
    for k in range(2):
        least = min(
            np.sqrt(((dense[k][a][:, None] - dense[k][b][None]) ** 2).sum(axis=2)).min()
            for a, b in ((0, 1), (0, 2), (1, 2))
        )
        assert found.least_m[k] <= least + 1e-9


def test_a_skipped_pair_is_not_seen() -> None:
    points = np.zeros((1, 2, 3, 3))
    points[:, :, :, 2] = np.arange(3)
    skip = np.array([[False, True], [True, False]])
    assert closest(points, np.zeros(2, np.int64), np.zeros((2, 2), np.bool_)).least_m[0] == 0.0
    assert math.isinf(closest(points, np.zeros(2, np.int64), skip).least_m[0])


# --- the bottom --------------------------------------------------------------------------------


def sailed(seconds: int, slope: float, drift: tuple[float, float] = (0.0, 0.0)) -> Soundings:
    """A boat north at 1 m/s through water that drifts, over a bottom that falls by `slope` to the north."""
    ok = ("ok", 0.0, "test")
    track = None
    for t in range(seconds + 1):
        depth = 30.0 + slope * (t + drift[0] * t)
        boat = BoatState(
            float(t),
            water_depth_m=Estimate(depth, 0.1, *ok),
            set_rad=Estimate(math.atan2(drift[1], drift[0]) % math.tau, 0.1, *ok),
            drift_mps=Estimate(math.hypot(*drift), 0.02, *ok),
        )
        track = sounded(track, Motion(float(t), 0.0, 1.0, 0.0), boat)
    assert track is not None
    return track


def test_depth_where_the_boat_was_a_minute_ago() -> None:
    track = sailed(200, -0.05)
    behind = np.array([[140.0, 0.0], [121.3, 6.0]])
    depth, sigma = bottom_at(track, behind, np.zeros(2))
    assert depth == pytest.approx([30.0 - 0.05 * 140.0, 30.0 - 0.05 * 121.3], abs=1e-6)
    assert sigma[1] > sigma[0] >= 0.1


def test_a_drifting_layer_moves_the_lines_over_the_ground() -> None:
    """What hangs still in the water is in 50 s 10 m further north over a bottom that falls by 1 in 10 to the north."""
    track = sailed(300, 0.1, drift=(0.2, 0.0))
    now, _ = bottom_at(track, np.array([[240.0, 0.0]]), np.zeros(1))
    later, _ = bottom_at(track, np.array([[240.0, 0.0]]), np.full(1, 50.0))
    assert later[0] - now[0] == pytest.approx(0.1 * 10.0, abs=1e-3)
    # the place 60 m astern, over ground: where the boat is now less 60 m
    assert now[0] == pytest.approx(30.0 + 0.1 * (300.0 * 1.2 - 60.0), abs=1e-3)


def test_nothing_is_known_ahead_beside_or_without_soundings() -> None:
    track = sailed(200, 0.0)
    far, near = BEYOND_M + 5.0, BEYOND_M - 5.0
    places = np.array(
        [
            [200.0 + far, 0.0],
            [100.0, BESIDE_M + 1.0],
            [-far, 0.0],
            [100.0, BESIDE_M - 1.0],
            [200.0 + near, 0.0],
        ]
    )
    depth, sigma = bottom_at(track, places, np.zeros(5))
    assert np.isnan(depth).tolist() == [True, True, True, False, False]
    assert (
        sigma[4] > bottom_at(track, np.array([[199.0, 0.0]]), np.zeros(1))[1][0]
    )  # by the slope, as beside it
    empty = sounded(None, Motion(0.0, 0.0, 1.0, 0.0), BoatState(0.0))
    assert np.isnan(bottom_at(empty, places, np.zeros(5))[0]).all()


def test_the_track_begins_anew_when_the_frame_does() -> None:
    track = sailed(100, 0.0)
    depth = Estimate(30.0, 0.1, "ok", 0.0, "test")
    again = sounded(track, Motion(0.0, 0.0, 1.0, 0.0), BoatState(101.0, water_depth_m=depth))
    assert len(again.track) == 1


def test_the_gap_of_a_forecast_is_bottom_less_lowest_point() -> None:
    """Flat bottom at 40 m: gap and depth of a weight rod's lure make 40 m; ahead of the track nothing is known."""
    state = under_way(only("W"), 100.0)
    assert state.motion is not None
    c, s = math.cos(state.motion.heading_rad), math.sin(state.motion.heading_rad)
    back = np.arange(200.0, -1.0, -4.0)
    north, east = state.motion.north_m - back * c, state.motion.east_m - back * s
    rows = np.stack(
        [north, east, np.full_like(back, 40.0), np.full_like(back, 0.1), state.t_s - back], axis=1
    )
    track = Soundings(rows, state.t_s, (state.motion.north_m, state.motion.east_m), drift_sigma_mps=0.0)
    told = forecast(state, planned(math.radians(30.0), math.radians(1.0)), soundings=track)
    assert told is not None
    line = told.lines["W"]
    assert line.bottom is not None
    assert line.bottom.gap_m[0, 0] == pytest.approx(
        40.0 - line.depth_m[0, 0], abs=0.4
    )  # the weight is a little deeper
    assert np.isnan(line.bottom.gap_m[-1]).all()  # two minutes on: where nobody has been
    assert 0.1 < line.bottom.known < 0.9
    assert line.bottom.cause == "water ahead not sounded"
    assert 30.0 < line.bottom.until_s < told.times_s[-1]
    deep = replace(track, track=rows + np.array([0.0, 0.0, 60.0, 0.0, 0.0]))  # 100 m: far below a line at 30
    told = forecast(state, planned(math.radians(30.0), math.radians(1.0)), soundings=deep)
    assert told is not None and told.lines["W"].bottom is not None
    assert told.lines["W"].bottom.until_s == math.inf and told.lines["W"].bottom.known < 0.9
    assert math.isnan(least_around(replace(deep, track=deep.track[-10:])))  # too little to say so
    assert line.bottom.least.low <= line.bottom.least.value <= line.bottom.least.high


# --- boards and lines on other lines -----------------------------------------------------------


def test_boards_and_hung_lines_go_as_the_live_ones_then_do(root: Path) -> None:
    """The same lines marched live a quarter second at a time, boards and hosts known at each: depth within 10 cm."""
    loaded = config.load(root / "tests/lines/every_rig")
    wanted = {rod.name for rod in loaded.rods if rod.board is not None}
    hung = [rod for rod in loaded.rods if rod.attached is not None]
    wanted |= {rod.name for rod in hung} | {rod.attached.rod for rod in hung if rod.attached is not None}
    loaded = replace(loaded, rods=tuple(rod for rod in loaded.rods if rod.name in wanted))
    assert len(loaded.rods) > 3
    rate = math.radians(2.0)
    state = under_way(loaded, 10.0)
    turn = replace(planned(math.radians(60.0), rate), under_way=True)
    told = forecast(state, turn, Response(turn_lag_s=0.0))
    assert told is not None
    later = on(on(state, 30.0, rate), 30.0)
    assert later.fleet is not None
    depths = later.fleet.positions_m()[-1, 2]
    for k, rod in enumerate(loaded.rods):
        if rod.name in told.lines:
            at = float(np.interp(60.0, told.times_s, told.lines[rod.name].depth_m[:, 0]))
            assert at == pytest.approx(depths[k], abs=0.10), rod.name
    for pair in told.pairs:
        for rod in hung:
            assert rod.attached is not None
            assert set(pair.rods) != {rod.name, rod.attached.rod}
