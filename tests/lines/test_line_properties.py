"""What every towed line must do, whatever its sizes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from line_tools import WATER, Array, planer, towed_lines

from assistant.lines.bodies import body_damping, body_force
from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.circle import circle
from assistant.lines.groups import pieces
from assistant.lines.steady import NoSteadyShape, straight

SPEEDS = st.floats(0.5, 2.0)
LAYERED = replace(WATER, profile=((0.0, 0.0, 0.0), (6.0, 0.05, -0.08), (14.0, -0.15, 0.1), (25.0, -0.2, 0.2)))
FEW = settings(max_examples=40, deadline=None)


def mirrored(towed: Towed) -> Towed:
    """Port for starboard."""
    bodies = tuple(b and replace(b, side_area_m2=-b.side_area_m2) for b in towed.bodies)
    return replace(towed, bodies=bodies)


@FEW
@given(towed_lines(), SPEEDS)
def test_port_mirrors_starboard(towed: Towed, speed: float) -> None:
    water = replace(LAYERED, profile=tuple((z, north, -east) for z, north, east in LAYERED.profile))
    one, other = straight(towed, LAYERED, speed), straight(mirrored(towed), water, speed)
    assert other.points_m == pytest.approx(one.points_m * [1, -1, 1], abs=1e-9)
    assert other.tension_n == pytest.approx(one.tension_n, rel=1e-9)


def test_a_shape_is_found_where_its_integration_jumps_by_a_micrometre() -> None:
    """At a kink of the current steps change their number: the top's depth jumps across what is wanted."""
    leader = Segment(4.231303835063054, 0.0004, 0.000224, 1.2, 0.01, 400.0)
    braid = Segment(51.83123298121712, 0.0004, 0.00011, 1.2, 0.02, 4000.0)
    lure = Body(0.0966387059423383, 0.02, 0.01, 0.0016119366546843833)
    disc = Body(0.8, 0.2, 0.2, 0.007807039090644033, 0.011311531026752092, 0.0030309156037778106)
    shape = straight(Towed((leader, braid), (lure, disc)), LAYERED, 0.5)
    assert shape.points_m[-1, 2] == pytest.approx(0.0, abs=6e-6)
    coarse = straight(Towed((leader, braid), (lure, disc)), LAYERED, 0.5, relative=1e-8)
    assert shape.points_m[0] == pytest.approx(coarse.points_m[0], abs=1e-4)


@FEW
@given(towed_lines(roll_deg=30.0), SPEEDS, st.floats(60.0, 400.0))
def test_turns_mirror(towed: Towed, speed: float, radius: float) -> None:
    one = circle(towed, WATER, speed, radius, starboard=True)
    other = circle(mirrored(towed), WATER, speed, radius, starboard=False)
    assert other.depth_m == pytest.approx(one.depth_m, abs=1e-6)
    assert other.inward_m == pytest.approx(one.inward_m, abs=1e-6)


@FEW
@given(st.floats(5.0, 80.0), st.floats(-55.0, 55.0), SPEEDS, st.floats(1.1, 3.0))
def test_without_weight_the_shape_does_not_know_the_speed(
    length: float, roll: float, speed: float, faster: float
) -> None:
    """All forces grow with the square of the speed; what smooths a planer's law near zero speed is all that is left."""
    d = 0.0004
    line = Segment(length, d, 1000.0 * math.pi * d**2 / 4, 1.2, 0.02)
    towed = Towed((line,), (replace(planer(roll), wet_weight_n=0.0),))
    slow, fast = straight(towed, WATER, speed), straight(towed, WATER, speed * faster)
    smoothing = 0.25 * (0.1 / speed) ** 4
    assert fast.points_m[0] == pytest.approx(slow.points_m[0], abs=1e-5 * length + 2.0 * smoothing * length)
    assert fast.tension_n[-1] == pytest.approx(slow.tension_n[-1] * faster**2, rel=1e-6 + 2.0 * smoothing)


@FEW
@given(towed_lines(), SPEEDS, st.booleans())
def test_force_at_the_tow_point_is_minus_all_external_forces(
    towed: Towed, speed: float, flowing: bool
) -> None:
    water = LAYERED if flowing else WATER
    cut = pieces(towed, [60, 400])
    shape = straight(cut, water, speed)
    total = sum(_forces(cut, water, shape.points_m, speed))
    assert np.linalg.norm(total) == pytest.approx(shape.tension_n[-1], rel=1e-4)
    chord = shape.points_m[-2] - shape.points_m[-1]
    assert total / np.linalg.norm(total) == pytest.approx(chord / np.linalg.norm(chord), abs=0.02)


