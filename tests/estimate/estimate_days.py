"""Invented days for the tests: a truth, sensors with honest faults of their own, and the readings they give.

Shares nothing with the filters: truth is drawn first (legs, turns, speed changes, a slowly veering current),
then each sensor adds its per-day error (deviation, factor), its noise, waves and rounding. A day is a list of
Ticks on the 4 Hz grid; `run` sends it through gate and estimator as the flow does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from assistant.configured import BoatConfig
from assistant.estimate import boat
from assistant.messages import BoatState, Reading
from assistant.sensing import quality
from assistant.units import KNOT_MPS, MPH_MPS, wrap_tau

DEG = math.pi / 180.0
STEP_S = 0.25
CONFIG = BoatConfig("marigold", "Marigold")
VARIATION = -9.0 * DEG


@dataclass(frozen=True)
class Sea:
    """What kind of day; sigmas are those of the per-day errors and of the noise of single readings."""

    minutes: float = 3.0
    deviation_sigma: float = 2.0 * DEG
    factor_sigma: float = 0.03
    compass_noise: float = 1.0 * DEG
    log_noise_mps: float = 0.03
    gps_sigma_mps: float = 0.05  # per component, with a memory of 8 s
    surge_mps: float = 0.0  # amplitude of wave surge seen by the log
    current_mps: float | None = None  # None: drawn
    current: Callable[[float], tuple[float, float]] | None = None  # (speed, direction toward) of t_s, instead
    stw: Callable[[float], float] | None = None  # profiles of t_s; None: drawn
    heading: Callable[[float], float] | None = None


@dataclass(frozen=True)
class Truth:
    t_s: float
    stw_mps: float
    heading_rad: float
    north_mps: float  # of the current
    east_mps: float
    sog_mps: float
    cog_rad: float
    depth_m: float
    temp_c: float


@dataclass(frozen=True)
class Tick:
    truth: Truth
    readings: tuple[Reading, ...]


def legs(rng: np.random.Generator, seconds: float) -> Callable[[float], float]:
    """Heading [rad] of t_s: straight legs of 30-90 s and turns of 20-120 degrees at 0.3-5 deg/s."""
    times, values = [0.0], [rng.uniform(0.0, math.tau)]
    while times[-1] < seconds:
        times.append(times[-1] + rng.uniform(30.0, 90.0))
        values.append(values[-1])
        angle = rng.choice([-1.0, 1.0]) * rng.uniform(20.0, 120.0) * DEG
        times.append(times[-1] + abs(angle) / (math.exp(rng.uniform(math.log(0.3), math.log(5.0))) * DEG))
        values.append(values[-1] + angle)
    return lambda t_s: float(np.interp(t_s, times, values))


def paces(rng: np.random.Generator, seconds: float) -> Callable[[float], float]:
    """Speed [m/s] of t_s: 1.8-2.8 mph, changed every 60-120 s within 4 s."""
    times, values = [0.0], [rng.uniform(1.8, 2.8) * MPH_MPS]
    while times[-1] < seconds:
        times.append(times[-1] + rng.uniform(60.0, 120.0))
        values.append(values[-1])
        times.append(times[-1] + 4.0)
        values.append(rng.uniform(1.8, 2.8) * MPH_MPS)
    return lambda t_s: float(np.interp(t_s, times, values))


def day(seed: int, sea: Sea = Sea()) -> list[Tick]:
    """A clean day: RMC, VHW, HDG with variation, DPT with offset, MTW, each once a second (HDG twice)."""
    rng = np.random.default_rng(seed)
    seconds = 60.0 * sea.minutes
    stw_of = sea.stw or paces(rng, seconds)
    heading_of = sea.heading or legs(rng, seconds)
    deviation = rng.normal(0.0, sea.deviation_sigma)
    factor = 1.0 + rng.normal(0.0, sea.factor_sigma)
    current = rng.uniform(0.05, 0.4) if sea.current_mps is None else sea.current_mps
    toward = rng.uniform(0.0, math.tau)
    gps = rng.normal(0.0, 1.0, 2) * sea.gps_sigma_mps
    keep = math.exp(-STEP_S / 8.0)
    ticks = []
    for k in range(1, round(seconds / STEP_S) + 1):
        t_s = k * STEP_S
        gps = keep * gps + rng.normal(0.0, 1.0, 2) * sea.gps_sigma_mps * math.sqrt(1.0 - keep * keep)
        stw, heading = stw_of(t_s), wrap_tau(heading_of(t_s))
        set_ = toward + 10.0 * DEG * math.sin(t_s / 300.0)
        drift, set_ = (current, set_) if sea.current is None else sea.current(t_s)
        cn, ce = drift * math.cos(set_), drift * math.sin(set_)
        north, east = stw * math.cos(heading) + cn, stw * math.sin(heading) + ce
        truth = Truth(
            t_s, stw, heading, cn, ce, math.hypot(north, east), wrap_tau(math.atan2(east, north)), 35.0, 18.0
        )
        shown_n, shown_e = north + gps[0], east + gps[1]
        readings: list[Reading] = []
        noise = rng.normal(0.0, 1.0, 4)
        if k % 2 == 1:
            compass = round((heading + deviation + noise[0] * sea.compass_noise - VARIATION) / DEG, 1) * DEG
            readings += [
                Reading(t_s - 0.2, "heading_magnetic_rad", wrap_tau(compass), "sim/HDG"),
                Reading(t_s - 0.2, "variation_rad", VARIATION, "sim/HDG"),
            ]
        if k % 4 == 0:
            sog = round(math.hypot(shown_n, shown_e) / KNOT_MPS, 2) * KNOT_MPS
            readings += [
                Reading(t_s - 0.1, "lat_deg", 45.0 + north * t_s / 111e3, "sim/RMC"),
                Reading(t_s - 0.1, "lon_deg", -30.0 + east * t_s / 78e3, "sim/RMC"),
                Reading(t_s - 0.1, "sog_mps", sog, "sim/RMC"),
                Reading(t_s - 0.1, "cog_rad", wrap_tau(math.atan2(shown_e, shown_n)), "sim/RMC"),
            ]
        if k % 4 == 2:
            surge = sea.surge_mps * math.sin(math.tau * t_s / 3.1)
            log = max(0.0, stw * factor + surge + noise[1] * sea.log_noise_mps)
            readings.append(Reading(t_s - 0.1, "stw_mps", round(log / KNOT_MPS, 1) * KNOT_MPS, "sim/VHW"))
        if k % 4 == 3:
            readings += [
                Reading(t_s - 0.1, "depth_below_transducer_m", 34.7 + 0.05 * noise[2], "sim/DPT"),
                Reading(t_s - 0.1, "transducer_offset_m", 0.3, "sim/DPT"),
                Reading(t_s - 0.1, "water_temp_c", 18.0 + 0.05 * noise[3], "sim/MTW"),
            ]
        ticks.append(Tick(truth, tuple(readings)))
    return ticks


def edited(ticks: Iterable[Tick], change: Callable[[Reading], Reading | None]) -> list[Tick]:
    """The day with each reading changed, or dropped where `change` gives None."""
    return [Tick(tick.truth, tuple(r for r in map(change, tick.readings) if r is not None)) for tick in ticks]


def without(ticks: Iterable[Tick], sentence: str, from_s: float = 0.0, to_s: float = math.inf) -> list[Tick]:
    """The day with one sentence silent from from_s to to_s."""
    return edited(ticks, lambda r: None if r.source.endswith(sentence) and from_s < r.t_s <= to_s else r)


def altered(ticks: Iterable[Tick], quantity: str, value: Callable[[float, float], float]) -> list[Tick]:
    """The day with one quantity's readings replaced by value(t_s, reading)."""
    return edited(ticks, lambda r: replace(r, value=value(r.t_s, r.value)) if r.quantity == quantity else r)


def run(ticks: Iterable[Tick], config: BoatConfig = CONFIG) -> list[BoatState]:
    """All boat states of a day."""
    gates, state, out = quality.GateState(), boat.initial(config), []
    for tick in ticks:
        accepted = []
        for reading in tick.readings:
            gates, good, _ = quality.gate(gates, reading)
            if good is not None:
                accepted.append(good)
        state, shown = boat.update(state, accepted, tick.truth.t_s)
        out.append(shown)
    return out


def angle_error(shown_rad: float, true_rad: float) -> float:
    """Signed difference of two angles [rad]."""
    return (shown_rad - true_rad + math.pi) % math.tau - math.pi
