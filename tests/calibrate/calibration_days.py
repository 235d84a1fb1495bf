"""Runs of the simulator made for calibrating: legs out and back, circles, a known current, log and compass."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))

from sim_days import BOAT, SOURCE, seconds_of

from assistant import locate
from assistant.calibrate.evidence import Gathered
from assistant.configured import BoatConfig
from assistant.messages import Inputs, Sentence
from assistant.units import MPH_MPS
from sim.boat import Leg
from sim.scenario import Scenario, read_scenario

DEG = math.pi / 180.0


def two_way(
    heading_deg: float, speeds_mph: Sequence[float], seconds: float, back: bool = True
) -> tuple[Leg, ...]:
    """Out and back at each speed, half circles between."""
    legs = []
    for speed in speeds_mph:
        for turned in (0.0, 180.0) if back else (0.0,):
            legs.append(Leg(seconds, speed * MPH_MPS, ((heading_deg + turned) % 360.0) * DEG))
            legs.append(Leg(60.0, speed * MPH_MPS, None, 3.0 * DEG))
    return tuple(legs)


def circles(speed_mph: float, rate_deg_s: float) -> tuple[Leg, ...]:
    """One circle to starboard and one to port, a short straight leg before each."""
    whole = 360.0 / rate_deg_s
    return (
        Leg(30.0, speed_mph * MPH_MPS, 0.0),
        Leg(whole, speed_mph * MPH_MPS, None, rate_deg_s * DEG),
        Leg(20.0, speed_mph * MPH_MPS, 0.0),
        Leg(whole, speed_mph * MPH_MPS, None, -rate_deg_s * DEG),
    )


def scenario(legs: Sequence[Leg], drift_mps: float, set_deg: float, **instruments: float) -> Scenario:
    """A day with these legs, this current of the surface layer and these instruments."""
    plain = read_scenario("straight")
    lake = replace(plain.lake, surface_drift_mps=drift_mps, surface_set_deg=set_deg)
    return replace(plain, legs=tuple(legs), lake=lake, instruments={**plain.instruments, **instruments})


def gathered(day: Scenario, seed: int, config: BoatConfig = BOAT) -> Gathered:
    """What a calibration would have to go by after that day."""
    state, run = locate.initial(config), Gathered()
    for second in seconds_of(day, seed, sum(leg.duration_s for leg in day.legs)):
        sentences = tuple(Sentence(t_s, SOURCE, text) for t_s, text in second.sentences)
        state = locate.advance(state, Inputs(second.t_s, sentences))
        run.take(state)
    return run


def weaving(speed_mph: float, turns: int, degrees: float, rate_deg_s: float) -> tuple[Leg, ...]:
    """Turns to either side in turn, straight for 25 s before, between and after."""
    legs = [Leg(60.0, speed_mph * MPH_MPS, 0.0)]
    heading = 0.0
    for k in range(turns):
        side = 1.0 if k % 2 == 0 else -1.0
        heading += side * degrees
        legs.append(Leg(degrees / rate_deg_s, speed_mph * MPH_MPS, None, side * rate_deg_s * DEG))
        legs.append(Leg(25.0, speed_mph * MPH_MPS, (heading % 360.0) * DEG))
    return tuple(legs)
