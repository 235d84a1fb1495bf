"""Bands: the whole spread marched again as 32 members that differ in everything not known.

Member 0 of each rod is the nominal line in the same coarse discretisation; a band is the members' quantile minus that
nominal, put around the fine line, so that coarseness cancels. Uncertain: every coefficient of config (shared by all
rods with that line or body, tied to others by what facts.py knows of whole rigs), the counter of each rod, the speed
through the water (its sigma now), and a deep layer that nothing on the surface sees: about none, or about the one that
is configured.
Coarse: 10 pieces a line, steps of 2 s (differences between members settle over tens of seconds).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Board, Coefficient, Config, Rod
from assistant.lines.chain import Towed, Water
from assistant.lines.draws import MEMBERS, at_normal, normal_draws, weibull_quantiles
from assistant.lines.facts import joint
from assistant.lines.fleet import Cut, Fleet, marched, regeared
from assistant.lines.gear import Draw, RodSetting, above_zero_m, counted_m, mains_m, nominal, towed
from assistant.lines.motion import Motion
from assistant.lines.reels import Counters, counters_of
from assistant.lines.seen import seen_from_boat
from assistant.lines.towpoints import Boats, TowPoints, settled_towed, tow_points

Array = NDArray[np.float64]

CUT = Cut(total=10, below=4)
STEP_S = 2.0
TOLERANCE_M = 5e-3
EACH = MEMBERS + 1  # lines per rod


@dataclass(frozen=True, slots=True)
class Unknowns:
    """What every line of the ensemble is drawn with; n = rods x EACH, line by line, member 0 nominal."""

    draws: tuple[Draw, ...]  # (EACH,) one per member, the same for all rods
    counter: Counters  # what each line takes its rod's counter to mean
    speed_z: Array  # (n,) error of the water speed in sigmas
    deep_mps: Array  # (n, 2) deep layer relative to the surface layer, north and east
    points: TowPoints
    fixed_m: Mapping[int, tuple[float, ...]]  # by line, of those with counted parts: see gear.counted_m
    profile: Array  # (M, 3) how the deep layer fades in with depth, for 1 m/s north

    @property
    def rods(self) -> Array:
        """(n, 3) rod tip forward, starboard, height [m]."""
        return self.points.rod_tips_m

    def water(self, line: int, water: Water) -> Water:
        """The water as one line of the ensemble meets it."""
        north, east = self.deep_mps[line]
        rows = tuple((float(z), float(a * north), float(a * east)) for z, a, _ in self.profile)
        return replace(water, profile=rows)


def unknowns(config: Config, seed: int) -> Unknowns:
    """Draw everything once; the same seed draws the same."""
    boat, known = config.boat, joint(config, seed)
    zs: dict[tuple[str, str], Array] = {}

    def member(k: int) -> Draw:
        def draw(kind: str, name: str, coefficient: Coefficient) -> float:
            key = (kind, name)
            if key not in zs:
                zs[key] = known.draws(seed, f"{kind}.{name}")
            return at_normal(coefficient, float(zs[key][k]))

        return draw

    zero = np.zeros(1)
    counter = np.array([np.concatenate([zero, normal_draws(seed, rod.name)]) for rod in config.rods])
    deep = np.stack([normal_draws(seed, "deep north"), normal_draws(seed, "deep east")], axis=1)
    deep = np.concatenate([np.zeros((1, 2)), deep * boat.deep_layer_sigma_mps]) + boat.deep_layer_mps()
    count = len(config.rods)

    def sag(rod: Rod, board: Board, k: int) -> float:
        z = 0.0 if k == 0 else float(normal_draws(seed, f"{rod.name}.sag")[k - 1])
        return at_normal(board.sag_m_per_n, z)

    fixed = [counted_m(rod) for rod in config.rods]
    return Unknowns(
        draws=(nominal, *(member(k) for k in range(MEMBERS))),
        counter=counters_of(config, counter),
        speed_z=np.tile(np.concatenate([zero, normal_draws(seed, "speed")]), count),
        deep_mps=np.tile(deep, (count, 1)),
        points=tow_points(config, CUT, EACH, sag),
        fixed_m={k * EACH + m: parts for k, parts in enumerate(fixed) if parts for m in range(EACH)},
        profile=_fade_in(boat.deep_layer_depth_m, boat.deep_layer_scale_m),
    )


def _fade_in(depth_m: float, scale_m: float) -> Array:
    steps = np.array([-3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0])
    depth = depth_m + scale_m * steps
    share = 0.5 * (1.0 + np.tanh(steps))
    rows = np.column_stack([depth, share, np.zeros_like(share)])[depth > 0.0]
    return np.concatenate([np.zeros((1, 3)), rows])


@dataclass(frozen=True, slots=True)
class Ensemble:
    """All members of all rods: line number = rod * EACH + member."""

    unknowns: Unknowns
    fleet: Fleet
    place_m: Array  # (n, 2) boat's place of each line
    speed_mps: Array  # (n,) boat's speed of each line
    motion: Motion  # at the last step
    sag_m: Array  # (n,) of side boards
    runs: Mapping[int, int]  # by line, of those with counted parts: which part runs
    outs_m: Array | None = None  # (R,) line out on the counters for which mains_m was worked out
    mains_m: Array | None = None  # (n,) length of what runs

    def boats(self) -> Boats:
        """The boat of every line, at the last step."""
        m = self.motion
        return Boats(self.place_m[:, 0], self.place_m[:, 1], self.speed_mps, m.heading_rad, m.turn_radps)


def settle(
    config: Config,
    water: Water,
    unknown: Unknowns,
    settings: Sequence[RodSetting],
    motion: Motion,
    sigma: float,
) -> Ensemble:
    """All members in their steady shapes at the boat's present speed and heading.

    Args:
        settings: per rod; sigma: of the water speed [m/s].
    """
    n = len(config.rods) * EACH
    speed = np.maximum(motion.speed_mps + unknown.speed_z * sigma, 0.0)
    place = np.tile([motion.north_m, motion.east_m], (n, 1))
    boats = Boats(place[:, 0], place[:, 1], speed, motion.heading_rad, 0.0)
    chains = [_chain(config, water, unknown, settings, line) for line in range(n)]
    waters = [unknown.water(line, water) for line in range(n)]
    fleet, sag_m = settled_towed(
        unknown.points, boats, chains, waters, CUT, unknown.profile, unknown.deep_mps
    )
    outs = unknown.counter.outs_m([now.line_out_m for now in settings])
    _, runs = mains_m(unknown.fixed_m, outs + _above_m(config))
    return Ensemble(unknown, fleet, place, speed, motion, sag_m, runs)


def _above_m(config: Config) -> Array:
    """(n,) what of each line hangs above the counter's zero [m]."""
    return np.repeat([above_zero_m(rod) for rod in config.rods], EACH)


