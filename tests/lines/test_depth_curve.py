"""Depth by line out from one integration, against closed forms and against shapes solved one by one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from line_tools import BALL_LINE, COPPER_LINE, PLANER_LINE, WATER, towed_lines
from scipy.optimize import brentq

from assistant.lines.chain import Body, Segment, Towed
from assistant.lines.depth_curve import depth_curve
from assistant.lines.steady import NoSteadyShape, straight

HEAVY = Segment(91.44, 0.85e-3, 2.8e-3, 1.2, 0.015)


@pytest.mark.parametrize(("speed", "printed"), [(0.8, 23.29230), (1.0, 18.74666), (1.5, 12.57253)])
def test_a_heavy_line_with_nothing_on_it(speed: float, printed: float) -> None:
    # straight at the critical angle (Pode 1951, DTMB Report 687): depth goes with line out; printed for all of it
    curve = depth_curve(Towed((HEAVY,), ()), WATER, speed)
    assert curve.line_out_m[-1] == pytest.approx(HEAVY.length_m)
    assert curve.depth_m / curve.line_out_m == pytest.approx(printed / HEAVY.length_m, rel=1e-5)
    assert not curve.surfaces


def test_a_neutral_line_below_its_pull() -> None:
    # cot(phi) = cot(phi0) + R L/T0, depth = (T0/R) ln[tan(phi0/2)/tan(phi/2)] at every L; printed at 40 m: 27.9940339
    d, cn, speed, half = 0.4e-3, 1.2, 1.1, 0.5 * 1000.0 * 1.1**2
    smooth = speed / (speed**4 + 0.1**4) ** 0.25  # of the body's force law
    pull = Body(drag_area_m2=3.0 / half, down_area_m2=8.0 / half / smooth)
    curve = depth_curve(
        Towed((Segment(40.0, d, 1000.0 * math.pi * d**2 / 4, cn, 0.0),), (pull,)), WATER, speed
    )
    r, t0, phi0 = half * cn * d, math.hypot(3.0, 8.0), math.atan2(8.0, 3.0)
    phi = np.arctan(1.0 / (1.0 / math.tan(phi0) + r * curve.line_out_m / t0))
    assert curve.depth_m == pytest.approx(t0 / r * np.log(math.tan(phi0 / 2) / np.tan(phi / 2)), abs=2e-4)
    assert curve.depth_m[-1] == pytest.approx(27.9940339, abs=2e-4)


def test_the_dry_part_is_a_catenary() -> None:
    """At rest nothing drags: a weight hangs straight down, whatever is dry, so depth is line out less height."""
    hung = replace(BALL_LINE, tow_height_m=1.5)
    curve = depth_curve(hung, WATER, 0.0)
    stretched = curve.line_out_m * (1.0 + 48.5 / 60000.0)  # by the ball's weight and half the cable's, 0.5 N
    assert curve.depth_m == pytest.approx(stretched - 1.5, abs=5e-4)


def test_the_dry_part_of_a_slack_heavy_line() -> None:
    # catenary through the surface point, solved by root finding for the length that gains the height
    heavy = Segment(60.0, 0.001, 0.0052, 1.2, 0.015)
    line = Towed((heavy,), (Body(0.05, drag_area_m2=0.0015),), 3.0)
    wet = depth_curve(replace(line, tow_height_m=0.0), WATER, 1.2)
    dry = depth_curve(line, WATER, 1.2)
    shape = straight(replace(line, segments=(replace(heavy, length_m=30.0),), tow_height_m=0.0), WATER, 1.2)
    above = straight(
        replace(line, segments=(replace(heavy, length_m=30.0 + 1e-3),), tow_height_m=0.0), WATER, 1.2
    )
    slope = (above.points_m[0, 2] - shape.points_m[0, 2]) / 1e-3
    pull, weight = shape.tension_n[-1], 0.0052 * WATER.gravity_m_s2
    up, across = pull * slope, pull * math.sqrt(1.0 - slope**2)

    def gained(s: float) -> float:
        return (math.hypot(across, up + weight * s) - pull) / weight - 3.0

    expected = 30.0 + brentq(gained, 0.0, 100.0)
    depth = wet.depth_at(30.0)
    assert depth == pytest.approx(shape.points_m[0, 2], abs=5e-3)
    assert dry.least_line_m(depth) == pytest.approx(expected, abs=0.02)


@settings(max_examples=60, deadline=None)
@given(towed_lines(), st.floats(0.4, 2.0), st.sampled_from([0.0, 0.8, 2.0]))
def test_every_point_is_the_line_with_so_much_out(line: Towed, speed: float, height_m: float) -> None:
    line = replace(line, tow_height_m=height_m)
    curve = depth_curve(line, WATER, speed)
    for j in (2, 11, len(curve.line_out_m) - 1):
        main = replace(line.segments[-1], length_m=float(curve.line_out_m[j]))
        alone = replace(line, segments=(*line.segments[:-1], main))
        try:
            expected = straight(alone, WATER, speed).points_m[0, 2]
        except NoSteadyShape:
            assume(False)
            return
        assert curve.depth_m[j] == pytest.approx(expected, abs=2e-4 + 2e-5 * alone.length_m())


@pytest.mark.parametrize("line", [PLANER_LINE, BALL_LINE, COPPER_LINE])
def test_between_the_points(line: Towed) -> None:
    """Between two points the curve is a straight piece: off by less than 0.5 % of the depth or 3 cm."""
    coarse, fine = depth_curve(line, WATER, 1.07), depth_curve(line, WATER, 1.07, 500)
    for out in np.linspace(3.0, 0.999 * coarse.line_out_m[-1], 50):
        exact = fine.depth_at(float(out))
        assert coarse.depth_at(float(out)) == pytest.approx(exact, rel=5e-3, abs=0.03)


def test_counted_parts_go_out_one_after_the_other() -> None:
    """A top part of the same line is no part at all."""
    backing, shot = (replace(HEAVY, length_m=length) for length in (60.0, 31.44))
    whole = depth_curve(Towed((HEAVY,), ()), WATER, 1.0)
    parts = depth_curve(Towed((shot, backing), (), shares=(31.44, 60.0)), WATER, 1.0)
    assert np.interp(whole.line_out_m, parts.line_out_m, parts.depth_m) == pytest.approx(
        whole.depth_m, abs=0.02
    )


def test_line_that_floats_ends_the_curve() -> None:
    """A light body on much floating line: from some line out on it would come up to the surface on its way."""
    floating = Segment(400.0, 0.002, 0.002, 1.2, 0.01)
    line = Towed((floating,), (Body(0.5, drag_area_m2=0.001),))
    curve = depth_curve(line, WATER, 0.2)
    assert curve.surfaces
    assert curve.line_out_m[-1] < 400.0
    assert (np.diff(curve.depth_m) > 0.0).all()
    more = replace(floating, length_m=float(curve.line_out_m[-1]) + 20.0)
    with pytest.raises(NoSteadyShape):
        straight(replace(line, segments=(more,)), WATER, 0.2)


def test_nothing_to_pull() -> None:
    weightless = Segment(40.0, 0.0004, 1000.0 * math.pi * 0.0004**2 / 4, 0.0, 0.0)
    with pytest.raises(NoSteadyShape, match="nothing pulls"):
        depth_curve(Towed((weightless,), ()), WATER, 0.0)
    with pytest.raises(NoSteadyShape, match="surface"):
        depth_curve(Towed((Segment(40.0, 0.002, 0.002, 1.2, 0.01),), ()), WATER, 0.5)


def test_wanted_depths_are_found_or_not() -> None:
    curve = depth_curve(PLANER_LINE, WATER, 1.07)
    for depth in (2.0, 5.0, 10.0):
        line_out = curve.least_line_m(depth)
        assert line_out is not None
        assert curve.depth_at(line_out) == pytest.approx(depth)
    assert curve.least_line_m(float(curve.depth_m[-1]) + 1.0) is None
    assert curve.least_line_m(0.5 * float(curve.depth_m[0])) is None
    short = curve.up_to(20.0)
    assert short.line_out_m[-1] == 20.0
    assert short.depth_m[-1] == pytest.approx(curve.depth_at(20.0))
