"""All lines of the boat, live: settings and boat motion in, a LineState per rod out. Pure.

A tick is 0.25 s. Every rod's line marches in the fine kernel each tick; the ensemble behind the bands each eighth.
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
from assistant.lines.fleet import Cut, Fleet, marched, regeared, settled
from assistant.lines.gear import RodSetting, has_planer, towed
from assistant.lines.limits import Suspects, suspects
from assistant.lines.motion import Motion, tips
from assistant.lines.report import banded, curves, dead_line, line_state, worth_of
from assistant.lines.seen import seen_from_boat
from assistant.messages import BoatState, Config, Estimate, LineSetting, LineState, Rod, RodState

Array = NDArray[np.float64]

STEP_S = 0.25
CUT = Cut(total=24, below=4)
TOLERANCE_M = 1e-4
BAND_EVERY = round(band.STEP_S / STEP_S)  # ticks
LIMITS_EVERY = 4 * BAND_EVERY
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
class Rigged:
    """What stays: the configured rods as arrays, the water, what is not known."""

    config: Config
    water: Water
    unknowns: band.Unknowns
    tip_places_m: Array  # (R, 3) forward, starboard, height
    above_m: Array  # (R,) what of the main line hangs above the counter's zero
    counter: Array  # (R,) true line out / counter
    planers: tuple[bool, ...]  # which rods carry one
    suspects: Suspects


@dataclass(frozen=True, slots=True)
class Bands:
    """What the ensemble says: (R, 5) low and high relative to the value, and per rod what widens each most."""

    low: Array
    high: Array
    limits: list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class SpreadState:
    """Everything the lines remember. Fleet and ensemble are replaced, never changed in place."""

    rigged: Rigged
    rods: tuple[RodNow, ...]
    t_s: float = 0.0
    motion: Motion | None = None
    fleet: Fleet | None = None
    ensemble: band.Ensemble | None = None
    bands: Bands | None = None
    ticks: int = 0
    restart: bool = True  # the next step of the fine lines follows a discontinuity
    restart_band: bool = True
    unconverged: bool = False


def initial(config: Config, seed: int = 0) -> SpreadState:
    """Before the first boat state; `seed` fixes the draws of the bands."""
    rods = config.rods
    rigged = Rigged(
        config,
        Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2),
        band.unknowns(config, seed),
        np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in rods]),
        np.array([r.tip_height_m if r.counter_zero == "surface" else 0.0 for r in rods]),
        np.array([r.counter.value for r in rods]),
        tuple(has_planer(config, rod) for rod in rods),
        suspects(config, seed),
    )
    now = tuple(RodNow(r.line_out_m, r.line_out_m, None, False, r.rod_state) for r in rods)
    return SpreadState(rigged, now)


def advance(
    state: SpreadState,
    stw: Estimate,
    course: Estimate,
    settings: Sequence[LineSetting],
    t_s: float,
    settle: bool,
) -> SpreadState:
    """One tick.

    Args:
        stw: speed through the water [m/s]; course: heading [rad].
        settings: operator changes since the last tick; t_s: this tick [s].
        settle: lines settle anew (first tick, or after a gap).
    """
    state = _take_settings(state, settings)
    if stw.value is None or course.value is None:
        return replace(state, motion=None, t_s=t_s)
    speed, heading, sigma = max(stw.value, 0.0), course.value, stw.sigma or 0.0
    if state.motion is None or settle or not 0.0 < t_s - state.t_s <= 2.0:
        return _settle(state, Motion(0.0, 0.0, speed, heading), sigma, t_s)
    motion = state.motion.follow(speed, heading, STEP_S)
    return _march(state, motion, sigma, t_s)


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
    return zip(state.rigged.config.rods, state.rods, strict=True)


def _take_settings(state: SpreadState, settings: Sequence[LineSetting]) -> SpreadState:
    names = [r.name for r in state.rigged.config.rods]
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
    return _regear(state, sorted(changed)) if changed and state.fleet is not None else state


def _chain(state: SpreadState, k: int) -> Towed:
    now = state.rods[k].as_rigged(float(state.rigged.counter[k]))
    return towed(state.rigged.config, state.rigged.config.rods[k], now, state.rigged.water)


def _settings(state: SpreadState) -> list[RodSetting]:
    return [now.as_rigged() for now in state.rods]


def _regear(state: SpreadState, changed: Sequence[int]) -> SpreadState:
    assert state.fleet is not None and state.ensemble is not None
    fleet = regeared(state.fleet, {k: _chain(state, k) for k in changed}, state.rigged.water)
    ensemble = band.regear(state.ensemble, state.rigged.config, state.rigged.water, _settings(state), changed)
    return replace(state, fleet=fleet, ensemble=ensemble, restart=True, restart_band=True)


def _tips_of(rigged: Rigged, motion: Motion) -> Array:
    """(6, R) rod tips."""
    return tips(
        motion.north_m, motion.east_m, motion.speed_mps,
        motion.heading_rad, motion.turn_radps, rigged.tip_places_m,
    )  # fmt: skip


def _settle(state: SpreadState, motion: Motion, sigma: float, t_s: float) -> SpreadState:
    rigged = state.rigged
    state = replace(state, rods=tuple(replace(now, out_m=now.counter_m) for now in state.rods))
    count = len(state.rods)
    chains = [_chain(state, k) for k in range(count)]
    tip = _tips_of(rigged, motion)
    fleet = settled(chains, [rigged.water] * count, CUT, tip, STILL, np.zeros((count, 2)))
    ensemble = band.settle(rigged.config, rigged.water, rigged.unknowns, _settings(state), motion, sigma)
    return SpreadState(rigged, state.rods, t_s, motion, fleet, ensemble, _bands(rigged, ensemble, None))


def _march(state: SpreadState, motion: Motion, sigma: float, t_s: float) -> SpreadState:
    assert state.fleet is not None
    rigged = state.rigged
    rods = tuple(_run_line(now) for now in state.rods)
    outs = np.array([now.out_m for now in rods])
    mains = outs * rigged.counter + rigged.above_m
    fleet, failed, rescued = marched(
        state.fleet, _tips_of(rigged, motion), mains, STILL, STEP_S, state.restart, TOLERANCE_M
    )
    if failed:
        return replace(_settle(state, motion, sigma, t_s), unconverged=True)
    state = replace(
        state, rods=rods, t_s=t_s, motion=motion, fleet=fleet, ticks=state.ticks + 1, restart=rescued
    )
    return _march_band(state, outs, motion, sigma) if state.ticks % BAND_EVERY == 0 else state


def _bands(rigged: Rigged, ensemble: band.Ensemble, limits: list[dict[str, str]] | None) -> Bands:
    table = band.members(ensemble)
    if limits is None:
        limits = rigged.suspects.worst(table[:, 1:, :])
    return Bands(*band.offsets(table), limits)


def _run_line(now: RodNow) -> RodNow:
    """Line runs toward the number on the counter."""
    left = now.counter_m - now.out_m
    if left == 0.0:
        return now
    step = max(-RUN_MPS * STEP_S, min(RUN_MPS * STEP_S, left))
    return replace(now, out_m=now.counter_m if abs(left) <= abs(step) else now.out_m + step)


def _march_band(state: SpreadState, outs_m: Array, motion: Motion, sigma: float) -> SpreadState:
    assert state.ensemble is not None
    rigged = state.rigged
    ensemble, failed, rescued = band.advance(
        state.ensemble, outs_m, rigged.above_m, motion, sigma, state.restart_band
    )
    if failed:
        ensemble = band.settle(rigged.config, rigged.water, rigged.unknowns, _settings(state), motion, sigma)
    known = state.bands.limits if state.bands is not None and state.ticks % LIMITS_EVERY else None
    return replace(
        state, ensemble=ensemble, bands=_bands(rigged, ensemble, known),
        restart_band=failed or rescued, unconverged=False,
    )  # fmt: skip


def _states(state: SpreadState, boat: BoatState) -> dict[str, LineState]:
    assert state.motion is not None and state.bands is not None and state.fleet is not None
    worth, fleet = worth_of(boat), state.fleet
    count = len(state.rods)
    seen = seen_from_boat(fleet.works, fleet.cut.total, STILL, state.motion.heading_rad)[:count]
    points = fleet.positions_m()[:, :, :count]
    shapes = curves(points, state.rigged.tip_places_m, state.motion)
    folds = folding(points).tolist()
    numbers = banded(seen, state.bands.low, state.bands.high)
    out: dict[str, LineState] = {}
    for k, (rod, now) in enumerate(_rods(state)):
        look = Look(
            folds[k],
            now.tripped,
            state.rigged.planers[k],
            state.motion.speed_mps,
            now.out_m,
            state.unconverged,
        )
        out[rod.name] = line_state(
            state.t_s, rod, now.rod_state, worth, look, numbers[k], shapes[k], state.bands.limits[k]
        )
    return out
