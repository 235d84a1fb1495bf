"""The lake, the gear and the lines under way."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from sim_stream import CALM, LEGS, play, write

from sim.checked import CheckError
from sim.gear import read_spread, read_water
from sim.scenario import names, read_scenario
from sim.water import LAKE, Lake

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
PLAIN = {row.key: float(row.default or 0.0) for row in LAKE}


def test_all_scenarios_are_there() -> None:
    plain = {"straight", "s-turns", "turn-180", "speed-change", "stop"}
    assert {*plain, *(f"{name}-layered" for name in plain), "demo"} <= set(names())
    for name in plain:
        assert read_scenario(name).lake.deep_drift_mps == 0.0
        assert read_scenario(f"{name}-layered").lake.deep_drift_mps > 0.1


def test_the_demo_turns_within_twenty_seconds(tmp_path: Path) -> None:
    _, truth = play(tmp_path, "demo", "--seconds", "20", truth=True)
    assert max(abs(row["boat"]["rate_of_turn_radps"]) for row in truth) > math.radians(1.5)
    assert read_scenario("demo").repeat
    assert 500.0 < read_scenario("demo").duration_s < 700.0


def test_layers() -> None:
    lake = Lake(**{**PLAIN, "deep_drift_mps": 0.25, "deep_set_deg": 350.0, "deep_turning_deg_h": 21.0})
    profile = lake.profile(0.0)
    assert profile[0].tolist() == [0.0, 0.0, 0.0]  # the frame is the surface layer
    assert np.hypot(*profile[-1, 1:]) == pytest.approx(0.25, rel=1e-3)
    middle = np.interp(15.0, profile[:, 0], np.hypot(profile[:, 1], profile[:, 2]))
    assert middle == pytest.approx(0.125, abs=0.002)
    turned = lake.profile(3600.0)[-1]
    assert math.degrees(math.atan2(turned[2], turned[1])) == pytest.approx(11.0, abs=1e-6)
    assert len(Lake(**PLAIN).profile(0.0)) == 1
    assert lake.temp_c(0.0) == pytest.approx(20.556, abs=0.01)
    assert lake.temp_c(0.0) > lake.temp_c(15.0) > lake.temp_c(30.0)


def test_the_hump_is_where_it_is_put() -> None:
    lake = Lake(**{**PLAIN, "bottom_swell_m": 0.0})
    assert lake.depth_m(lake.hump_north_m, lake.hump_east_m) == pytest.approx(39.6 - 8.5)
    assert lake.depth_m(lake.hump_north_m + 5 * lake.hump_radius_m, lake.hump_east_m) == pytest.approx(
        39.6, abs=0.01
    )


def test_gear_by_hand() -> None:
    """Numbers worked out from the tables with pencil and paper (areas A CL = .012272 x .75, roll 15 degrees)."""
    rigs = {rig.rod: rig for rig in read_spread(CONFIGS / "spread.toml", CONFIGS, read_water(CONFIGS), {})}
    starboard, port = rigs["S1"], rigs["P1"]
    lure, planer = starboard.bodies
    assert lure is not None and planer is not None
    assert planer.down_area_m2 == pytest.approx(0.009204 * math.cos(math.radians(15.0)), rel=1e-4)
    assert planer.side_area_m2 == pytest.approx(0.009204 * math.sin(math.radians(15.0)), rel=1e-4)
    assert planer.drag_area_m2 == pytest.approx(0.006136, rel=1e-4)
    assert planer.wet_weight_n == pytest.approx(1.27486, rel=1e-4)
    assert port.bodies[1] is not None
    assert port.bodies[1].side_area_m2 == -planer.side_area_m2
    assert [s.length_m for s in starboard.segments] == pytest.approx([2.4384, 53.34])
    ball = rigs["R1"].bodies[1]
    assert ball is not None
    assert ball.wet_weight_n == pytest.approx(5.443 * 9.80665 * (1 - 999.0 / 11340.0), rel=1e-6)
    assert rigs["R1"].segments[-1].length_m == pytest.approx(21.336 + 0.8)  # counted from the water
    tripped = starboard.tripped[1]
    assert tripped is not None
    assert tripped.down_area_m2 == tripped.side_area_m2 == 0.0
    assert tripped.drag_area_m2 == pytest.approx(0.0024544, rel=1e-4)


def test_twins_run_alike_and_mirrored(tmp_path: Path) -> None:
    _, truth = play(tmp_path, write(tmp_path, LEGS + CALM), "--seconds", "0", truth=True)
    lines = truth[0]["lines"]
    for port, starboard in (("P1", "S1"), ("P2", "S2")):
        assert lines[port]["depth_m"] == pytest.approx(lines[starboard]["depth_m"], abs=1e-4)
        assert lines[port]["swing_m"] == pytest.approx(-lines[starboard]["swing_m"], abs=1e-4)
        assert lines[starboard]["swing_m"] > 1.0
    for line in lines.values():
        assert line["lure_speed_mps"] == pytest.approx(truth[0]["boat"]["stw_mps"], rel=1e-6)


def test_lines_are_settled_at_the_start_and_late_in_a_turn(tmp_path: Path) -> None:
    _, truth = play(tmp_path, write(tmp_path, LEGS + CALM), truth=True)
    for rod in truth[0]["lines"]:
        depth = [row["lines"][rod]["depth_m"] for row in truth]
        assert depth[25] == pytest.approx(depth[0], abs=0.01)
    copper = [row["lines"]["C"]["depth_m"] for row in truth]
    assert abs(copper[33] - copper[0]) < 0.1
    inside, outside = (
        truth[-1]["lines"][rod]["depth_m"] - truth[0]["lines"][rod]["depth_m"] for rod in ("S2", "P2")
    )
    assert inside > outside + 0.5


def test_a_tripped_planer_rises_and_pulls_less(tmp_path: Path) -> None:
    """Common practice, no source: under half the pull (how high it comes is a matter of the table's weight)."""
    legs = "legs = [{ duration_s = 140, speed_mph = 2.1, heading_deg = 90 }]\n"
    trip = "[[rods]]\nrod = 'S2'\ntripped_at_s = 10\n"
    _, truth = play(tmp_path, write(tmp_path, legs + CALM + trip), truth=True)
    before, after = truth[9]["lines"]["S2"], truth[-1]["lines"]["S2"]
    assert after["tension_n"] < 0.5 * before["tension_n"]
    assert after["depth_m"] < 0.75 * before["depth_m"]
    assert truth[-1]["lines"]["P2"]["depth_m"] == pytest.approx(truth[0]["lines"]["P2"]["depth_m"], abs=0.01)


def test_a_counter_that_reads_too_much(tmp_path: Path) -> None:
    short = "[[rods]]\nrod = 'W'\ncounter_factor = 0.8666\n"
    _, plain = play(tmp_path, write(tmp_path, LEGS + CALM), "--seconds", "0", truth=True)
    _, shorter = play(tmp_path, write(tmp_path, LEGS + CALM + short), "--seconds", "0", truth=True)
    ratio = shorter[0]["lines"]["W"]["depth_m"] / plain[0]["lines"]["W"]["depth_m"]
    assert 0.85 < ratio < 0.95
    assert shorter[0]["lines"]["C"] == plain[0]["lines"]["C"]


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("spread.toml", 'side = "port"', 'side = "left"', "side: 'left'; allowed: port, centre, starboard"),
        ("spread.toml", 'line_out = "160 ft"', 'line_out = "160 cubits"', "line_out: '160 cubits'"),
        ("spread.toml", 'body = "spoon"', 'body = "no-such"', "no-such.toml"),
        (
            "bodies/spoon.toml",
            'kind = "lure"',
            'kind = "boat"',
            "kind: 'boat'; allowed: planer, sphere, lure",
        ),
        ("lines/wire-30.toml", "value = 0.00033", 'value = "thin"', "diameter_m.value: 'thin'"),
        ("boat.toml", "= 999.0", "= 0.0", "water_density_kg_m3: 0.0; allowed: a number from 900 to 1100"),
    ],
)
def test_bad_configs_are_named(tmp_path: Path, file: str, old: str, new: str, told: str) -> None:
    folder = tmp_path / "configs"
    shutil.copytree(CONFIGS, folder)
    text = (folder / file).read_text()
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1))
    with pytest.raises(CheckError) as error:
        read_spread(folder / "spread.toml", folder, read_water(folder), {})
    assert told in str(error.value)
    assert str(folder) in str(error.value)
