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
from statistics import NormalDist

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
OFFSET_SIGMA_DEG = 1.6  # with the deviation 2.0 in all, what estimate/heading.py says remains
DEVIATION_SIGMA_DEG = 1.7
BOAT = BoatConfig("marigold", "Marigold")
SOURCE = "udp:10110"
WATER = Water(999.0, 9.80665, np.zeros((1, 3)))

FAR = 2.5, 3.2
"""Sigma: beyond the first, with all else, values may be wrong by more than 2.5 half-widths of the band; beyond the
second, which is as much, they are.
"""
EVERY = 16  # days, of which one is beyond each
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


Normals = tuple[float, float, float]
"""Standard normals of what a day draws once: factor, offset, deviation."""


def spread_normals(seed: int, n: int, within: float = math.inf) -> list[Normals]:
    """Normals for n days that fill the distribution, or its part up to `within` sigma, evenly: a Latin hypercube.
    Drawn each by itself, the share of errors within 1 sigma of 24 days scatters by 7 %."""
    rng, normal = np.random.default_rng([seed, 43]), NormalDist()
    outside = normal.cdf(-within)
    columns = [outside + (1.0 - 2.0 * outside) * (rng.permutation(n) + rng.random(n)) / n for _ in range(3)]
    return [
        (normal.inv_cdf(a), normal.inv_cdf(b), normal.inv_cdf(c)) for a, b, c in zip(*columns, strict=True)
    ]


def weighted_normals(seed: int, n: int) -> list[tuple[Normals, float]]:
    """The same with weights, in strata (importance sampling): in every sixteenth day one of the three is between the
    two bounds of FAR off, in another one beyond them, and it weighs as little as such days are rare; drawn by itself,
    one such day in fifty would decide a share of a thousandth. Each stratum fills its own distribution evenly, too."""
    rng, normal = np.random.default_rng([seed, 44]), NormalDist()
    days = [(one, 1.0) for one in spread_normals(seed, n, FAR[0])]
    bounds = [2.0 * normal.cdf(-far) for far in (*FAR, math.inf)]  # chance of one further off than this
    near = (1.0 - bounds[0]) ** 3
    strata = [(EVERY // 4 + EVERY // 2 * k, *bounds[k : k + 2]) for k in range(len(FAR))]
    members = [[k for k in range(n) if k % EVERY == first] for first, _, _ in strata]
    others = n - sum(map(len, members))
    for (_, rare, rarer), chosen in zip(strata, members, strict=True):
        for place, (k, part) in enumerate(zip(chosen, rng.permutation(len(chosen)), strict=True)):
            share = (part + float(rng.random())) / len(chosen)
            far = list(days[k][0])
            off = -normal.inv_cdf(0.5 * (rare - share * (rare - rarer)))
            far[(place + seed) % 3] = float(rng.choice([-1.0, 1.0])) * off
            days[k] = ((far[0], far[1], far[2]), 3.0 * (rare - rarer) / near * others / len(chosen))
    return days


def drawn_day(seed: int, seconds: float, normals: Normals | None = None) -> Scenario:
    """A clean day with this seed's legs, current and instruments; `normals`: see `spread_normals`."""
    rng = np.random.default_rng([seed, 41])
    plain = read_scenario("straight")
    own = tuple(float(rng.standard_normal()) for _ in range(3))
    factor, offset, deviation = normals or own
    instruments = {
        **plain.instruments,
        "log_factor": 1.0 + FACTOR_SIGMA * factor,
        "compass_offset_deg": OFFSET_SIGMA_DEG * offset,
        "compass_deviation_deg": abs(DEVIATION_SIGMA_DEG * deviation),
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
