"""What a calibration found is what the estimate goes by."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from estimate_days import CONFIG, DEG, Sea, altered, angle_error, day, edited, run
from hypothesis import given
from hypothesis import strategies as st

from assistant.estimate.speed import true_mps

CURVE = ((0.5, 1.2), (1.0, 1.1), (1.4, 1.15))


@given(st.floats(0.0, 15.0))
def test_the_factor_is_straight_between_the_readings_and_level_beyond(reading: float) -> None:
    """numpy.interp, independent of the loop."""
    at, factor = np.array(CURVE).T
    expected = reading * float(np.interp(reading, at, factor))
    assert true_mps(reading, replace(CONFIG, speed_log_curve=CURVE)) == pytest.approx(expected, abs=1e-12)


def test_a_log_by_its_curve_shows_the_true_speed() -> None:
    sea = Sea(stw=lambda t_s: 0.8 if t_s < 60.0 else 1.3, factor_sigma=0.0, current_mps=0.2, minutes=2.0)
    low = altered(day(3, sea), "stw_mps", lambda t_s, value: 0.8 * value if t_s < 60.0 else 0.9 * value)
    config = replace(
        CONFIG, speed_log_curve=((0.8 * 0.8, 1.0 / 0.8), (0.9 * 1.3, 1.0 / 0.9)), speed_log_sigma=0.01
    )
    shown, plain = run(low, config), run(low)
    for at_s, true in ((50.0, 0.8), (110.0, 1.3)):
        boat = shown[round(4 * at_s) - 1].stw_mps
        assert boat.value == pytest.approx(true, abs=0.04)
        assert boat.sigma is not None
        other = plain[round(4 * at_s) - 1].stw_mps
        assert other.sigma is not None
        assert boat.sigma < other.sigma


def test_a_calibrated_compass_has_its_own_sigma() -> None:
    ticks = day(4, Sea(minutes=1.0))
    shown = run(ticks, replace(CONFIG, compass_sigma_deg=0.8))[-1].heading_rad.sigma
    plain = run(ticks)[-1].heading_rad.sigma
    assert shown is not None
    assert plain is not None
    assert shown < 0.6 * plain
    assert shown > 0.8 * DEG


@pytest.mark.parametrize("lag_s", [0.0, 1.5])
def test_a_course_that_trails_is_carried_ahead(lag_s: float) -> None:
    """A turn of 3 deg/s: each fix is 1.5 s old when it comes. Told so, the course shown is on the heading's side."""
    sea = Sea(stw=lambda t_s: 1.2, heading=lambda t_s: 0.5 + max(0.0, t_s - 30.0) * 3.0 * DEG,
              current_mps=0.0, gps_sigma_mps=0.0, minutes=1.0)  # fmt: skip
    late = altered(
        day(5, sea), "cog_rad", lambda t_s, value: (value - 1.5 * 3.0 * DEG * (t_s > 31.5)) % math.tau
    )
    boats = run(late, replace(CONFIG, course_lag_s=lag_s))
    off = [
        angle_error(boat.cog_rad.value or 0.0, tick.truth.cog_rad)
        for boat, tick in zip(boats, late, strict=True)
        if tick.truth.t_s > 45.0
    ]
    expected = 0.0 if lag_s else -1.5 * 3.0 * DEG
    assert float(np.median(off)) == pytest.approx(expected, abs=1.5 * DEG)


def test_a_measured_sounder_offset_comes_before_the_sentences() -> None:
    ticks = edited(day(6, Sea(minutes=0.5)), lambda r: r)
    plain = run(ticks)[-1].water_depth_m.value
    measured = run(ticks, replace(CONFIG, sounder_measured_m=1.7))[-1].water_depth_m.value
    other = run(ticks, replace(CONFIG, sounder_measured_m=0.7))[-1].water_depth_m.value
    assert plain is not None
    assert measured is not None
    assert other is not None
    assert measured - other == pytest.approx(1.0)
    assert measured != plain
