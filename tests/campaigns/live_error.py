"""Campaign: depth of every configured rod at the live settings against a converged run of the same kernel.

    python tests/campaigns/live_error.py --seed 1 --n 200

Each case is one manoeuvre, all rods at once: a turn to 90 degrees at 3-15 deg/s, a surge 2.0 -> 2.9 mph, 1 m waves of
3 s at the rod tips, a trip of all planers, a turn of 180 degrees at 2-5 deg/s, and a sharp one at 5-15. Converged: four
times the pieces, an eighth of the step. Prints what is outside and one JSON object last. Allowed: 0.3 % or 3 cm, the
larger; 10 cm in turns of 180 degrees. In sharp ones more counts as outside only where "line folding" is not said.
"said_needlessly" are lines of which it was said although their depth was never off by more than 3 cm or 0.3 %.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from live_march import chains_of, go, start, tips_along, water_of  # noqa: E402

from assistant import config  # noqa: E402
from assistant.configured import Config  # noqa: E402
from assistant.lines import spread  # noqa: E402
from assistant.lines.fleet import Cut, regeared  # noqa: E402
from assistant.lines.gear import RodSetting  # noqa: E402
from assistant.units import MPH_MPS  # noqa: E402

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

PIECES, PARTS = 4, 8  # how much finer the converged run is
AFTER_S = 45.0
BEGIN_S = 4.0
EVERY_S = 0.5  # how often depths are compared
KINDS = ("turn 90", "surge", "waves", "trip", "turn 180", "turn 180 sharp")


@dataclass(frozen=True, slots=True)
class Case:
    """One manoeuvre: corners of speed [m/s] and heading [rad] over time, waves and trips."""

    kind: str
    corners: tuple[tuple[float, float, float], ...]  # t_s, speed, heading
    wave_m: float = 0.0
    trip_s: float | None = None
    rate_dps: float = 0.0


def random_case(r: Random, kind: str) -> Case:
    """One manoeuvre of a kind."""
    speed = r.uniform(1.8, 2.8) * MPH_MPS
    if kind == "surge":
        low, high = 2.0 * MPH_MPS, 2.9 * MPH_MPS
        return Case(kind, ((0.0, low, 0.0), (BEGIN_S, low, 0.0), (BEGIN_S + r.uniform(1.0, 6.0), high, 0.0)))
    if kind == "waves":
        return Case(kind, ((0.0, speed, 0.0), (BEGIN_S, speed, 0.0)), wave_m=1.0)
    if kind == "trip":
        return Case(kind, ((0.0, speed, 0.0), (BEGIN_S, speed, 0.0)), trip_s=BEGIN_S)
    angle = 90.0 if kind == "turn 90" else 180.0
    rate = r.uniform(*{"turn 90": (3.0, 15.0), "turn 180": (2.0, 5.0), "turn 180 sharp": (5.0, 15.0)}[kind])
    to = r.choice([-1.0, 1.0]) * math.radians(angle)
    corners = ((0.0, speed, 0.0), (BEGIN_S, speed, 0.0), (BEGIN_S + angle / rate, speed, to))
    return Case(kind, corners, rate_dps=rate)


def way_of(case: Case, dt: float) -> Array:
    """(K, 5) as live_march.tips_along takes it, in steps of dt; position by the midpoint rule on a 1/256 s grid."""
    fine = 1.0 / 256.0
    end = math.ceil((case.corners[-1][0] + AFTER_S) / EVERY_S) * EVERY_S
    t, v, h = np.array(case.corners).T
    mids = np.arange(round(end / fine)) * fine + 0.5 * fine
    speed, heading = np.interp(mids, t, v), np.interp(mids, t, h)
    moves = fine * speed[:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    place = np.concatenate([np.zeros((1, 2)), np.cumsum(moves, axis=0)])
    times = np.arange(round(end / dt) + 1) * dt
    turn = (np.interp(times + fine, t, h) - np.interp(times - fine, t, h)) / (2.0 * fine)
    each = round(dt / fine)
    return np.column_stack([place[::each], np.interp(times, t, v), np.interp(times, t, h), turn])


def wave_of(case: Case, times: Array) -> tuple[Array, Array]:
    """Lift of the rod tips [m] and its rate [m/s]; grows over the first period."""
    w = math.tau / 3.0
    size = 0.5 * case.wave_m
    grow = np.clip(times / 3.0, 0.0, 1.0)
    rate = np.where(times < 3.0, 1.0 / 3.0, 0.0)
    return size * grow * np.sin(w * times), size * (grow * w * np.cos(w * times) + rate * np.sin(w * times))


def depths(
    loaded: Config, case: Case, cut: Cut, dt: float, tolerance_m: float, finer: int = spread.FINER
) -> tuple[Array, Flags]:
    """(T, R) depth of every lure each EVERY_S, and whether its line is said to fold."""
    way = way_of(case, dt)
    times = dt * np.arange(len(way), dtype=np.float64)
    tips = tips_along(loaded, way, wave_of(case, times) if case.wave_m else None)
    water, chains = water_of(loaded), chains_of(loaded)
    fleet = start(chains, water, cut, tips[0])
    each, restart = round(EVERY_S / dt), True
    rows, folds = [], []
    for first in range(0, len(tips) - 1, each):
        if case.trip_s is not None and first * dt == case.trip_s:
            off = [RodSetting(rod.line_out_m, None, True) for rod in loaded.rods]
            fleet = regeared(fleet, dict(enumerate(chains_of(loaded, off))), water)
            restart = True
        fleet, failed, _, restart = go(
            fleet, tips[first : first + each + 1], dt, restart, tolerance_m, finer=finer
        )
        if failed:
            raise RuntimeError(f"{case}: no convergence at {first * dt} s")
        rows.append(fleet.positions_m()[-1, 2, : fleet.count].copy())
        folds.append(fleet.folding())
    return np.array(rows), np.array(folds)


@dataclass(frozen=True, slots=True)
class Compared:
    """Live against converged, (T, R) each: error of depth [m], what counts as none, what is allowed, what was said."""

    error_m: Array
    none_m: Array
    allowed_m: Array
    folding: Flags


def compare(loaded: Config, case: Case) -> Compared:
    """One manoeuvre at the live settings and converged."""
    live, said = depths(loaded, case, spread.CUT, spread.STEP_S, spread.TOLERANCE_M)
    fine_cut = replace(spread.CUT, total=PIECES * spread.CUT.total, below=PIECES * spread.CUT.below)
    fine, _ = depths(loaded, case, fine_cut, spread.STEP_S / PARTS, 1e-7, finer=1)
    none = np.maximum(0.003 * np.abs(fine), 0.03)
    most = 0.10 if case.kind.startswith("turn 180") else 0.0
    return Compared(np.abs(live - fine), none, np.maximum(none, most), said)


def run(seed: int, n: int, show: bool = False) -> dict[str, Any]:
    """n manoeuvres, the kinds in turn.

    Returns:
        per kind: cases; worst error [m] and over what is allowed, with rod and rate of turn; share of lines inside;
        said: lines said to fold; said_needlessly: see above; outside: what exceeds and is not excused as told above;
        outside_unsaid: what exceeds while "line folding" is not said.
    """
    loaded = config.load()
    kinds: dict[str, dict[str, Any]] = {}
    outside: list[str] = []
    unsaid: list[str] = []
    for number in range(n):
        name = KINDS[number % len(KINDS)]
        case = random_case(Random(f"{seed}/{number}"), name)
        found = compare(loaded, case)
        _add(kinds.setdefault(name, _empty()), loaded, case, found)
        over = found.error_m > found.allowed_m
        unsaid += [
            f"{number} {loaded.rods[k].name}" for k in np.flatnonzero((over & ~found.folding).any(axis=0))
        ]
        if name == "turn 180 sharp":
            over &= ~found.folding
        for k in np.flatnonzero(over.any(axis=0)):
            worst_m = float(found.error_m[:, k][over[:, k]].max())
            outside.append(
                f"{number} {name} {case.rate_dps:.1f} deg/s {loaded.rods[k].name}: {worst_m:.3f} m"
            )
            if show:
                print(outside[-1], flush=True)
    for kind in kinds.values():
        kind["inside"] = round(kind["inside"] / kind["lines"], 4)
    return {"seed": seed, "n": n, "kinds": kinds, "outside": outside, "outside_unsaid": unsaid}


def _empty() -> dict[str, Any]:
    counts = dict.fromkeys(("cases", "lines", "inside", "said", "said_needlessly"), 0)
    return {**counts, "worst_m": 0.0, "worst_ratio": 0.0, "where": ""}


def _add(kind: dict[str, Any], loaded: Config, case: Case, found: Compared) -> None:
    error, ratio, said = found.error_m, found.error_m / found.allowed_m, found.folding.any(axis=0)
    kind["cases"] += 1
    kind["lines"] += len(loaded.rods)
    kind["inside"] += int((ratio <= 1.0).all(axis=0).sum())
    kind["said"] += int(said.sum())
    kind["said_needlessly"] += int((said & (error <= found.none_m).all(axis=0)).sum())
    kind["worst_m"] = max(kind["worst_m"], round(float(error.max()), 4))
    if ratio.max() <= kind["worst_ratio"]:
        return
    t, rod = np.unravel_index(int(ratio.argmax()), ratio.shape)
    kind["worst_ratio"] = round(float(ratio.max()), 3)
    kind["where"] = f"{loaded.rods[rod].name} at {(t + 1) * EVERY_S} s, {case.rate_dps:.1f} deg/s"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=120)
    given = parser.parse_args()
    print(json.dumps(run(given.seed, given.n, show=True)))


if __name__ == "__main__":
    main()
