"""Steady shapes against formulas that need no solver, evaluated here, and against their printed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.steady import climb, columns, straight

RHO, G = 1000.0, 9.81
WATER = Water(RHO, G)
CENTIMETRE_TENTH = 1e-3


def neutral_mass(diameter_m: float) -> float:
    """Mass per length [kg/m] of a line that weighs nothing in water."""
    return RHO * math.pi * diameter_m**2 / 4


@pytest.mark.parametrize(("speed", "printed"), [(0.8, 23.29230), (1.0, 18.74666), (1.5, 12.57253)])
@pytest.mark.parametrize("tangential", [0.0, 0.02])
def test_a_heavy_line_with_nothing_on_it_is_straight(speed: float, printed: float, tangential: float) -> None:
    # normal drag carries the weight across the line: cos(phi) = sqrt(lam^2 + 1) - lam, lam = w/(2 R) (Pode 1951,
    # DTMB Report 687, critical angle)
    d, m, cn, length = 0.85e-3, 2.8e-3, 1.2, 91.44
    weight = (m - neutral_mass(d)) * G
    lam = weight / (2 * 0.5 * RHO * cn * d * speed**2)
    depth = length * math.sin(math.acos(math.sqrt(lam**2 + 1) - lam))
    found = straight(Towed((Segment(length, d, m, cn, tangential),), ()), WATER, speed).points_m[0, 2]
    assert found == pytest.approx(depth, abs=CENTIMETRE_TENTH)
    assert depth == pytest.approx(printed, abs=1e-5)


def end_pulled_by(force: tuple[float, float, float], speed: float) -> Body:
    """A body on which the water acts with a force aft, to port and down [N] at a speed [m/s].

    Its down and side pull are those of a planer; north is ahead.
    """
    half = 0.5 * RHO * speed**2
    smooth = speed / (speed**4 + 0.1**4) ** 0.25  # see the force law: |v|/h, 1 but for the smoothing
    aft, port, down = force
    return Body(
        drag_area_m2=aft / half, down_area_m2=down / half / smooth, side_area_m2=-port / half / smooth
    )


def test_a_neutral_line_in_plane() -> None:
    # normal drag only: T constant, dphi/ds = -R sin^2(phi)/T0, so cot(phi) = cot(phi0) + R L/T0 and
    # depth = (T0/R) ln[tan(phi0/2)/tan(phi/2)], setback = (T0/R)(1/sin(phi) - 1/sin(phi0))
    d, cn, speed, length = 0.4e-3, 1.2, 1.1, 40.0
    aft, down = 3.0, 8.0
    r = 0.5 * RHO * cn * d * speed**2
    t0, phi0 = math.hypot(aft, down), math.atan2(down, aft)
    phi = math.atan(1 / (1 / math.tan(phi0) + r * length / t0))
    depth = t0 / r * math.log(math.tan(phi0 / 2) / math.tan(phi / 2))
    setback = t0 / r * (1 / math.sin(phi) - 1 / math.sin(phi0))
    line = Towed((Segment(length, d, neutral_mass(d), cn, 0.0),), (end_pulled_by((aft, 0.0, down), speed),))
    shape = straight(line, WATER, speed)
    assert (depth, setback) == pytest.approx((27.9940339, 27.4845141), abs=1e-7)
    assert shape.points_m[0, [2, 0]] == pytest.approx([depth, -setback], abs=CENTIMETRE_TENTH)
    assert shape.tension_n[-1] == pytest.approx(t0, abs=1e-5)


def test_a_neutral_line_in_space() -> None:
    # the same formulas in the plane of the end force: across the flow the force splits as side : down
    d, cn, speed, length = 0.4e-3, 1.2, 1.1, 50.0
    aft, side, down = 3.0, 4.0, 6.0
    r = 0.5 * RHO * cn * d * speed**2
    across = math.hypot(side, down)
    t0, phi0 = math.hypot(aft, across), math.atan2(across, aft)
    phi = math.atan(1 / (1 / math.tan(phi0) + r * length / t0))
    reach = t0 / r * math.log(math.tan(phi0 / 2) / math.tan(phi / 2))
    setback = t0 / r * (1 / math.sin(phi) - 1 / math.sin(phi0))
    expected = [reach * down / across, reach * side / across, setback]
    assert expected == pytest.approx([25.8562404, 17.2374936, 37.7093101], abs=1e-7)
    line = Towed((Segment(length, d, neutral_mass(d), cn, 0.0),), (end_pulled_by((aft, side, down), speed),))
    x, y, z = straight(line, WATER, speed).points_m[0]
    assert [z, -y, -x] == pytest.approx(expected, abs=CENTIMETRE_TENTH)


def test_pode_angle_formulation() -> None:
    # Pode 1951, DTMB Report 687: tension and angle as unknowns instead of a vector; here by scipy
    weight, area, d, m, cn, ct, speed, length = 40.0, 0.003, 1e-3, 4.2e-3, 1.3, 0.01, 1.2, 60.0
    w = (m - neutral_mass(d)) * G
    normal = 0.5 * RHO * cn * d * speed**2
    tangent = 0.5 * RHO * math.pi * ct * d * speed**2
    drag = 0.5 * RHO * area * speed**2

    def slope(_: float, y: list[float]) -> list[float]:
        tension, phi = y[0], y[1]  # phi: angle of the line below the horizontal, boat ahead
        cos, sin = math.cos(phi), math.sin(phi)
        along = w * sin + tangent * cos * abs(cos)
        across = normal * sin * abs(sin) - w * cos
        return [along, -across / tension, sin, cos]

    start = [math.hypot(weight, drag), math.atan2(weight, drag), 0.0, 0.0]
    end = solve_ivp(slope, (0.0, length), start, rtol=1e-11, atol=1e-12).y[:, -1]
    expected = [end[2], end[3], end[0]]
    assert expected == pytest.approx([48.2982981, 32.1847085, 42.1309092], abs=2e-6)
    line = Towed((Segment(length, d, m, cn, ct),), (Body(wet_weight_n=weight, drag_area_m2=area),))
    shape = straight(line, WATER, speed)
    found = [shape.points_m[0, 2], -shape.points_m[0, 0], shape.tension_n[-1]]
    assert found == pytest.approx(expected, abs=CENTIMETRE_TENTH)


def test_catenary() -> None:
    # no flow, pulled by H across and V0 down: rise = (sqrt(H^2 + (V0 + w L)^2) - sqrt(H^2 + V0^2))/w,
    # run = H/w (asinh((V0 + w L)/H) - asinh(V0/H))
    pull, down, w, length = 2.0, 1.0, 0.05, 50.0
    top = down + w * length
    rise = (math.hypot(pull, top) - math.hypot(pull, down)) / w
    run = pull / w * (math.asinh(top / pull) - math.asinh(down / pull))
    assert (rise, run) == pytest.approx((35.9012179, 33.7874377), abs=1e-7)
    # H comes from water that streams by the body alone: the line itself has no drag
    d, speed = 1e-3, 1.0
    mass = w / G + neutral_mass(d)
    line = Towed(
        (Segment(length, d, mass, 0.0, 0.0),), (Body(down, drag_area_m2=pull / (0.5 * RHO * speed**2)),)
    )
    shape = straight(line, WATER, speed)
    assert [shape.points_m[0, 2], -shape.points_m[0, 0]] == pytest.approx([rise, run], abs=CENTIMETRE_TENTH)


def test_the_whole_line_at_once_is_each_shorter_line() -> None:
    """Integrated from the free end, the points on the way up are the depths of shorter lines."""
    pieces = tuple(Segment(10.0, 1e-3, 4.2e-3, 1.3, 0.01) for _ in range(4))
    body = Body(40.0, drag_area_m2=0.003)
    out = np.empty((5, 6))
    tow = np.array([1.2, 0.0, 0.0])
    assert climb(
        *columns(Towed(pieces, (body,)), WATER), tow, np.zeros((0, 3)), np.array([0, 0, 1e3]), 1e-9, out
    )
    for count in range(1, 5):
        alone = straight(Towed(pieces[:count], (body,)), WATER, 1.2).points_m[0, 2]
        assert out[0, 2] - out[count, 2] == pytest.approx(alone, abs=1e-5)
