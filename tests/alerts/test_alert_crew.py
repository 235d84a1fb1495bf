"""The crew of the campaign of simulated days does what README.md advises, and what was told is judged without it.

Expected: by hand, of a boat on a plan of two legs.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from alert_crew import ACTS_S, OUT_AGAIN_S, Crew
from alert_truth import Record, Truth

from assistant.messages import Alert, Priority
from assistant.units import FOOT_M
from sim.boat import Leg
from sim.gear import read_spread, read_water
from sim.scenario import read_scenario
from sim.world import World

ROOT = Path(__file__).resolve().parents[2]
LEGS = (Leg(10.0, 1.0, 0.0), Leg(80.0, 1.0, None, math.radians(1.0)), Leg(600.0, 1.0, math.radians(80.0)))
WATER = read_water(ROOT / "configs")


def alert(
    key: str, text: str, rods: tuple[str, ...], priority: Priority = "warning", in_s: float = 40.0
) -> Alert:
    evidence = {"in_s": in_s, "value": 0.0, "limit": 0.0}
    return Alert(0.0, key, None, priority, text, "active", rods, evidence, audible=True)


def crew_and_world() -> tuple[Crew, World]:
    day = read_scenario("straight")
    calm = replace(day, legs=LEGS, handling=replace(day.handling, wave_surge_mps=0.0, yaw_sigma_deg_s=0.0))
    rigs = read_spread(ROOT / "configs" / "spread.toml", ROOT / "configs", WATER, {}, {"W", "P1"})
    crew = Crew({"W": 39.6, "P1": 53.3}, {"W": 1.1, "P1": 1.0}, LEGS, np.random.default_rng(1))
    return crew, World(calm, rigs, WATER, 1)


BOTTOM = alert("bottom W", "W on the bottom in 40 s in this turn: lift 10 ft; then C", ("W", "C"))
CROSS = alert(
    "cross P1 W", "P1 and W cross in 40 s, 39 ft down: easing the turn may keep them apart", ("P1", "W")
)


def test_line_is_wound_in_some_seconds_after_it_is_said_told_to_the_flow_and_let_out_again() -> None:
    crew, world = crew_and_world()
    crew.hear(100.0, [BOTTOM], [BOTTOM])
    assert crew.act(100.0 + ACTS_S[0] - 1.0, world) == ()
    (told,) = crew.act(100.0 + ACTS_S[1], world)
    assert (told.rod, told.line_out_m) == ("W", pytest.approx(39.6 - 10.0 * FOOT_M))
    line = next(one for one in world.lines if one.rig.rod == "W")
    before = line.rig.segments[-1].length_m
    out = line.line_out(0.0, 60.0)  # long enough to be there
    assert out is not None and out(60.0) == pytest.approx(before - 1.1 * 10.0 * FOOT_M)  # a counter 10 % off
    assert crew.act(100.0 + OUT_AGAIN_S, world) == ()
    (back,) = crew.act(121.0 + OUT_AGAIN_S, world)
    assert back.line_out_m == pytest.approx(39.6)


def test_a_turn_is_eased_once_to_the_same_heading_and_a_straight_leg_is_not() -> None:
    crew, world = crew_and_world()
    crew.hear(22.0, [CROSS], [CROSS])
    assert crew.act(42.0, world) == ()
    kept, first, eased, _ = crew.legs
    assert (kept, first.duration_s) == (LEGS[0], 32.0)
    turned = first.duration_s * first.turn_radps + eased.duration_s * eased.turn_radps
    assert eased.turn_radps == 0.5 * first.turn_radps and turned == pytest.approx(math.radians(80.0))
    crew.hear(90.0, [CROSS], [CROSS])
    crew.act(110.0, world)
    assert len(crew.legs) == 4 and crew.eased == 1
    crew.hear(300.0, [replace(CROSS, priority="caution")], [])
    crew.hear(300.0, [CROSS], [])
    crew.act(320.0, world)
    assert len(crew.legs) == 4


def test_what_was_told_is_judged_in_a_world_in_which_nobody_acts() -> None:
    """The same waves, nothing wound in; the world that goes on is left alone."""
    _, world = crew_and_world()
    lake = replace(read_scenario("straight").lake, bottom_m=12.0, bottom_swell_m=0.0, hump_m=0.0)
    truth = Truth(Record(("P1", "W"), lake))
    depth = world.line_quantities()["W"]["depth_m"]
    assert truth.add(0.0, world, [BOTTOM]) == [BOTTOM]
    assert world.t_s == 0.0 and world.line_quantities()["W"]["depth_m"] == depth
    (one,) = truth.told
    assert one.about is not None and one.about.times_s[-1] == 120.0  # half again 40 s, and a minute
    assert truth.judged()["true"] == 1  # the weight is 29 m down, the bottom at 12
