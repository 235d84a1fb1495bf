"""One chosen course against MoorDyn, live: leader, lure and planer, layered current, a turn and a slowing."""

from __future__ import annotations

import importlib.util
import os
from typing import Any

import pytest
import towing_moordyn
from towing_compare import worst

from assistant.lines.cases import solve

LEADER = {
    "length_m": 3.0,
    "diameter_m": 0.0004,
    "mass_kg_m": 0.000224,
    "normal_drag": 1.2,
    "tangential_drag": 0.01,
}
MAIN = {
    "length_m": 20.0,
    "diameter_m": 0.0004,
    "mass_kg_m": 0.00011,
    "normal_drag": 1.2,
    "tangential_drag": 0.02,
}
LURE = {"wet_weight_n": 0.05, "mass_kg": 0.02, "added_mass_kg": 0.01, "drag_area_m2": 0.0015}
PLANER = {
    "wet_weight_n": 0.8, "mass_kg": 0.2, "added_mass_kg": 0.2,
    "drag_area_m2": 0.004, "down_area_m2": 0.005, "side_area_m2": 0.003,
}  # fmt: skip
TURN: dict[str, Any] = {
    "id": "planer in layers, turning and slowing",
    "kind": "course",
    "water": {"density_kg_m3": 1000.0, "gravity_m_s2": 9.80665},
    "current": {"depth_m": [0.0, 3.0, 9.0], "east_m_s": [0.0, 0.0, 0.2], "north_m_s": [0.0, -0.05, -0.1]},
    "segments": [{**LEADER, "stiffness_n": 400.0}, {**MAIN, "stiffness_n": 4000.0}],
    "bodies": [LURE, PLANER],
    "course": {"points": [[0, 1.2, 0], [2, 1.2, 0], [14, 1.2, 60], [18, 0.8, 60], [24, 0.8, 60]]},
    "report_t_s": [0.0, 4.0, 8.0, 12.0, 16.0, 20.0, 24.0],
}


def test_moordyn_live_agrees_on_a_line_of_several_parts() -> None:
    if importlib.util.find_spec("moordyn") is None:
        missing = "moordyn is not installed; pip install 'spreadwatch[peer]'"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    ratios = worst("course", solve(TURN), towing_moordyn.moordyn_course(TURN, total=24))
    assert max(ratios.values()) <= 1.0, ratios
