"""Runs to calibrate from, made once."""

from __future__ import annotations

import pytest
from calibration_days import circles, gathered, scenario, two_way, weaving

from assistant.calibrate.evidence import Gathered

CURRENT = {"drift_mps": 0.3, "set_deg": 250.0}
LOG = {"log_factor": 0.87, "log_factor_per_mps": 0.05}
COMPASS = {"compass_offset_deg": 3.0, "compass_deviation_deg": 4.0}


@pytest.fixture(scope="session")
def speed_run() -> Gathered:
    """Out and back at two speeds in a current of a third of the speed."""
    return gathered(scenario(two_way(20.0, (1.6, 2.8), 120.0), **CURRENT, **LOG, **COMPASS), 3)


@pytest.fixture(scope="session")
def compass_run() -> Gathered:
    """A slow circle to each side."""
    return gathered(scenario(circles(2.3, 1.0), **CURRENT, **LOG, **COMPASS), 4)


@pytest.fixture(scope="session")
def latency_run() -> Gathered:
    """Six turns."""
    return gathered(scenario(weaving(2.2, 6, 80.0, 4.0), **CURRENT, **LOG), 2)
