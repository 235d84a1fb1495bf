"""All lines of the boat, live: settings and boat motion in, a LineState per rod out. Pure.

A tick is 0.25 s. Every rod's line marches in the fine kernel each tick; the ensemble behind the bands each eighth.
Ticks in which nothing but the boat moves are put off until someone looks, then marched in one go (`caught_up`).
The frame drifts with the surface layer: lines feel speed and heading through the water, not over ground.
Rods keep the order of the config, port to starboard.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Config, Rod
from assistant.lines import ensemble as band
from assistant.lines.chain import Towed, Water
from assistant.lines.conditions import Look
from assistant.lines.facts import CONTRADICTION, joint
from assistant.lines.fleet import Cut, Fleet, marched, regeared
from assistant.lines.folds import LOOK_S
from assistant.lines.gear import RodSetting, above_zero_m, counted_m, has_planer, mains_m, towed
from assistant.lines.limits import Suspects, suspects
from assistant.lines.motion import Motion, tips_along
from assistant.lines.reels import Curve, curve_of
from assistant.lines.refusals import refusal
from assistant.lines.report import Curve as Shape
from assistant.lines.report import banded, dead_line, line_state, worth_of
from assistant.lines.rods import RodNow, aged, at_start, regeared_by, run_line, taken
from assistant.lines.seen import curves_from_boat, seen_from_boat
from assistant.lines.towpoints import Boats, TowPoints, settled_towed, tow_points
from assistant.messages import BoatState, Estimate, LineSetting, LineState

Array = NDArray[np.float64]

STEP_S = 0.25
CUT = Cut(total=28, below=4)
TOLERANCE_M = 1e-3  # of the last Newton step: what is left goes with its square
FINER = 6  # parts of a step while a line kinks, see folds.py
BAND_EVERY = round(band.STEP_S / STEP_S)  # ticks
LIMITS_EVERY = 4 * BAND_EVERY
FLEAS_EVERY = 30 * BAND_EVERY  # ticks between two looks at how water fleas have thickened the lines: a minute
STILL = np.zeros((0, 3))


@dataclass(frozen=True, slots=True)
class Rigged:
    """What stays: the configured rods as arrays, the water, what is not known."""

    config: Config
    water: Water
    unknowns: band.Unknowns
    points: TowPoints
    profile: Array  # of the kernel: how the deep layer fades in, or STILL
    deep_mps: Array  # (R, 2) the configured deep layer relative to the surface layer, north and east
    fixed_m: Mapping[int, tuple[float, ...]]  # by rod, of those with counted parts: see gear.counted_m
    above_m: Array  # (R,) what of the main line hangs above the counter's zero
    counter: tuple[Curve, ...]  # what each rod's counter means
    planers: tuple[bool, ...]  # which rods carry one
    suspects: Suspects


@dataclass(frozen=True, slots=True)
class Bands:
    """What the ensemble says: (R, 5) low and high relative to the value, and per rod what widens each most."""

    low: Array
    high: Array
    limits: list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class Tick:
    """What moves the lines in a tick: the boat, the sigma of its speed [m/s], the instant [s]."""

    motion: Motion
    sigma: float
    t_s: float


@dataclass(frozen=True, slots=True)
class SpreadState:
    """Everything the lines remember. Fleet and ensemble are replaced, never changed in place.

    The fleet lies where it was `put_off` ticks ago; see `caught_up`.
    """

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
    sag_m: Array = field(default_factory=lambda: np.zeros(0))  # (R,) of side boards
    runs: Mapping[int, int] = field(
        default_factory=dict
    )  # by rod, of those with counted parts: which part runs
    mains_m: Array | None = None  # (R,) length of what runs, while no line runs
    refused: Mapping[str, int] = field(default_factory=dict)  # operator's inputs not used, by reason
    quiet: bool = (
        False  # nothing but the boat moves: no line runs, no fish is on, no board or line tows another
    )
    put_off: tuple[Tick, ...] = ()


def initial(config: Config, seed: int = 0) -> SpreadState:
    """Before the first boat state; `seed` fixes the draws of the bands."""
    rods, unknown = config.rods, band.unknowns(config, seed)
    deep = np.tile(config.boat.deep_layer_mps(), (len(rods), 1))
    rigged = Rigged(
        config,
        Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2),
        unknown,
        tow_points(config, CUT, 1, lambda _rod, board, _member: board.sag_m_per_n.value),
        unknown.profile if deep.any() else STILL,
        deep,
        {k: fixed for k, rod in enumerate(rods) if (fixed := counted_m(rod))},
        np.array([above_zero_m(r) for r in rods]),
        tuple(curve_of(config, rod) for rod in rods),
        tuple(has_planer(config, rod) for rod in rods),
        suspects(config, seed),
    )
    refused = {} if joint(config, seed).agrees() else {CONTRADICTION: len(config.facts)}
    return SpreadState(rigged, tuple(at_start(rod) for rod in rods), refused=refused)


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
    if settings or not state.quiet:
        rods = tuple(aged(now, t_s) for now in state.rods)
        if settings or not _same(rods, state.rods):
            state = _take_settings(replace(caught_up(state), rods=rods, quiet=False), settings, t_s)
    if stw.value is None or course.value is None:
        return replace(state, motion=None, t_s=t_s, put_off=())
    speed, heading, sigma = max(stw.value, 0.0), course.value, stw.sigma or 0.0
    if state.motion is None or settle or not 0.0 < t_s - state.t_s <= 2.0:
        return _settle(state, Motion(0.0, 0.0, speed, heading), sigma, t_s)
    tick = Tick(state.motion.follow(speed, heading, STEP_S), sigma, t_s)
    return _put_off(state, tick) if state.quiet else _march(caught_up(state), tick)


def caught_up(state: SpreadState) -> SpreadState:
    """The same state with the lines where they are now: what reads the fleet asks for this first."""
    ticks, old = state.put_off, state.fleet
    if not ticks:
        return state
    assert old is not None and state.mains_m is not None
    rigged = state.rigged
    tow = tips_along([tick.motion for tick in ticks], rigged.points.places_m)
    fleet, failed, rescued = marched(
        old, tow, state.mains_m, rigged.profile, STEP_S, state.restart, TOLERANCE_M, FINER
    )
    if not failed:
        return replace(state, fleet=fleet, restart=rescued, put_off=())
    state = replace(state, ticks=state.ticks - len(ticks), put_off=())
    for tick in ticks:  # one by one: the lines settle anew in the one that fails
        state = _march(state, tick)
    return state


def report(state: SpreadState, boat: BoatState, drawn: bool = True) -> dict[str, LineState]:
    """Where every line is now, by rod name; dead where speed or heading is unknown. drawn: with its curve."""
    if state.motion is not None:
        return _states(caught_up(state), boat, drawn)
    lost = boat.stw_mps if boat.stw_mps.value is None else boat.heading_rad
    name = "no water speed" if lost is boat.stw_mps else "no heading"
    return {
        r.name: dead_line(state.t_s, r.name, now.rod_state, lost.cause or name) for r, now in _rods(state)
    }


def _same(new: Sequence[RodNow], old: Sequence[RodNow]) -> bool:
    """Whether no rod is another than before."""
    return all(a is b for a, b in zip(new, old, strict=True))


def _rods(state: SpreadState) -> Iterator[tuple[Rod, RodNow]]:
    return zip(state.rigged.config.rods, state.rods, strict=True)


def _take_settings(state: SpreadState, settings: Sequence[LineSetting], t_s: float) -> SpreadState:
    names = [r.name for r in state.rigged.config.rods]
    changed: set[int] = set()
    rods, refused = list(state.rods), Counter(state.refused)
    for change in settings:
        reason = refusal(state.rigged.config, change)
        if reason is not None:
            refused[reason] += 1  # a recording made with another configuration may hold any
            continue
        k = names.index(change.rod)
        old, rods[k] = rods[k], taken(rods[k], change, t_s)
        if regeared_by(old, rods[k]):
            changed.add(k)
    state = replace(state, rods=tuple(rods), refused=refused)
    return _regear(state, sorted(changed)) if changed and state.fleet is not None else state


def _chain(state: SpreadState, k: int) -> Towed:
    now = state.rods[k]
    set_now = now.as_rigged(state.t_s, state.rigged.counter[k].ratio(now.out_m))
    return towed(state.rigged.config, state.rigged.config.rods[k], set_now, state.rigged.water)


def _settings(state: SpreadState) -> list[RodSetting]:
    return [now.as_rigged(state.t_s) for now in state.rods]


def _regear(state: SpreadState, changed: Sequence[int], restart: bool = True) -> SpreadState:
    assert state.fleet is not None and state.ensemble is not None
    fleet = regeared(state.fleet, {k: _chain(state, k) for k in changed}, state.rigged.water)
    ensemble = band.regear(state.ensemble, state.rigged.config, state.rigged.water, _settings(state), changed)
    return replace(
        state, fleet=fleet, ensemble=ensemble,
        restart=restart or state.restart, restart_band=restart or state.restart_band,
    )  # fmt: skip


def _boats(motion: Motion) -> Boats:
    return Boats(motion.north_m, motion.east_m, motion.speed_mps, motion.heading_rad, motion.turn_radps)


def _settle(state: SpreadState, motion: Motion, sigma: float, t_s: float) -> SpreadState:
    rigged = state.rigged
    rods = tuple(replace(now, out_m=now.wanted_m()) for now in state.rods)
    state = replace(state, rods=rods, t_s=t_s)
    chains = [_chain(state, k) for k in range(len(rods))]
    waters = [rigged.unknowns.water(k * band.EACH, rigged.water) for k in range(len(rods))]
    fleet, sag_m = settled_towed(
        rigged.points, _boats(motion), chains, waters, CUT, rigged.profile, rigged.deep_mps
    )
    fleet = replace(fleet, bends=replace(fleet.bends, looked_s=t_s % LOOK_S))  # from now on with the seconds
    ensemble = band.settle(rigged.config, rigged.water, rigged.unknowns, _settings(state), motion, sigma)
    bands = _bands(rigged, ensemble, None)
    runs = _mains(rigged, rods)[1]
    return SpreadState(
        rigged, rods, t_s, motion, fleet, ensemble, bands, sag_m=sag_m, runs=runs, refused=state.refused
    )


def _mains(rigged: Rigged, rods: Sequence[RodNow]) -> tuple[Array, dict[int, int]]:
    """(R,) length [m] of what runs, and which part that is (see gear.mains_m)."""
    outs = np.array([curve.true_m(now.out_m) for curve, now in zip(rigged.counter, rods, strict=True)])
    return mains_m(rigged.fixed_m, outs + rigged.above_m)


def _quiet(rigged: Rigged, rods: Sequence[RodNow]) -> bool:
    return rigged.points.plain and all(
        now.wanted_m() == now.out_m and now.rod_state != "fish on" for now in rods
    )


def _put_off(state: SpreadState, tick: Tick) -> SpreadState:
    """The state after a quiet tick: its march can wait, but bends are looked for in time."""
    old = state.fleet
    assert old is not None
    waiting = (*state.put_off, tick)
    state = SpreadState(
        state.rigged, state.rods, tick.t_s, tick.motion, state.fleet, state.ensemble, state.bands,
        state.ticks + 1, state.restart, state.restart_band, state.unconverged, state.sag_m, state.runs,
        state.mains_m, state.refused, state.quiet, waiting,
    )  # fmt: skip  # written out: `replace` takes longer than all the rest of a quiet tick
    if state.ticks % BAND_EVERY == 0:
        state = _with_the_clock(state, tick)
    due = old.bends.looked_s + len(waiting) * STEP_S >= LOOK_S
    return caught_up(state) if due else state


def _march(state: SpreadState, tick: Tick) -> SpreadState:
    """The state after any tick."""
    rigged, old, restart, motion = state.rigged, state.fleet, state.restart, tick.motion
    assert old is not None
    rods, mains, runs = (
        tuple(run_line(now, STEP_S, motion.speed_mps) for now in state.rods),
        state.mains_m,
        state.runs,
    )
    if mains is None or not _same(rods, state.rods):
        mains, runs = _mains(rigged, rods)
        running = replace(state, rods=rods, t_s=tick.t_s)
        other = {k: _chain(running, k) for k, part in runs.items() if part != state.runs[k]}
        if other:  # another part begins to run
            old, restart = regeared(old, other, rigged.water), True
    sag_m = rigged.points.sagged(state.sag_m, old, STEP_S)
    tow = rigged.points.at(_boats(motion), sag_m, (sag_m - state.sag_m) / STEP_S, old, STEP_S)
    fleet, failed, rescued = marched(old, tow, mains, rigged.profile, STEP_S, restart, TOLERANCE_M, FINER)
    if failed:
        return replace(_settle(replace(state, rods=rods), motion, tick.sigma, tick.t_s), unconverged=True)
    state = replace(
        state, rods=rods, t_s=tick.t_s, motion=motion, fleet=fleet, ticks=state.ticks + 1, restart=rescued,
        sag_m=sag_m, mains_m=mains, runs=runs, quiet=_quiet(rigged, rods),
    )  # fmt: skip
    return _with_the_clock(state, tick)


def _with_the_clock(state: SpreadState, tick: Tick) -> SpreadState:
    """What is due at some ticks only: fleas, and the bands."""
    if state.rigged.config.boat.fleas_mm_per_hour is not None and state.ticks % FLEAS_EVERY == 0:
        every = range(len(state.rods))
        state = _regear(caught_up(state), every, restart=False)  # too little to jolt a line
    return _march_band(state, tick.motion, tick.sigma) if state.ticks % BAND_EVERY == 0 else state


def _bands(rigged: Rigged, ensemble: band.Ensemble, limits: list[dict[str, str]] | None) -> Bands:
    table = band.members(ensemble)
    if limits is None:
        limits = rigged.suspects.worst(table[:, 1:, :])
    return Bands(*band.offsets(table), limits)


def _march_band(state: SpreadState, motion: Motion, sigma: float) -> SpreadState:
    assert state.ensemble is not None
    rigged = state.rigged
    outs = np.array([now.out_m for now in state.rods])
    ensemble, other = band.rerun(state.ensemble, rigged.config, rigged.water, _settings(state))
    ensemble, failed, rescued = band.advance(
        ensemble, outs, rigged.above_m, motion, sigma, state.restart_band or other
    )
    if failed:
        ensemble = band.settle(rigged.config, rigged.water, rigged.unknowns, _settings(state), motion, sigma)
    known = state.bands.limits if state.bands is not None and state.ticks % LIMITS_EVERY else None
    return replace(
        state, ensemble=ensemble, bands=_bands(rigged, ensemble, known),
        restart_band=failed or rescued, unconverged=False,
    )  # fmt: skip


def _states(state: SpreadState, boat: BoatState, drawn: bool) -> dict[str, LineState]:
    assert state.motion is not None and state.bands is not None and state.fleet is not None
    worth, fleet = worth_of(boat), state.fleet
    count = len(state.rods)
    rigged = state.rigged
    seen = seen_from_boat(fleet.works, fleet.cut.total, rigged.profile, state.motion.heading_rad)[:count]
    beyond = rigged.points.beyond_tips(_boats(state.motion), fleet)
    seen[:, 1:3] += beyond
    folds = fleet.folding().tolist()
    numbers = banded(seen, state.bands.low, state.bands.high)
    shapes = _curves(state, beyond) if drawn else [()] * count
    out: dict[str, LineState] = {}
    for k, (rod, now) in enumerate(_rods(state)):
        look = Look(
            folds[k],
            now.tripped,
            state.rigged.planers[k],
            state.motion.speed_mps,
            numbers[k][4][0],
            now.out_m,
            state.unconverged,
        )
        out[rod.name] = line_state(
            state.t_s,
            rod,
            now.rod_state,
            worth,
            look,
            numbers[k],
            shapes[k],
            state.bands.limits[k],
        )
    return out


def _curves(state: SpreadState, beyond_m: Array) -> list[Shape]:
    """Every line's curve; beyond_m: (R, 2) swing and setback of what it is towed from, from its rod tip."""
    assert state.motion is not None and state.fleet is not None
    fleet = state.fleet
    starts = state.rigged.points.rod_tips_m[:, :2] + beyond_m[:, ::-1] * [-1.0, 1.0]
    points = curves_from_boat(fleet.works, fleet.cut.total, starts, state.motion.heading_rad)
    return [tuple(map(tuple, line)) for line in points.tolist()]
