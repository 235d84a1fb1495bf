"""The dynamic kernel: its order, line that runs out and in, rescue, restart, the surface, and standing still."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from line_tools import (
    BALL,
    BALL_LINE,
    BRAID,
    COPPER_LINE,
    LEADER,
    LURE,
    PLANER_LINE,
    WATER,
    Array,
    copy_of,
    end_m,
    go,
    live,
    planer,
    settled,
    straight_path,
)

from assistant.lines import layout
from assistant.lines.chain import Body, Segment, Towed
from assistant.lines.course import Course, run
from assistant.lines.steady import NoSteadyShape, straight

LINES = {"planer": PLANER_LINE, "ball": BALL_LINE, "copper": COPPER_LINE}
DRY = {name: replace(line, tow_height_m=1.5) for name, line in LINES.items()}
LAYERED = replace(WATER, profile=((0.0, 0.0, 0.0), (8.0, 0.05, -0.1), (20.0, -0.1, 0.15)))


def steady_end(towed: Towed, speed: float) -> Array:
    """(3,) free end relative to the tow point by integration."""
    end: Array = straight(towed, WATER, speed).points_m[0] + [0.0, 0.0, towed.tow_height_m]
    return end


def swerve(t: float) -> tuple[float, float, float, float]:
    """1.2 m/s north with a swerve to starboard that sets in without a jerk."""
    w, size = 2 * math.pi / 30.0, 6.0
    return (
        1.2 * t, size * (w * t - math.sin(w * t)) / (2 * math.pi),
        1.2, size * w * (1 - math.cos(w * t)) / (2 * math.pi),
    )  # fmt: skip


@pytest.mark.parametrize("name", LINES)
def test_settled_is_the_integrated_shape_as_pieces_grow_small(name: str) -> None:
    """A body per node and straight pieces are of second order: half the pieces, four times the error."""
    towed = LINES[name]
    errors = []
    for n in (12, 24, 48):
        counts = [n // 4, n] if len(towed.segments) == 2 else [n]
        errors.append(float(np.linalg.norm(end_m(settled(towed, counts, 1.2)) - steady_end(towed, 1.2))))
    assert errors[2] < 2e-3 * towed.length_m()
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.15)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.15)


@pytest.mark.parametrize("name", LINES)
def test_second_order_in_time(name: str) -> None:
    towed = LINES[name]

    def at_15_s(dt: float) -> Array:
        group = settled(towed, live(towed), 1.2)
        assert go(group, swerve, np.linspace(0.0, 15.0, round(15.0 / dt) + 1)) == 0
        return end_m(group)

    best = at_15_s(0.0125)
    coarse, fine = (float(np.linalg.norm(at_15_s(dt) - best)) for dt in (0.2, 0.1))
    assert fine < 0.005
    assert coarse / fine > 3.0


@pytest.mark.parametrize("name", LINES)
def test_a_straight_course_changes_nothing(name: str) -> None:
    points = np.array([[0.0, 1.2, 0.7], [20.0, 1.2, 0.7]])
    rows = run(DRY[name], LAYERED, Course(points), np.arange(0.0, 20.5, 4.0))
    assert rows == pytest.approx(np.tile(rows[0], (len(rows), 1)), abs=1e-4)


@pytest.mark.parametrize("name", DRY)
def test_a_line_through_the_surface_settles_where_the_integration_says(name: str) -> None:
    towed = DRY[name]
    counts = [12, 120] if len(towed.segments) == 2 else [120]
    assert end_m(settled(towed, counts, 1.2)) == pytest.approx(
        steady_end(towed, 1.2), abs=2e-3 * towed.length_m()
    )


def longer(towed: Towed, length: float) -> Towed:
    """With another length of the main line."""
    return replace(towed, segments=(*towed.segments[:-1], replace(towed.segments[-1], length_m=length)))


def paid(
    towed: Towed, counts: list[int], dt: float, lengths: tuple[float, float], seconds: float
) -> tuple[Array, Array]:
    """Line run out or in at 1.2 m/s from 0 s on: times, and (K, 3) free end on whole seconds."""
    group = settled(longer(towed, lengths[0]), counts, 1.2)
    per_second = round(1.0 / dt)
    ends, whole = [], np.arange(0.0, seconds, 1.0)
    way = abs(lengths[1] - lengths[0]) / 1.2
    for second in whole:
        times = np.linspace(second, second + 1.0, per_second + 1)
        mains = np.interp(times, [0.0, way], lengths)
        assert go(group, straight_path(1.2), times, mains, restart=second == 0.0) >= 0
        ends.append(end_m(group))
    return whole + 1.0, np.array(ends)


@pytest.mark.parametrize("name", LINES)
@pytest.mark.parametrize("lengths", [(20.0, 44.0), (44.0, 20.0)], ids=["out", "in"])
def test_line_running_out_and_in(name: str, lengths: tuple[float, float]) -> None:
    """On the way within 5 % of a run four times finer, settled within 0.5 % of the steady tow at the new length."""
    towed = LINES[name]
    coarse_counts = live(towed)
    times, coarse = paid(towed, coarse_counts, 0.25, lengths, 180.0)
    _, fine = paid(towed, [4 * n for n in coarse_counts], 0.0625, lengths, 24.0)
    scale = np.maximum(np.abs(fine), 0.1 * np.linalg.norm(fine, axis=1)[:, None])
    assert np.all(np.abs(coarse[:24] - fine) <= 0.05 * scale), times[:24]
    new = longer(towed, lengths[1])
    counted = end_m(settled(new, coarse_counts, 1.2))
    assert coarse[-1] == pytest.approx(counted, abs=0.005 * float(np.linalg.norm(counted)))
    assert coarse[-1] == pytest.approx(steady_end(new, 1.2), abs=0.005 * new.length_m())


def test_a_trip_without_warning_settles_to_the_tripped_tow() -> None:
    """Lift gone and edge-on drag from one step to the next; the march restarts and settles where integration says."""
    counts = live(PLANER_LINE)
    group = settled(PLANER_LINE, counts, 1.2)
    times = np.arange(0.0, 180.25, 0.25)
    go(group, straight_path(1.2), times[:21])
    tripped = replace(
        PLANER_LINE, bodies=(LURE, replace(planer(), down_area_m2=0.0, side_area_m2=0.0, drag_area_m2=0.001))
    )
    half = 0.5 * WATER.density_kg_m3
    disc = group.view()[counts[-1]]
    disc[layout.B_DOWN : layout.B_SIDE + 1] = 0.0
    disc[layout.B_DRAG] = half * 0.001
    assert go(group, straight_path(1.2), times[20:]) >= 0
    assert end_m(group) == pytest.approx(steady_end(tripped, 1.2), abs=0.005 * PLANER_LINE.length_m())


def test_rescue_substeps_carry_a_line_over_a_jolt() -> None:
    """The tow point thrown back at 15 m/s within a step: Newton fails at the full step, shorter ones get through."""
    group = settled(PLANER_LINE, live(PLANER_LINE), 1.2)

    def thrown(t: float) -> tuple[float, float, float, float]:
        return (1.2 * t, 0.0, 1.2, 0.0) if t < 1.0 else (1.2 - 15.0 * (t - 1.0), 0.0, -15.0, 0.0)

    times = np.arange(0.0, 3.25, 0.25)
    assert go(group, thrown, times) > 0
    assert np.all(np.isfinite(group.positions_m()))
    stretch = np.linalg.norm(np.diff(group.positions_m()[:, :, 0], axis=0), axis=1).sum()
    assert stretch <= 1.05 * PLANER_LINE.length_m()


def test_a_march_in_pieces_is_the_same_march_bit_for_bit() -> None:
    whole = settled(COPPER_LINE, live(COPPER_LINE), 1.2)
    parts = copy_of(whole)
    times = np.arange(0.0, 10.25, 0.25)
    go(whole, swerve, times)
    for k in range(len(times) - 1):
        go(parts, swerve, times[k : k + 2], restart=k == 0)
    assert np.array_equal(whole.positions_m(), parts.positions_m())
    assert np.array_equal(whole.tip_pull_n(), parts.tip_pull_n())


def test_lanes_do_not_touch_each_other() -> None:
    one = settled(PLANER_LINE, live(PLANER_LINE), 1.2)
    times = np.arange(0.0, 10.25, 0.25)
    other = copy_of(one)
    other.view()[:, layout.B_DOWN : layout.B_SIDE + 1, 3:] = 0.0
    go(one, swerve, times)
    go(other, swerve, times)
    assert one.positions_m()[:, :, :3] == pytest.approx(other.positions_m()[:, :, :3], abs=1e-6)
    assert not np.allclose(one.positions_m()[:, :, 3], other.positions_m()[:, :, 3], atol=1e-2)


def test_a_stopped_ball_hangs_plumb() -> None:
    points = np.array([[0.0, 1.2, 0.0], [5.0, 1.2, 0.0], [10.0, 0.0, 0.0], [240.0, 0.0, 0.0]])
    depth, aft, side, pull = run(BALL_LINE, WATER, Course(points), np.array([240.0]))[0]
    cable = BALL_LINE.segments[0]
    weight = (cable.mass_kg_m - 1000.0 * math.pi * cable.diameter_m**2 / 4) * 9.81 * cable.length_m
    stretch = (BALL.wet_weight_n + 0.5 * weight) / cable.stiffness_n * cable.length_m
    assert depth == pytest.approx(cable.length_m + stretch, abs=1e-3)
    assert (aft, side) == pytest.approx((0.0, 0.0), abs=0.02)
    assert pull == pytest.approx(BALL.wet_weight_n + weight, rel=1e-3)


def test_a_line_lighter_than_water_stays_at_the_surface() -> None:
    """Braid and a float: no steady shape to start from, so it marches from a slanting line up to the surface."""
    line = Towed((BRAID,), (Body(0.0, 0.02, 0.01, 0.002),))
    group = settled(line, live(line), 1.0, floats=True)
    times = np.arange(0.0, 300.25, 0.25)
    assert go(group, straight_path(1.0), times) >= 0
    assert np.all(np.abs(group.positions_m()[:, 2]) < 0.5)
    assert end_m(group)[0] == pytest.approx(-45.0, abs=0.5)


def test_a_line_that_floats_is_said_to_have_no_steady_shape() -> None:
    with pytest.raises(NoSteadyShape):
        straight(Towed((BRAID,), (Body(-0.1, drag_area_m2=0.002),)), WATER, 1.0)


def test_a_leader_of_its_own_weight_follows_a_flat_line() -> None:
    line = Towed(
        (LEADER, Segment(30.0, 0.00065, 0.00038, 1.2, 0.01, 600.0)), (Body(0.03, 0.02, 0.01, 0.0015),)
    )
    depth = settled(line, live(line), 0.9).positions_m()[-1, 2, 0]
    assert 0.2 < depth < 3.0
