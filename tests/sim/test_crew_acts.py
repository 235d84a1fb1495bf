"""What a crew can do while the simulator runs: line wound in and let out, another course.

Expected: a line wound in under way is in the end where one of that length settles, and what a plan says the boat does.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from sim.boat import Leg
from sim.gear import Rig, read_spread, read_water
from sim.scenario import read_scenario
from sim.world import WOUND_MPS, World

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
WATER = read_water(CONFIGS)
DAY = read_scenario("straight")
CALM = replace(DAY, handling=replace(DAY.handling, wave_surge_mps=0.0, yaw_sigma_deg_s=0.0))


def rig(shorter_m: float = 0.0) -> Rig:
    (one,) = read_spread(CONFIGS / "spread.toml", CONFIGS, WATER, {}, {"W"})
    *low, main = one.segments
    return replace(one, segments=(*low, replace(main, length_m=main.length_m - shorter_m)))


def run(world: World, seconds: float) -> None:
    until_s = world.t_s + seconds
    while world.t_s < until_s - 1e-9:
        world.step()


def test_line_wound_in_under_way_hangs_in_the_end_where_one_of_that_length_does() -> None:
    world, settled = World(CALM, [rig()], WATER, 1), World(CALM, [rig(6.0)], WATER, 1)
    before = world.line_quantities()["W"]["depth_m"]
    world.lines[0].wind(-6.0)
    run(world, 6.0 / WOUND_MPS + 170.0)
    now, wanted = (one.line_quantities()["W"]["depth_m"] for one in (world, settled))
    assert now == pytest.approx(wanted, abs=0.02) and now < before - 2.0


def test_line_runs_no_faster_than_a_reel_and_stops_where_it_should() -> None:
    world = World(CALM, [rig()], WATER, 1)
    line = world.lines[0]
    line.wind(-2.0)
    start = rig().segments[-1].length_m
    lengths = []
    for k in range(40):
        out = line.line_out(0.1 * k, 0.1 * (k + 1))
        lengths.append(start - 2.0 if out is None else out(0.1 * (k + 1)))
    steps = [before - after for before, after in zip([start, *lengths], lengths, strict=False)]
    assert max(steps) <= WOUND_MPS * 0.1 + 1e-9 and lengths[-1] == start - 2.0 == min(lengths)


def test_another_plan_holds_from_then_on() -> None:
    legs = (Leg(10.0, 1.0, 0.0), Leg(60.0, 1.0, None, math.radians(1.0)))
    world = World(replace(CALM, legs=legs), [], WATER, 1)
    run(world, 20.0)
    world.follow((legs[0], Leg(10.0, 1.0, None, math.radians(1.0)), Leg(100.0, 1.0, None, math.radians(0.5))))
    run(world, 30.0)
    rate = world.boat_quantities()["rate_of_turn_radps"]
    assert rate == pytest.approx(math.radians(0.5), rel=1e-3)
