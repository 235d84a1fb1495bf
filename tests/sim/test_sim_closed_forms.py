"""The truth model against formulas that need no computer, and against symmetry."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.cases import read_case
from sim.forces import body_drag, line_drag
from sim.towing import solve

WATER = {"density_kg_m3": 1000.0, "gravity_m_s2": 9.81}


def case(kind: str = "steady", **more: Any) -> dict[str, Any]:
    """A case with the usual water."""
    return {"format": "towing case 1", "id": "t", "kind": kind, "water": WATER, **more}


def line(
    length_m: float, diameter_m: float, mass_kg_m: float, normal: float, tangential: float
) -> dict[str, float]:
    """A segment."""
    return {
        "length_m": length_m,
        "diameter_m": diameter_m,
        "mass_kg_m": mass_kg_m,
        "normal_drag": normal,
        "tangential_drag": tangential,
    }


def neutral_mass(diameter_m: float) -> float:
    """Mass per length of a line as heavy as water."""
    return WATER["density_kg_m3"] * math.pi * diameter_m**2 / 4.0


def run(raw: dict[str, Any]) -> dict[str, Any]:
    """Read and solve."""
    return solve(read_case(raw))


@pytest.mark.parametrize(("speed", "depth"), [(0.8, 23.29230), (1.0, 18.74666), (1.5, 12.57253)])
@pytest.mark.parametrize("tangential", [0.005, 0.03])
def test_heavy_line_with_a_free_end_is_straight(speed: float, depth: float, tangential: float) -> None:
    """cos(phi) = sqrt(lam^2 + 1) - lam, lam = w/(2 R), whatever the tangential drag (balance across the line)."""
    got = run(case(speed_m_s=speed, bodies=[], segments=[line(91.44, 0.00085, 0.0028, 1.2, tangential)]))
    assert got["depth_m"] == pytest.approx(depth, abs=1e-3 * depth)
    assert math.hypot(got["depth_m"], got["setback_m"]) == pytest.approx(91.44, abs=1e-3)


def test_neutral_line_in_normal_drag() -> None:
    """depth = (T0/R) ln[tan(phi0/2)/tan(phi/2)], cot(phi) = cot(phi0) + R L/T0: the tension is constant."""
    v, d = 1.1, 0.0004
    q = 0.5 * 1000.0 * v * v
    body = {"wet_weight_n": 8.0, "drag_area_m2": 3.0 / q}
    got = run(case(speed_m_s=v, bodies=[body], segments=[line(40.0, d, neutral_mass(d), 1.2, 0.0)]))
    tension, r = math.hypot(3.0, 8.0), q * d * 1.2
    phi0 = math.atan2(8.0, 3.0)
    phi = math.atan2(1.0, 1.0 / math.tan(phi0) + r * 40.0 / tension)
    depth = tension / r * math.log(math.tan(phi0 / 2) / math.tan(phi / 2))
    assert depth == pytest.approx(27.9940339, abs=1e-6)
    assert got["depth_m"] == pytest.approx(depth, abs=0.003)
    assert got["setback_m"] == pytest.approx(27.4845141, abs=0.003)
    assert got["tension_n"] == pytest.approx(tension, rel=1e-4)


def test_neutral_line_in_three_dimensions() -> None:
    """The same in the plane of drag and end force: end force (3, 4, 6) N, L 50."""
    v, d = 1.1, 0.0004
    q = 0.5 * 1000.0 * v * v
    body = {"wet_weight_n": 6.0, "drag_area_m2": 3.0 / q, "side_area_m2": 4.0 / q}
    got = run(case(speed_m_s=v, bodies=[body], segments=[line(50.0, d, neutral_mass(d), 1.2, 0.0)]))
    assert got["depth_m"] == pytest.approx(25.8562404, abs=0.003)
    assert got["lateral_m"] == pytest.approx(17.2374936, abs=0.003)
    assert got["setback_m"] == pytest.approx(37.7093101, abs=0.003)


def test_podes_equations() -> None:
    """Pode, DTMB Report 687 (1951), integrated elsewhere: W 40 N, CdA .003, d 1 mm, m 4.2 g/m, V 1.2, L 60."""
    body = {"wet_weight_n": 40.0, "drag_area_m2": 0.003}
    got = run(case(speed_m_s=1.2, bodies=[body], segments=[line(60.0, 0.001, 0.0042, 1.3, 0.01)]))
    assert got["depth_m"] == pytest.approx(48.2982981, rel=1e-4)
    assert got["setback_m"] == pytest.approx(32.1847085, rel=1e-4)
    assert got["tension_n"] == pytest.approx(42.1309092, rel=1e-4)


def test_catenary() -> None:
    """H 2 N, V0 1 N, w .05 N/m, L 50: rise 35.9012179, run 33.7874377; the line itself feels no water."""
    v, d = 1.0, 0.001
    mass = (0.05 / 9.81) + neutral_mass(d)
    body = {"wet_weight_n": 1.0, "drag_area_m2": 2.0 / (0.5 * 1000.0 * v * v)}
    got = run(case(speed_m_s=v, bodies=[body], segments=[line(50.0, d, mass, 0.0, 0.0)]))
    assert got["depth_m"] == pytest.approx(35.9012179, abs=0.003)
    assert got["setback_m"] == pytest.approx(33.7874377, abs=0.003)


def test_at_rest_a_line_hangs_down() -> None:
    got = run(
        case(speed_m_s=0.0, bodies=[{"wet_weight_n": 5.0}], segments=[line(30.0, 0.001, 0.004, 1.2, 0.01)])
    )
    assert got["depth_m"] == pytest.approx(30.0, abs=1e-4)
    assert got["setback_m"] == pytest.approx(0.0, abs=1e-6)
    assert got["tension_n"] == pytest.approx(5.0 + 30.0 * 9.81 * (0.004 - neutral_mass(0.001)), rel=1e-4)


def test_stretch_of_a_hanging_line() -> None:
    """A light line of EA 400 N under 20 N is 5 % longer (Hooke)."""
    segment = line(30.0, 0.0004, neutral_mass(0.0004), 1.2, 0.01) | {"stiffness_n": 400.0}
    got = run(case(speed_m_s=0.0, bodies=[{"wet_weight_n": 20.0}], segments=[segment]))
    assert got["depth_m"] == pytest.approx(31.5, abs=1e-3)


def test_dry_part_hangs_with_its_weight_in_air() -> None:
    segment = line(12.0, 0.001, 0.004, 1.2, 0.01)
    got = run(case(speed_m_s=0.0, tow_point_height_m=2.0, bodies=[{"wet_weight_n": 5.0}], segments=[segment]))
    wet = 9.81 * (0.004 - neutral_mass(0.001))
    assert got["depth_m"] == pytest.approx(10.0, abs=1e-4)
    assert got["tension_n"] == pytest.approx(5.0 + 10.0 * wet + 2.0 * 9.81 * 0.004, abs=1e-4)


PLANER = {
    "wet_weight_n": 1.0,
    "drag_area_m2": 0.006,
    "down_area_m2": 0.009,
    "mass_kg": 0.2,
    "added_mass_kg": 0.2,
}


@settings(max_examples=15, deadline=None)
@given(speed=st.floats(0.6, 1.6), side=st.floats(0.0, 0.006), length=st.floats(5.0, 80.0))
def test_port_mirrors_starboard(speed: float, side: float, length: float) -> None:
    segment = line(length, 0.0004, 0.00012, 1.2, 0.02)
    both = [
        run(case(speed_m_s=speed, bodies=[PLANER | {"side_area_m2": s}], segments=[segment]))
        for s in (side, -side)
    ]
    assert both[0]["depth_m"] == pytest.approx(both[1]["depth_m"], abs=1e-6)
    assert both[0]["lateral_m"] == pytest.approx(-both[1]["lateral_m"], abs=1e-6)
    assert abs(both[0]["lateral_m"]) <= both[0]["depth_m"]


def test_without_weights_the_shape_does_not_depend_on_speed() -> None:
    """All forces grow with the square of speed, so shape stays and tension grows fourfold from 1 to 2 m/s.

    Not exactly: a planer's lift fades below 0.1 m/s, 5e-5 of it at 1 m/s.
    """
    body = PLANER | {"wet_weight_n": 0.0, "side_area_m2": 0.004}
    segment = line(40.0, 0.0004, neutral_mass(0.0004), 1.2, 0.02)
    slow, fast = (run(case(speed_m_s=v, bodies=[body], segments=[segment])) for v in (1.0, 2.0))
    assert fast["depth_m"] == pytest.approx(slow["depth_m"], rel=3e-4)
    assert fast["lateral_m"] == pytest.approx(slow["lateral_m"], rel=3e-4)
    assert fast["tension_n"] == pytest.approx(4.0 * slow["tension_n"], rel=3e-4)


def test_current_that_moves_like_the_boat_is_no_tow() -> None:
    """All the water below half a metre moves with the boat: the line hangs down from there."""
    current = {"depth_m": [0.0, 0.5], "east_m_s": [0.0, 0.0], "north_m_s": [0.0, 1.0]}
    segment = line(30.0, 0.001, 0.004, 1.2, 0.01)
    got = run(case(speed_m_s=1.0, current=current, bodies=[{"wet_weight_n": 40.0}], segments=[segment]))
    assert got["depth_m"] == pytest.approx(30.0, abs=0.01)


def test_a_course_that_goes_nowhere_new_stays_settled() -> None:
    points = [[0, 1.2, 40], [60, 1.2, 40]]
    segments = [line(3.0, 0.0004, 0.00022, 1.2, 0.01), line(40.0, 0.0004, 0.00012, 1.2, 0.02)]
    bodies = [{"wet_weight_n": 0.05, "drag_area_m2": 0.0015, "mass_kg": 0.02}, PLANER]
    rows = run(case("course", course={"points": points}, bodies=bodies, segments=segments))["rows"]
    assert np.ptp(np.array(rows)[:, 1:], axis=0) == pytest.approx(np.zeros(4), abs=1e-5)
    steady = run(case(speed_m_s=1.2, bodies=bodies, segments=segments))
    assert rows[0][1] == pytest.approx(steady["depth_m"], abs=0.005)


def test_a_course_in_a_circle_ends_in_the_circle() -> None:
    """Two solvers of one truth: marched for five minutes on a circle, and the settled circle."""
    body = {"wet_weight_n": 30.0, "drag_area_m2": 0.003, "mass_kg": 4.0, "added_mass_kg": 0.2}
    segment = line(30.0, 0.001, 0.0045, 1.2, 0.01)
    settled = run(
        case(
            "circle",
            speed_m_s=1.0,
            circle={"radius_m": 40.0, "turn": "port"},
            bodies=[body],
            segments=[segment],
        )
    )
    points = [[0, 1.0, 0], [1, 1.0, 0], [1.01, 1.0, -math.degrees(0.01 / 40.0)]]
    points.append([201.0, 1.0, -math.degrees(200.0 / 40.0)])
    marched = run(
        case("course", course={"points": points}, report_t_s=[201.0], bodies=[body], segments=[segment])
    )["rows"][0]
    assert marched[1] == pytest.approx(settled["depth_m"], abs=0.01)
    assert marched[2] == pytest.approx(settled["behind_m"], abs=0.02)
    assert -marched[3] == pytest.approx(settled["inward_m"], abs=0.02)


def test_line_let_out_slowly_is_the_longer_line() -> None:
    body = {"wet_weight_n": 30.0, "drag_area_m2": 0.003, "mass_kg": 4.0, "added_mass_kg": 0.2}
    raw = case("course", course={"points": [[0, 1.0, 0], [200, 1.0, 0]]}, bodies=[body])
    raw |= {"segments": [line(10.0, 0.001, 0.0045, 1.2, 0.01)], "report_t_s": [0.0, 10.0, 200.0]}
    raw["line_out"] = {"t_s": [5, 105], "length_m": [10.0, 30.0]}
    rows = run(raw)["rows"]
    for row, length in ((rows[0], 10.0), (rows[2], 30.0)):
        wanted = run(case(speed_m_s=1.0, bodies=[body], segments=[line(length, 0.001, 0.0045, 1.2, 0.01)]))
        assert row[1] == pytest.approx(wanted["depth_m"], abs=0.005)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_derivatives_of_the_forces(seed: int) -> None:
    """Against central differences: wrong ones would still converge, slowly or not at all."""
    rng = np.random.default_rng(seed)
    u, t = rng.normal(size=3) + 0.3, rng.normal(size=3)
    t /= np.linalg.norm(t)
    f, f_u, f_t, e = np.zeros(3), np.zeros((3, 3)), np.zeros((3, 3)), 1e-6
    line_drag(u, t, 0.3, 0.05, f, f_u, f_t)
    g, g_u = np.zeros(3), np.zeros((3, 3))
    body_drag(u, 1.0, 2.0, 0.7, g, g_u)
    sink = np.zeros((3, 3))
    for j in range(3):
        step = e * np.eye(3)[j]
        ends = [np.zeros((3, 3)), np.zeros((3, 3))]
        for end, sign in zip(ends, (1.0, -1.0), strict=True):
            line_drag(u + sign * step, t, 0.3, 0.05, end[0], sink, sink)
            line_drag(u, t + sign * step, 0.3, 0.05, end[1], sink, sink)
            body_drag(u + sign * step, 1.0, 2.0, 0.7, end[2], sink)
        slope = (ends[0] - ends[1]) / (2.0 * e)
        for got, wanted in zip((f_u, f_t, g_u), slope, strict=True):
            np.testing.assert_allclose(got[:, j], wanted, atol=1e-5)