def _forces(cut: Towed, water: Water, points: Array, speed: float) -> list[Array]:
    """Drag and weight of every piece at its middle, and of every body, from the force laws as they are written down."""
    rho, g = water.density_kg_m3, water.gravity_m_s2
    depths, north, east = np.array(water.profile or ((0.0, 0.0, 0.0),)).T
    forces = []

    def through_water(z: float) -> Array:
        return np.array([speed - np.interp(z, depths, north), -np.interp(z, depths, east), 0.0])

    for segment, low, high in zip(cut.segments, points[:-1], points[1:], strict=True):
        t = (high - low) / np.linalg.norm(high - low)
        u = through_water(0.5 * (low[2] + high[2]))
        along = u @ t
        across = u - along * t
        drag = segment.normal_drag * np.linalg.norm(across) * across
        drag = drag + math.pi * segment.tangential_drag * abs(along) * along * t
        weight = (segment.mass_kg_m - rho * math.pi * segment.diameter_m**2 / 4) * g
        forces.append(segment.length_m * (np.array([0, 0, weight]) - 0.5 * rho * segment.diameter_m * drag))
    for body, place in zip(cut.bodies, points, strict=False):
        if body is not None:
            forces.append(_body_force(body, rho, through_water(place[2])))
    return forces


def _body_force(body: Body, rho: float, v: Array) -> Array:
    """z up in these three formulas only; level motion."""
    size, level = np.linalg.norm(v), v[0] ** 2 + v[1] ** 2
    h = (level**2 + 0.1**4) ** 0.25
    drag = -0.5 * rho * body.drag_area_m2 * size * v
    side = (
        0.5 * rho * body.side_area_m2 * size**2 * np.array([-v[1], v[0], 0.0]) / h
    )  # starboard: north turns to east
    down = 0.5 * rho * body.down_area_m2 * size * np.array([0.0, 0.0, level]) / h
    return drag + side + down + np.array([0.0, 0.0, body.wet_weight_n])


@FEW
@given(towed_lines(), SPEEDS, st.floats(1.0, 20.0))
def test_more_line_is_deeper(towed: Towed, speed: float, more: float) -> None:
    top = towed.segments[-1]
    longer = replace(towed, segments=(*towed.segments[:-1], replace(top, length_m=top.length_m + more)))
    assert straight(longer, WATER, speed).points_m[0, 2] > straight(towed, WATER, speed).points_m[0, 2]


@FEW
@given(towed_lines(roll_deg=45.0), SPEEDS)
def test_a_planer_below_45_degrees_swings_no_further_than_it_dives(towed: Towed, speed: float) -> None:
    points = straight(towed, WATER, speed).points_m
    assert abs(points[1, 1]) <= points[1, 2]


@FEW
@given(towed_lines(), SPEEDS, st.floats(0.1, 2.0))
def test_a_higher_tow_point_lifts_the_end_by_less_than_its_height(
    towed: Towed, speed: float, height: float
) -> None:
    deep = straight(towed, WATER, speed)
    try:
        lifted = straight(replace(towed, tow_height_m=height), WATER, speed)
    except NoSteadyShape as error:  # a shallow end may be lifted out of the water, a deeper one never
        assert "floats" in str(error)
        assert deep.points_m[0, 2] < height
        return
    assume(lifted.points_m[-2, 2] > 0.0)  # only the top segment is dry
    loss = deep.points_m[0, 2] - lifted.points_m[0, 2]
    assert loss > 0.0
    assert lifted.points_m[-1] == pytest.approx([0.0, 0.0, -height], abs=1e-5)


AREAS = st.floats(-10.0, 10.0)
RATES = st.floats(-3.0, 3.0)


@settings(max_examples=200, deadline=None)
@given(st.floats(0.0, 10.0), AREAS, AREAS, RATES, RATES, RATES)
def test_body_damping_is_minus_the_derivative_of_body_force(
    kd: float, kn: float, ks: float, vx: float, vy: float, vz: float
) -> None:
    assume(math.sqrt(vx * vx + vy * vy + vz * vz) > 0.02)
    found = np.array(body_damping(kd, kn, ks, vx, vy, vz)).reshape(3, 3)
    step = 1e-5
    for k in range(3):
        ahead, back = [vx, vy, vz], [vx, vy, vz]
        ahead[k] += step
        back[k] -= step
        change = np.array(body_force(kd, kn, ks, *ahead)) - np.array(body_force(kd, kn, ks, *back))
        assert found[:, k] == pytest.approx(-change / (2 * step), abs=2e-5 * (1 + kd + abs(kn) + abs(ks)))


@settings(max_examples=100, deadline=None)
@given(AREAS, AREAS, RATES, RATES, RATES)
def test_a_planers_lift_does_no_work(kn: float, ks: float, vx: float, vy: float, vz: float) -> None:
    lift = np.array(body_force(0.0, kn, ks, vx, vy, vz))
    assert lift @ [vx, vy, vz] == pytest.approx(0.0, abs=1e-9)
