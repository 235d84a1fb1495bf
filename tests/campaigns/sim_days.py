"""Drawn days of the simulator for the campaigns of the estimate: legs, current, instruments that err as real ones.

The lake, the boat and the sentences are sim/'s; nothing of the estimate is used to make them. Each day draws what
no averaging removes: the speed log's factor, the compass's offset and deviation, a receiver's slow error. Their
sizes are common practice for instruments that were calibrated once, no source.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

if __package__ in (None, ""):  # as a script: the repository is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant import locate
from assistant.configured import BoatConfig
from assistant.locate import STEP_S
from assistant.messages import BoatState, Inputs, Sentence
from assistant.units import MPH_MPS, wrap_tau
from sim.boat import Leg
from sim.chain import Water
from sim.faults import Fault
from sim.feed import Feed
from sim.scenario import Scenario, read_scenario
from sim.world import World

FACTOR_SIGMA = 0.03
OFFSET_SIGMA_DEG = 1.5
DEVIATION_SIGMA_DEG = 1.5
BOAT = BoatConfig("marigold", "Marigold")
SOURCE = "udp:10110"
WATER = Water(999.0, 9.80665, np.zeros((1, 3)))

WAVE = 12  # frames of 0.25 s: the simulator's waves come every 3 s

Truth = Mapping[str, float]


@dataclass(frozen=True)
class Second:
    """One instant of a day: t_s, what arrived since the one before (arrival time, text), and what is true."""

    t_s: float
    sentences: tuple[tuple[float, str], ...]
    truth: Truth


def drawn_legs(rng: np.random.Generator, seconds: float) -> tuple[Leg, ...]:
    """Straight legs of 40-150 s at 1.7-2.8 mph, turns of 20-180 degrees at 0.5-4 deg/s between them."""
    legs, heading, total = [], float(rng.uniform(0.0, math.tau)), 0.0
    while total < seconds:
        speed = float(rng.uniform(1.7, 2.8)) * MPH_MPS
        legs.append(Leg(float(rng.uniform(40.0, 150.0)), speed, heading))
        angle = float(rng.choice([-1.0, 1.0]) * np.radians(rng.uniform(20.0, 180.0)))
        rate = math.copysign(math.radians(float(np.exp(rng.uniform(np.log(0.5), np.log(4.0))))), angle)
        legs.append(Leg(angle / rate, speed, None, rate))
        heading = wrap_tau(heading + angle)
        total += legs[-1].duration_s + legs[-2].duration_s
    return tuple(legs)


def drawn_day(seed: int, seconds: float) -> Scenario:
    """A clean day with this seed's legs, current and instruments."""
    rng = np.random.default_rng([seed, 41])
    plain = read_scenario("straight")
    instruments = {
        **plain.instruments,
        "log_factor": 1.0 + FACTOR_SIGMA * float(rng.standard_normal()),
        "compass_offset_deg": OFFSET_SIGMA_DEG * float(rng.standard_normal()),
        "compass_deviation_deg": abs(DEVIATION_SIGMA_DEG * float(rng.standard_normal())),
        "compass_sigma_deg": float(rng.uniform(0.3, 1.2)),
        "log_sigma_mps": float(rng.uniform(0.01, 0.05)),
        "gps_velocity_sigma_mps": float(rng.uniform(0.03, 0.06)),
    }
    lake = replace(
        plain.lake,
        surface_drift_mps=float(rng.uniform(0.0, 0.35)),
        surface_set_deg=float(rng.uniform(0.0, 360.0)),
    )
    handling = replace(plain.handling, wave_surge_mps=float(rng.uniform(0.0, 0.15)))
    return replace(
        plain, legs=drawn_legs(rng, seconds), instruments=instruments, lake=lake, handling=handling
    )


def seconds_of(day: Scenario, seed: int, seconds: float) -> Iterator[Second]:
    """The day, 4 instants a second; the truth is that of the instant, a sentence carries when it left."""
    world = World(day, [], WATER, seed)
    feed = Feed(day, world, seed, truth=False)
    ahead: list[tuple[float, str]] = []
    tick = 1
    for out in feed.run(seconds):
        while out.t_s > tick * STEP_S + 1e-9:  # the world stands at most one boat step further on
            yield Second(tick * STEP_S, tuple(ahead), world.boat_quantities())
            ahead, tick = [], tick + 1
        ahead.append((out.t_s, out.text))


def with_faults(day: Scenario, faults: Iterable[Fault]) -> Scenario:
    """The day with faults switched on."""
    return replace(day, faults=tuple(faults))


def shown_of(
    day: Sequence[Second] | Iterator[Second], config: BoatConfig = BOAT
) -> Iterator[tuple[Second, BoatState]]:
    """What the flow's first half says of each instant."""
    state = locate.initial(config)
    for second in day:
        sentences = tuple(Sentence(t_s, SOURCE, text) for t_s, text in second.sentences)
        state, instant = locate.located(state, Inputs(second.t_s, sentences), wanted=True)
        assert instant.boat is not None
        yield second, instant.boat


def angle_off(shown_rad: float, true_rad: float) -> float:
    """Signed difference of two angles [rad]."""
    return (shown_rad - true_rad + math.pi) % math.tau - math.pi


def wave_averaged(frames: list[tuple[Second, BoatState]]) -> list[tuple[Second, BoatState, dict[str, float]]]:
    """Frames with their truth, its speed through the water averaged over one wave around the instant."""
    speeds = np.array([second.truth["stw_mps"] for second, _ in frames])
    smooth = np.convolve(speeds, np.ones(WAVE) / WAVE, mode="same")
    inside = range(WAVE, len(frames) - WAVE)
    return [(*frames[k], {**frames[k][0].truth, "stw_mps": float(smooth[k])}) for k in inside]