def _chain(
    config: Config, water: Water, unknown: Unknowns, settings: Sequence[RodSetting], line: int
) -> Towed:
    rod, member = divmod(line, EACH)
    now = settings[rod]
    now = replace(now, line_out_m=unknown.counter.out_m(line, now.line_out_m))
    return towed(config, config.rods[rod], now, water, unknown.draws[member])


def regear(
    ensemble: Ensemble, config: Config, water: Water, settings: Sequence[RodSetting], rods: Sequence[int]
) -> Ensemble:
    """The same lines with what is now set on these rods (planer setting, trip); positions stay."""
    lines = [rod * EACH + member for rod in rods for member in range(EACH)]
    return _regear_lines(ensemble, config, water, settings, lines)


def _regear_lines(
    ensemble: Ensemble, config: Config, water: Water, settings: Sequence[RodSetting], lines: Sequence[int]
) -> Ensemble:
    chains = {line: _chain(config, water, ensemble.unknowns, settings, line) for line in lines}
    return replace(ensemble, fleet=regeared(ensemble.fleet, chains, water))


def rerun(
    ensemble: Ensemble, config: Config, water: Water, settings: Sequence[RodSetting]
) -> tuple[Ensemble, bool]:
    """The same lines where another part begins to run (a backing wound up, say), and whether there are any."""
    fixed = ensemble.unknowns.fixed_m
    if not fixed:
        return ensemble, False
    outs = ensemble.unknowns.counter.outs_m([now.line_out_m for now in settings])
    _, runs = mains_m(fixed, outs + _above_m(config))
    other = [line for line, part in runs.items() if part != ensemble.runs[line]]
    return _regear_lines(ensemble, config, water, settings, other), bool(other)


def advance(
    ensemble: Ensemble, outs_m: Array, above_m: Array, motion: Motion, sigma: float, restart: bool
) -> tuple[Ensemble, bool, bool]:
    """One step of STEP_S to the boat's present motion.

    Args:
        outs_m, above_m: (R,) line out on the counter, and what hangs above the counter's zero [m].
    Returns:
        The ensemble, whether a group failed, whether one was rescued.
    """
    unknown, old = ensemble.unknowns, ensemble.motion
    speed = np.maximum(motion.speed_mps + unknown.speed_z * sigma, 0.0)
    # every member makes the boat's way, and some more or less as its speed differs
    way = np.array([motion.north_m - old.north_m, motion.east_m - old.east_m])
    extra = 0.5 * (speed + ensemble.speed_mps - motion.speed_mps - old.speed_mps)
    mid = old.heading_rad + 0.5 * math.remainder(motion.heading_rad - old.heading_rad, 2.0 * math.pi)
    along = np.array([math.cos(mid), math.sin(mid)])
    place = ensemble.place_m + way + extra[:, None] * STEP_S * along
    boats = Boats(place[:, 0], place[:, 1], speed, motion.heading_rad, motion.turn_radps)
    sag_m = unknown.points.sagged(ensemble.sag_m, ensemble.fleet, STEP_S)
    tip = unknown.points.at(boats, sag_m, (sag_m - ensemble.sag_m) / STEP_S, ensemble.fleet, STEP_S)
    mains, runs = ensemble.mains_m, ensemble.runs
    if mains is None or ensemble.outs_m is None or not np.array_equal(outs_m, ensemble.outs_m):
        mains, runs = mains_m(unknown.fixed_m, unknown.counter.outs_m(outs_m) + np.repeat(above_m, EACH))
    fleet, failed, rescued = marched(
        ensemble.fleet, tip, mains, unknown.profile, STEP_S, restart, TOLERANCE_M
    )
    return Ensemble(unknown, fleet, place, speed, motion, sag_m, runs, outs_m, mains), failed, rescued


def members(ensemble: Ensemble) -> Array:
    """(R, EACH, 5) every line of the ensemble as seen from the boat, ordered as LINE_QUANTITIES, nominal first."""
    fleet = ensemble.fleet
    seen = seen_from_boat(
        fleet.works, fleet.cut.total, ensemble.unknowns.profile, ensemble.motion.heading_rad
    )
    seen = seen[: len(ensemble.place_m)]
    if not ensemble.unknowns.points.plain:
        seen[:, 1:3] += ensemble.unknowns.points.beyond_tips(ensemble.boats(), fleet)
    return seen.reshape(-1, EACH, seen.shape[1])


def offsets(table: Array) -> tuple[Array, Array]:
    """Low and high relative to the nominal line, (R, 5) each, from `members`."""
    low, high = weibull_quantiles(table[:, 1:, :].transpose(0, 2, 1))
    return low - table[:, 0, :], high - table[:, 0, :]
