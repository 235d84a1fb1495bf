"""How fast the lines march, in CPU seconds of one core: the kernel itself, called once for a whole course."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from time import process_time

import numpy as np
from numpy.typing import NDArray

from assistant import config
from assistant.ahead.forecast import forecast
from assistant.ahead.manoeuvre import planned
from assistant.configured import Config, Rod
from assistant.lines import ensemble as band
from assistant.lines import spread
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, Fleet, by_group, settled
from assistant.lines.gear import RodSetting, towed
from assistant.lines.kernel import march
from assistant.lines.motion import Motion, tips
from assistant.messages import Estimate

Array = NDArray[np.float64]

SPEED_MPS = 1.07  # 2.4 mph
TURN_RADPS = math.radians(6.0)
FROM_S, TURN_S, RUN_S = (
    5.0,
    15.0,
    60.0,
)  # straight, 90 degrees, straight again: the lines settle for 40 s
BEST_OF = 5
TWELVE = 12
ENSEMBLE_S = 90.0
LONGER = 1.2  # line out of a rod that is there a second time


@dataclass(frozen=True, slots=True)
class Course:
    """Rod tips on a grid of steps: (K+1, 6, n), and the step [s]."""

    tips: Array
    step_s: float

    def seconds(self) -> float:
        """Simulated time [s]."""
        return (len(self.tips) - 1) * self.step_s


def turn_motions(step_s: float, run_s: float = RUN_S, from_s: float = FROM_S) -> list[Motion]:
    """The boat's motion at each step of a straight tow with a 90 degree turn to starboard from `from_s` on."""
    motions = [Motion(0.0, 0.0, SPEED_MPS, 0.0)]
    for k in range(1, round(run_s / step_s) + 1):
        turned = TURN_RADPS * min(max(k * step_s - from_s, 0.0), TURN_S)
        motions.append(motions[-1].follow(SPEED_MPS, turned, step_s))
    return motions


def turn_course(places: Array, step_s: float, run_s: float = RUN_S, from_s: float = FROM_S) -> Course:
    """Rod tips at places (n, 3) forward, starboard, height [m] through the turn."""
    rows = [
        tips(m.north_m, m.east_m, m.speed_mps, m.heading_rad, m.turn_radps, places)
        for m in turn_motions(step_s, run_s, from_s)
    ]
    return Course(np.array(rows), step_s)


def twelve_rods(loaded: Config) -> tuple[Rod, ...]:
    """The configured rods, and again with more line out, until there are twelve."""
    more = (replace(r, name=f"{r.name}+", line_out_m=LONGER * r.line_out_m) for r in loaded.rods)
    return (*loaded.rods, *more)[:TWELVE]


def water_of(loaded: Config) -> Water:
    """Still water of the configured kind."""
    return Water(loaded.boat.water_density_kg_m3, loaded.boat.gravity_m_s2)


def chains_of(loaded: Config, water: Water) -> list[Towed]:
    """What every rod tows as rigged."""
    return [
        towed(loaded, r, RodSetting(r.line_out_m * r.counter.value, None, False), water) for r in loaded.rods
    ]


def places_of(rods: Sequence[Rod]) -> Array:
    """(n, 3) rod tips forward, starboard, height [m]."""
    return np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in rods])


def march_s(fleet: Fleet, course: Course, profile: Array, tolerance_m: float) -> float:
    """CPU time of marching a fleet through a whole course, one call of the kernel for each group of lines [s].

    Raises:
        RuntimeError: a line did not converge, so that the time means nothing.
    """
    works = fleet.works.copy()
    lanes = by_group(course.tips)
    mains = np.repeat(fleet.mains_m[:, None, :], len(course.tips), axis=1)
    start_s = process_time()
    done = [
        march(
            works[g], fleet.cut.total, fleet.has_body[g], fleet.share[g], profile, lanes[g], mains[g],
            course.step_s, True, tolerance_m,
        )
        for g in range(len(works))
    ]  # fmt: skip
    used_s = process_time() - start_s
    if min(done) < 0:
        raise RuntimeError(f"{sum(d < 0 for d in done)} groups of lines did not converge")
    return used_s


def best(measured: Callable[[], float], times: int = BEST_OF) -> float:
    """The least of several measurements after one that warms up."""
    measured()
    return min(measured() for _ in range(times))


def _turn_factor(loaded: Config) -> float:
    water = water_of(loaded)
    course = turn_course(places_of(loaded.rods), spread.STEP_S)
    fleet = fleet_at(chains_of(loaded, water), water, spread.CUT, course)
    used_s = best(lambda: march_s(fleet, course, spread.STILL, spread.TOLERANCE_M))
    return course.seconds() / used_s


def turn_realtime_factor() -> float:
    """Simulated seconds per CPU second of the configured demo spread through a 90 degree turn, at the live settings."""
    return _turn_factor(config.load())


def turn_realtime_factor_12() -> float:
    """The same for twelve lines."""
    loaded = config.load()
    return _turn_factor(replace(loaded, rods=twelve_rods(loaded)))


def ensemble_cpu_s() -> float:
    """CPU time of 32 members (and the nominal) of twelve lines through 90 s with a turn in it [s]."""
    loaded = config.load()
    loaded = replace(loaded, rods=twelve_rods(loaded))
    water, unknown = water_of(loaded), band.unknowns(loaded, 0)
    rods = [RodSetting(r.line_out_m) for r in loaded.rods]
    course = turn_course(np.repeat(places_of(loaded.rods), band.EACH, axis=0), band.STEP_S, ENSEMBLE_S)
    fleet = band.settle(loaded, water, unknown, rods, Motion(0.0, 0.0, SPEED_MPS, 0.0), 0.0).fleet
    return best(lambda: march_s(fleet, course, unknown.profile, band.TOLERANCE_M))


def forecast_cpu_s() -> float:
    """CPU time of one forecast, twelve lines and their 32 members through half a circle and on, 210 s in all [s]."""
    loaded = config.load()
    heading = Estimate(0.0, 0.0, "ok", 0.0, "bench")
    stw = Estimate(SPEED_MPS, 0.04, "ok", 0.0, "bench")
    state = spread.initial(replace(loaded, rods=twelve_rods(loaded)))
    state = spread.advance(state, stw, heading, (), 0.0, True)
    turn = planned(math.pi, math.radians(2.0))

    def once() -> float:
        start_s = process_time()
        forecast(state, turn)
        return process_time() - start_s

    return best(once)


def fleet_at(chains: Sequence[Towed], water: Water, cut: Cut, course: Course) -> Fleet:
    """Lines in their steady shapes at the start of a course."""
    count = len(chains)
    return settled(chains, [water] * count, cut, course.tips[0], spread.STILL, np.zeros((count, 2)))
