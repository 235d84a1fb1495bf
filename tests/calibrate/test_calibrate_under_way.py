"""Log, compass and lag from runs of the simulator, against what it knows; thin evidence is refused, and how."""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest
from calibration_days import BOAT, DEG, gathered, scenario, two_way

from assistant.calibrate import compass, latency, speed
from assistant.calibrate.evidence import Gathered
from assistant.calibrate.outcome import Outcome, Thin

VARIATION_DEG = -9.0  # the simulator's


def pairs(found: Outcome, key: str) -> np.ndarray:
    """A list of pairs in the table."""
    rows = found.table[key]
    assert isinstance(rows, list)
    return np.array(rows)


def number(found: Outcome, key: str) -> float:
    """A number in the table."""
    value = found.table[key]
    assert isinstance(value, float)
    return value


def test_the_factor_by_speed_is_the_simulators(speed_run: Gathered) -> None:
    """Sensor: reading = (0.87 + 0.05 (v - 1)) v, sim/instruments.py; so factor(reading) = v/reading."""
    found = speed.calibrate(speed_run, BOAT, "simulator")
    curve, sigma = pairs(found, "curve"), number(found, "sigma")
    assert len(curve) == 2
    assert sigma <= speed.WORST_SIGMA
    through = np.linspace(0.5, 1.5, 400)
    read = (0.87 + 0.05 * (through - 1.0)) * through
    for reading, factor in curve:
        assert abs(factor - float(np.interp(reading, read, through / read))) < 3.0 * sigma
    assert len(found.residuals) == 4
    assert all(before == "1.000" for _, before, _ in found.changes)


def test_one_way_one_speed_and_no_log_are_refused_with_what_is_missing(speed_run: Gathered) -> None:
    out_only = copy.deepcopy(speed_run)
    half_s = 130.0
    out_only.log, out_only.compass, out_only.ground = (
        [one for one in series if one[0] < half_s]
        for series in (speed_run.log, speed_run.compass, speed_run.ground)
    )
    with pytest.raises(Thin) as thin:
        speed.calibrate(out_only, BOAT, "simulator")
    assert any("toward 20" in word for word in thin.value.missing)  # the way back: 200 and something
    assert any("1 more speed" in word for word in thin.value.missing)
    with pytest.raises(Thin, match="speed log"):
        speed.calibrate(Gathered(ground=speed_run.ground), BOAT, "simulator")


def test_legs_that_contradict_each_other_are_refused() -> None:
    """Weed on the wheel for the last leg: the log falls to half, and no current explains the three others as well."""
    run = gathered(scenario(two_way(100.0, (1.6, 2.8), 90.0), 0.1, 10.0), 5)
    last_s = run.log[-1][0]
    run.log = [(t, v * (0.6 if t > last_s - 155.0 else 1.0)) for t, v in run.log]
    with pytest.raises(Thin):
        speed.calibrate(run, BOAT, "simulator")


def test_offset_and_deviation_are_the_simulators(compass_run: Gathered) -> None:
    """Sensor: reading = true + 3 + 4 sin(true) degrees, less the variation; so that much is to be taken off."""
    found = compass.calibrate(compass_run, BOAT, "simulator")
    rows, offset, sigma = pairs(found, "deviation"), number(found, "offset_deg"), number(found, "sigma_deg")
    assert sigma <= 2.0
    for true_deg in range(0, 360, 45):
        add = -3.0 - 4.0 * math.sin(true_deg * DEG)
        reading = (true_deg - add - VARIATION_DEG) % 360.0
        shown = offset + float(np.interp(reading, rows[:, 0], rows[:, 1], period=360.0))
        assert abs(shown - add) < 3.0 * sigma


def test_without_a_log_a_steady_throttle_does(compass_run: Gathered) -> None:
    run = copy.copy(compass_run)
    run.log = []
    found = compass.calibrate(run, BOAT, "simulator")
    assert abs(number(found, "offset_deg") + 3.0) < 3.0 * number(found, "sigma_deg")
    assert any("throttle" in word for word in found.words)


def test_two_headings_make_no_deviation_table(speed_run: Gathered) -> None:
    with pytest.raises(Thin) as thin:
        compass.calibrate(speed_run, BOAT, "simulator")
    assert any("east" in word for word in thin.value.missing)


def test_a_true_compass_gets_an_offset_only(compass_run: Gathered) -> None:
    run = copy.copy(compass_run)
    run.magnetic = False
    assert "deviation" not in compass.calibrate(run, BOAT, "simulator").table


def test_an_unknown_variation_is_no_deviation(compass_run: Gathered) -> None:
    run = copy.copy(compass_run)
    run.variation_known = False
    with pytest.raises(Thin, match="variation"):
        compass.calibrate(run, BOAT, "simulator")


@pytest.mark.parametrize("late_s", [0.0, 1.3, -0.8])
def test_the_lag_of_the_course(latency_run: Gathered, late_s: float) -> None:
    """The simulator's receiver has no lag; its fixes are made late (the compass, where negative)."""
    run = copy.copy(latency_run)
    run.ground = [(t + late_s, north, east) for t, north, east in latency_run.ground]
    found = latency.calibrate(run, BOAT, "simulator")
    assert abs(number(found, "course_lag_s") - late_s) < 3.0 * number(found, "sigma_s")
    assert number(found, "sigma_s") < 0.5


def test_legs_make_no_latency(compass_run: Gathered) -> None:
    with pytest.raises(Thin, match="turns"):
        latency.calibrate(compass_run, BOAT, "simulator")
