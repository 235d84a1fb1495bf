"""A deep layer that the captain knows: every line meets it at its own depth, in axes of the ground.

Source of the truth: sim/ with its own line model (short form of tests/campaigns/deep_layer.py); the rest is symmetry.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.config import load
from assistant.configured import Config
from assistant.lines import spread
from assistant.lines.chain import Water
from assistant.lines.dock import Ask, at_dock, line_at
from assistant.messages import BoatState, Estimate, LineState


def test_known_layer_through_a_half_circle(root: Path) -> None:
    """Unknown it costs several per cent of depth and more in the turn; known, a hundredth, and every band holds."""
    script = str(root / "tests" / "campaigns" / "deep_layer.py")
    command = [sys.executable, script, "--scenario", "turn-180-layered", "--seed", "4", "--seconds", "230"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False, cwd=root)
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout.splitlines()[-1])
    assert len(found["known"]) == 8
    for rod, row in found["known"].items():
        assert row["frames"] > 150, rod
        assert row["turn_worst_percent"] < 1.0, (rod, row)
        assert row["inside_band"] > 0.99, (rod, row)
        assert row["turn_worst_percent"] < 0.5 * found["unknown"][rod]["turn_worst_percent"], rod


def settled(config: Config, heading_deg: float) -> dict[str, LineState]:
    """The lines settled at 1 m/s on a heading."""
    stw = Estimate(1.0, 0.03, "ok", 0.0, "test")
    heading = Estimate(math.radians(heading_deg) % math.tau, 0.02, "ok", 0.0, "test")
    state = spread.advance(spread.initial(config), stw, heading, (), 0.25, True)
    return spread.report(state, replace(BoatState(0.25), stw_mps=stw, heading_rad=heading))


def over(layer_deg: float, drift_mps: float, sigma_mps: float = 0.0) -> Config:
    """The shipped spread over a deep layer from 2 m down."""
    loaded = load()
    boat = replace(
        loaded.boat, deep_layer_set_deg=layer_deg, deep_layer_drift_mps=drift_mps,
        deep_layer_sigma_mps=sigma_mps, deep_layer_depth_m=2.0, deep_layer_scale_m=0.5,
    )  # fmt: skip
    return replace(loaded, boat=boat)


@pytest.mark.parametrize("heading_deg", [0.0, 90.0, 200.0])
def test_only_the_angle_between_boat_and_layer_counts(heading_deg: float) -> None:
    one, other = settled(over(60.0, 0.2), 0.0), settled(over(60.0 + heading_deg, 0.2), heading_deg)
    for rod, line in one.items():
        assert other[rod].depth_m.value == pytest.approx(line.depth_m.value, rel=1e-6), rod
        assert other[rod].lure_speed_mps.value == pytest.approx(line.lure_speed_mps.value, rel=1e-6), rod
        assert other[rod].depth_m.low == pytest.approx(line.depth_m.low, rel=1e-4), rod


def test_lure_speed_is_that_of_the_water_where_the_lure_is() -> None:
    """Straight tow: boat through the surface layer less the layer through the surface layer, as vectors."""
    for layer_deg in (0.0, 90.0, 180.0):
        for rod, line in settled(over(layer_deg, 0.2), 0.0).items():
            expected = math.hypot(
                1.0 - 0.2 * math.cos(math.radians(layer_deg)), 0.2 * math.sin(math.radians(layer_deg))
            )
            assert line.lure_speed_mps.value == pytest.approx(expected, abs=1e-3), (layer_deg, rod)


def test_water_against_the_boat_lifts_copper_and_water_with_it_lets_it_sink() -> None:
    depths = [
        settled(over(layer_deg, drift), 0.0)["C"].depth_m.value
        for layer_deg, drift in ((180, 0.2), (0, 0), (0, 0.2))
    ]
    assert depths == sorted(depths)  # type: ignore[type-var]  # all of them are known
    assert depths[0] != depths[2]


def test_none_configured_is_none() -> None:
    still = load()
    boat = replace(still.boat, deep_layer_set_deg=123.0)
    assert settled(still, 40.0) == settled(replace(still, boat=boat), 40.0)


def test_at_the_dock_its_direction_is_not_known() -> None:
    """Without a heading a known drift widens the band, whichever way it sets, and moves no value."""
    ask = Ask(70.0, None, 1.0, Water(999.0, 9.80665))
    number = next(k for k, rod in enumerate(load().rods) if rod.name == "C")
    none, north, east = (
        line_at(at_dock(over(deg, drift)), number, ask).depth_m
        for deg, drift in ((0, 0.0), (0, 0.2), (90, 0.2))
    )
    assert north == east
    assert north.value == none.value
    assert north.high - north.low > none.high - none.low  # type: ignore[operator]  # both are known
