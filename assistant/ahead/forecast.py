"""All lines marched from where they are now through a manoeuvre and AFTER_S beyond. Pure.

The fine line of each rod gives the values. The ensemble behind the live bands, in which boats now also differ in where
the turn stops, in its rate and in the speed they change to, gives the bands: quantiles relative to its own nominal
line, put around the fine one. Line lengths stay as they are now; of a rod whose line runs nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.ahead import bands
from assistant.ahead.gaps import Soundings, bottoms
from assistant.ahead.manoeuvre import (
    STRAIGHT_ON,
    Manoeuvre,
    Response,
    Start,
    Ways,
    as_meant,
    drawn,
    ways,
)
from assistant.ahead.march import Seen
from assistant.ahead.outlook import Forecast
from assistant.ahead.tow import Towing, marched_along
from assistant.lines import ensemble, spread
from assistant.lines.ensemble import EACH
from assistant.lines.motion import Motion
from assistant.lines.spread import BAND_EVERY, STEP_S, SpreadState

Array = NDArray[np.float64]

AFTER_S = 120.0
MOST_S = 900.0
"""Judgement: further ahead nobody steers as was meant."""
RUNNING = {"going out": "line runs out", "coming in": "line comes in", "aboard": "aboard"}


@dataclass(frozen=True, slots=True)
class Ahead:
    """Both marches of one forecast: times from now (K,) [s], the nominal boat's way on the rows looked at."""

    times_s: Array
    fine: Seen  # R lines
    fine_ways: Ways
    rows: NDArray[np.int64]  # (K,) of fine_ways
    coarse: Seen  # R * EACH lines


def forecast(
    state: SpreadState,
    manoeuvre: Manoeuvre = STRAIGHT_ON,
    response: Response | None = None,
    soundings: Soundings | None = None,
    seed: int = 0,
) -> Forecast | None:
    """What every line will do; None while water speed or heading is unknown.

    Args:
        state: of the live lines, left untouched; seed: of the draws (manoeuvre, bottom).
    """
    state = spread.caught_up(state)
    if state.motion is None or state.fleet is None or state.ensemble is None:
        return None
    ahead = marched_ahead(state, manoeuvre, response or Response(), seed)
    lost = _lost(state, ahead)
    kept = [k for k, rod in enumerate(state.rigged.config.rods) if rod.name not in lost]
    names = [state.rigged.config.rods[k].name for k in kept]
    firm = [state.rods[k].rod_state == "fishing" for k in kept]
    fine, coarse = bands.only(ahead.fine, kept, 1), bands.only(ahead.coarse, kept, EACH)
    found = None
    if soundings is not None:
        found = bottoms(soundings, ahead.times_s, fine, coarse, seed)
    lines = bands.lines_ahead(names, firm, ahead.times_s, fine, coarse, found)
    apart = bands.Apart(_hung_on_each_other(state, kept), _placed(state.motion, ahead))
    gap, nearest, pairs = bands.pairs_ahead(names, ahead.times_s, fine, coarse, apart)
    return Forecast(state.t_s, manoeuvre, ahead.times_s, lines, gap, nearest, pairs, lost)


def marched_ahead(state: SpreadState, manoeuvre: Manoeuvre, response: Response, seed: int) -> Ahead:
    """Both marches."""
    assert state.motion is not None and state.ensemble is not None
    age = state.ticks % BAND_EVERY  # of the ensemble, in ticks
    lead = BAND_EVERY - age
    wanted_s = min(manoeuvre.lasts_s(response) + AFTER_S, MOST_S)
    coarse_steps = max(2, math.ceil((wanted_s / STEP_S - lead) / BAND_EVERY) + 1)
    marks = np.concatenate([[0], lead + BAND_EVERY * np.arange(coarse_steps)]).astype(np.int64)
    steps = int(marks[-1])
    motion = state.motion
    one = Start(
        np.full(1, motion.north_m),
        np.full(1, motion.east_m),
        np.full(1, motion.speed_mps),
        motion.heading_rad,
    )
    fine_ways = ways(manoeuvre, response, as_meant(manoeuvre), one, STEP_S, steps)
    fine = marched_along(_fine(state), fine_ways, np.arange(steps + 1), marks, STEP_S)
    many = _members(state.ensemble, motion, age * STEP_S)
    coarse_ways = ways(manoeuvre, response, drawn(manoeuvre, seed), many, STEP_S, steps)
    coarse = marched_along(
        _coarse(state), coarse_ways, marks, np.arange(len(marks), dtype=np.int64), ensemble.STEP_S
    )
    return Ahead(np.asarray(STEP_S * marks, np.float64), fine, fine_ways, marks, coarse)


def _fine(state: SpreadState) -> Towing:
    assert state.fleet is not None
    rigged = state.rigged
    boat = np.zeros(state.fleet.count, np.int64)
    return Towing(
        state.fleet, rigged.points, boat, state.sag_m, rigged.profile, state.restart, spread.TOLERANCE_M
    )


def _coarse(state: SpreadState) -> Towing:
    now = state.ensemble
    assert now is not None
    boat = np.arange(now.fleet.count, dtype=np.int64) % EACH
    return Towing(
        now.fleet, now.unknowns.points, boat, now.sag_m, now.unknowns.profile, state.restart_band,
        ensemble.TOLERANCE_M,
    )  # fmt: skip


def _members(now: ensemble.Ensemble, motion: Motion, age_s: float) -> Start:
    """The boats of the ensemble as it was age_s ago, brought to the present: each as much faster as it was."""
    faster = now.speed_mps[:EACH] - now.motion.speed_mps
    c, s = math.cos(motion.heading_rad), math.sin(motion.heading_rad)
    return Start(
        now.place_m[:EACH, 0] + motion.north_m - now.motion.north_m + age_s * faster * c,
        now.place_m[:EACH, 1] + motion.east_m - now.motion.east_m + age_s * faster * s,
        np.maximum(motion.speed_mps + faster, 0.0),
        motion.heading_rad,
    )


def _lost(state: SpreadState, ahead: Ahead) -> Mapping[str, str]:
    """Rods of which nothing is said, and why."""
    out: dict[str, str] = {}
    whole = np.isfinite(ahead.fine.pull_n).sum(axis=0) == len(ahead.times_s)
    for k, (rod, now) in enumerate(zip(state.rigged.config.rods, state.rods, strict=True)):
        if now.rod_state in RUNNING:
            out[rod.name] = RUNNING[now.rod_state]
        elif now.out_m != now.wanted_m():
            out[rod.name] = "line runs"
        elif not whole[k]:
            out[rod.name] = "the line model gives no number"
    return out


def _hung_on_each_other(state: SpreadState, kept: list[int]) -> NDArray[np.bool_]:
    """(R, R) which of the kept rods touch because one hangs on the other."""
    rods = [state.rigged.config.rods[k] for k in kept]
    names = [rod.name for rod in rods]
    out = np.zeros((len(rods), len(rods)), np.bool_)
    for k, rod in enumerate(rods):
        if rod.attached is not None and rod.attached.rod in names:
            host = names.index(rod.attached.rod)
            out[k, host] = out[host, k] = True
    return out


def _placed(motion: Motion, ahead: Ahead) -> Array:
    """(K, 3) the nominal boat at each instant looked at: north, east [m], heading [rad]."""
    w = ahead.fine_ways
    return np.stack([w.north_m[ahead.rows, 0], w.east_m[ahead.rows, 0], w.heading_rad[ahead.rows, 0]], axis=1)
