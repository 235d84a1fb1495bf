"""All lines of the boat, live: settings and boat motion in, a LineState per rod out. Pure.

A tick is 0.25 s. Every rod's line marches in the fine kernel each tick; the ensemble behind the bands each fourth.
The frame drifts with the surface layer: lines feel speed and heading through the water, not over ground.
Rods keep the order of the config, port to starboard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.lines import ensemble as band
from assistant.lines.chain import Towed, Water
from assistant.lines.conditions import Look, folding
from assistant.lines.gear import RodSetting, has_planer, towed
from assistant.lines.groups import SHORTEST_M, Group, build, live_counts, load_lane, settle_group
from assistant.lines.kernel import march
from assistant.lines.layout import LANES
from assistant.lines.motion import Motion, tips
from assistant.lines.report import banded, curves, dead_line, line_state, worth_of
from assistant.lines.seen import seen_from_boat
from assistant.messages import BoatState, Config, LineSetting, LineState, Rod, RodState

Array = NDArray[np.float64]

STEP_S = 0.25
TOLERANCE_M = 1e-4
BAND_EVERY = 4  # ticks
RUN_MPS = 1.0  # how fast line runs out or in after a new number on the counter (judgement: a spool by hand)
STILL = np.zeros((0, 3))


@dataclass(frozen=True, slots=True)
class RodNow:
    """One rod as it is set: what the counter shows, and how much of it has run out by now."""

    counter_m: float
    out_m: float
    setting: float | None
    tripped: bool
    rod_state: RodState

    def as_rigged(self, factor: float = 1.0) -> RodSetting:
        """For the chain: true line out [m]."""
        return RodSetting(self.out_m * factor, self.setting, self.tripped)


@dataclass(frozen=True, slots=True)
class SpreadState:
    """Everything the lines remember. Groups and ensemble are replaced, never changed in place."""

    config: Config
    water: Water
    unknowns: band.Unknowns
    rods: tuple[RodNow, ...]
    tip_places_m: Array  # (R, 3) forward, starboard, height
    planers: tuple[bool, ...]  # which rods carry one
    tips: Array  # (6, R) rod tips at the last tick
    motion: Motion | None = None
    t_s: float = 0.0
    groups: tuple[Group, ...] = ()
    ensemble: band.Ensemble | None = None
    offsets: tuple[Array, Array] | None = None
    ticks: int = 0
    restart: bool = True  # the next step of the fine lines follows a discontinuity
    restart_band: bool = True
    unconverged: bool = False


def initial(config: Config, seed: int = 0) -> SpreadState:
    """Before the first boat state; `seed` fixes the draws of the bands."""
    rods = tuple(RodNow(r.line_out_m, r.line_out_m, None, False, r.rod_state) for r in config.rods)
    places = np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in config.rods])
    water = Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2)
    planers = tuple(has_planer(config, rod) for rod in config.rods)
    return SpreadState(
        config, water, band.unknowns(config, seed), rods, places, planers, np.zeros((6, len(rods)))
    )


def advance(
    state: SpreadState, boat: BoatState, settings: Sequence[LineSetting], t_s: float, settle: bool
) -> SpreadState:
    """One tick.

    Args:
        settings: operator changes since the last tick; t_s: this tick [s].
        settle: lines settle anew (first tick, or after a gap).
    """
    state = _take_settings(state, settings)
    speed, heading = boat.stw_mps.value, boat.heading_rad.value
    if speed is None or heading is None:
        return replace(state, motion=None, t_s=t_s)
    sigma = boat.stw_mps.sigma or 0.0
    if state.motion is None or settle or not 0.0 < t_s - state.t_s <= 2.0:
        state = _settle(state, Motion(0.0, 0.0, max(speed, 0.0), heading), sigma)
    else:
        state = _march(state, max(speed, 0.0), heading, sigma)
    return replace(state, t_s=t_s)


def report(state: SpreadState, boat: BoatState) -> dict[str, LineState]:
    """Where every line is now, by rod name; dead where speed or heading is unknown."""
    if state.motion is not None:
        return _states(state, boat)
    lost = boat.stw_mps if boat.stw_mps.value is None else boat.heading_rad
    name = "no water speed" if lost is boat.stw_mps else "no heading"
    return {
        r.name: dead_line(state.t_s, r.name, now.rod_state, lost.cause or name) for r, now in _rods(state)
    }


def _rods(state: SpreadState) -> Iterator[tuple[Rod, RodNow]]:
    return zip(state.config.rods, state.rods, strict=True)


def _take_settings(state: SpreadState, settings: Sequence[LineSetting]) -> SpreadState:
    names = [r.name for r in state.config.rods]
    changed: set[int] = set()
    rods = list(state.rods)
    for change in settings:
        if change.rod not in names:
            continue  # an input for a rod that is no longer rigged
        k = names.index(change.rod)
        old = rods[k]
        new = RodNow(
            old.counter_m if change.line_out_m is None else change.line_out_m,
            old.out_m,
            old.setting if change.setting is None else change.setting,
            old.tripped if change.tripped is None else change.tripped,
            old.rod_state if change.rod_state is None else change.rod_state,
        )
        rods[k] = new
        if (new.setting, new.tripped) != (old.setting, old.tripped):
            changed.add(k)
    state = replace(state, rods=tuple(rods))
    return _regear(state, sorted(changed)) if changed and state.groups else state


def _chain(state: SpreadState, k: int) -> Towed:
    now = state.rods[k].as_rigged(state.config.rods[k].counter.value)
    return towed(state.config, state.config.rods[k], now, state.water)


def _regear(state: SpreadState, changed: Sequence[int]) -> SpreadState:
    groups = [g.copy() for g in state.groups]
    for k in changed:
        group, chain = groups[k // LANES], _chain(state, k)
        load_lane(group.view(), group.share, group.main_m, k % LANES, chain, live_counts(chain), state.water)
    state = replace(state, groups=tuple(groups), restart=True, restart_band=True)
    if state.ensemble is not None:
        settings = [now.as_rigged() for now in state.rods]
        fresh = band.regear(state.ensemble, state.config, state.water, settings, changed)
        state = replace(state, ensemble=fresh)
    return state


def _main_lengths(state: SpreadState) -> Array:
    """(R,) main line of every rod [m], tip to first body."""
    return np.array(
        [
            max(
                now.out_m * rod.counter.value + (rod.tip_height_m if rod.counter_zero == "surface" else 0.0),
                SHORTEST_M,
            )
            for rod, now in _rods(state)
        ]
    )


def _lanes(values: Array, first: int) -> Array:
    """LANES columns of `values` from `first` on, the last one repeated."""
    pick = np.minimum(np.arange(first, first + LANES), values.shape[-1] - 1)
    columns: Array = np.ascontiguousarray(values[..., pick])
    return columns


def _tips_of(state: SpreadState, motion: Motion) -> Array:
    n = len(state.rods)
    return tips(
        np.full(n, motion.north_m), np.full(n, motion.east_m), np.full(n, motion.speed_mps),
        motion.heading_rad, motion.turn_radps, state.tip_places_m,
    )  # fmt: skip


def _settle(state: SpreadState, motion: Motion, sigma: float) -> SpreadState:
    rods = tuple(replace(now, out_m=now.counter_m) for now in state.rods)
    tip = _tips_of(state, motion)
    state = replace(state, rods=rods, motion=motion, tips=tip)
    groups = []
    for first in range(0, len(rods), LANES):
        chains = [_chain(state, k) for k in range(first, min(first + LANES, len(rods)))]
        counts = [live_counts(chain) for chain in chains]
        group = build(chains, counts, state.water)
        lanes = _lanes(tip, first)
        settle_group(group, chains, counts, [state.water] * len(chains), lanes[:3], lanes[3:], STILL)
        groups.append(group)
    settings = [now.as_rigged() for now in rods]
    ensemble = band.settle(state.config, state.water, state.unknowns, settings, motion, sigma)
    return replace(
        state, groups=tuple(groups), ensemble=ensemble, offsets=band.offsets(ensemble),
        ticks=0, restart=True, restart_band=True, unconverged=False,
    )  # fmt: skip


def _march(state: SpreadState, speed_mps: float, heading_rad: float, sigma: float) -> SpreadState:
    assert state.motion is not None
    motion = state.motion.follow(speed_mps, heading_rad, STEP_S)
    before, mains = state.tips, _main_lengths(state)
    rods = tuple(_run_line(now) for now in state.rods)
    after = _tips_of(state, motion)
    state = replace(state, motion=motion, tips=after, rods=rods)
    new_mains = _main_lengths(state)
    groups, failed, rescued = [], False, False
    for number, old in enumerate(state.groups):
        group, first = old.copy(), number * LANES
        tip = np.array([_lanes(before, first), _lanes(after, first)])
        main = np.array([_lanes(mains, first), _lanes(new_mains, first)])
        done = march(
            group.work, group.nodes, group.has_body, group.share, STILL,
            tip, main, STEP_S, state.restart, TOLERANCE_M,
        )  # fmt: skip
        failed, rescued = failed or done < 0, rescued or done > 0
        groups.append(group)
    if failed:
        return replace(_settle(state, motion, sigma), unconverged=True)
    state = replace(state, groups=tuple(groups), restart=rescued, ticks=state.ticks + 1)
    return _march_band(state, sigma) if state.ticks % BAND_EVERY == 0 else state


def _run_line(now: RodNow) -> RodNow:
    """Line runs toward the number on the counter."""
    left = now.counter_m - now.out_m
    if left == 0.0:
        return now
    step = max(-RUN_MPS * STEP_S, min(RUN_MPS * STEP_S, left))
    return replace(now, out_m=now.counter_m if abs(left) <= abs(step) else now.out_m + step)


def _march_band(state: SpreadState, sigma: float) -> SpreadState:
    assert state.ensemble is not None and state.motion is not None
    settings = [now.as_rigged() for now in state.rods]
    ensemble, failed, rescued = band.advance(
        state.ensemble, settings, state.config, state.motion, sigma, state.restart_band
    )
    if failed:
        ensemble = band.settle(state.config, state.water, state.unknowns, settings, state.motion, sigma)
    return replace(
        state, ensemble=ensemble, offsets=band.offsets(ensemble),
        restart_band=failed or rescued, unconverged=False,
    )  # fmt: skip


def _states(state: SpreadState, boat: BoatState) -> dict[str, LineState]:
    assert state.motion is not None and state.offsets is not None
    low, high = state.offsets
    worth = worth_of(boat)
    out: dict[str, LineState] = {}
    for number, group in enumerate(state.groups):
        part = slice(number * LANES, min((number + 1) * LANES, len(state.rods)))
        used = part.stop - part.start
        seen = seen_from_boat(group.work[None, :], group.nodes, STILL, state.motion.heading_rad)[:used]
        points = group.positions_m()[:, :, :used]
        shapes = curves(points, state.tip_places_m[part], state.motion)
        folds = folding(points).tolist()
        numbers = banded(seen, low[part], high[part])
        for lane, (rod, now) in enumerate(zip(state.config.rods[part], state.rods[part], strict=True)):
            look = Look(
                folds[lane], now.tripped, state.planers[part.start + lane],
                state.motion.speed_mps, now.out_m, state.unconverged,
            )  # fmt: skip
            out[rod.name] = line_state(
                state.t_s, rod, now.rod_state, worth, look, numbers[lane], shapes[lane]
            )
    return out
