"""`latency`: by how much the course over ground trails the compass, by cross-correlation in turns. Pure.

The direction of the water velocity (ground less current) turns with the heading. In each turn the two angles are laid
over each other at lags from LAGS_S; the best is where their difference varies least, found to a fraction by a
parabola. (Their rates, laid over each other, would show mostly the receiver's noise.) Turns are averaged, their scatter
gives the sigma. A compass that is damped more than the receiver shows as a negative lag.
"""

from __future__ import annotations

import math

import numpy as np

from assistant.calibrate.evidence import Array, Gathered, blocks_of
from assistant.calibrate.legs import SLOWEST_MPS
from assistant.calibrate.outcome import Outcome, Thin
from assistant.calibrate.solve import Model, solve
from assistant.configured import BoatConfig

GRID_S = 0.1
LAGS_S = (-4.0, 8.0)
SMOOTH_S = 1.0  # to see that the boat turns
AROUND_S = 6.0  # before and after a turn
RATE_RADPS = math.radians(1.5)
LEAST_RAD = math.radians(45.0)
TURNS = 4
LEAST_SIGMA_S, WORST_SIGMA_S = 0.1, 0.5
LEAST_LIKE = 0.9  # share of a turn that the other angle explains at the best lag
FEW = 1.2  # the scatter of so few turns is itself not well known


def calibrate(run: Gathered, config: BoatConfig, from_where: str) -> Outcome:
    """Find the lag.

    Raises:
        Thin: what is missing.
    """
    if not run.compass or not run.ground:
        raise Thin("latency", ["readings of a compass and of a GPS"])
    t_s, heading, course = _angles(run)
    turns = _turns(t_s, heading)
    found = [one for begin, end in turns if (one := _lag(t_s, heading, course, begin, end)) is not None]
    sides = {side for _, side, _ in found}
    missing = []
    lacking = TURNS - len(found)
    if lacking > 0:
        missing.append(
            f"{lacking} more turn{'' if lacking == 1 else 's'} of 60 degrees or more at 3 to 5 degrees a second, "
            "steady legs of a quarter of a minute between them"
        )
    if len(sides) < 2:
        missing.append("turns to both sides")
    if missing:
        raise Thin("latency", missing, [f"{len(turns)} turns, {len(found)} of use"])
    lags = np.array([lag for lag, _, _ in found])
    lag_s, scatter = float(lags.mean()), float(lags.std(ddof=1))
    sigma = math.hypot(FEW * scatter / math.sqrt(len(lags)), LEAST_SIGMA_S)
    if sigma > WORST_SIGMA_S:
        raise Thin("latency", [f"turns that agree: known to {sigma:.1f} s only, want {WORST_SIGMA_S:.1f} s"])
    return Outcome(
        "latency",
        f"{len(found)} turns; {from_where}",
        {"course_lag_s": round(lag_s, 2), "sigma_s": round(sigma, 2)},
        (
            (
                "course over ground trails the compass by",
                f"{config.course_lag_s:.1f}",
                f"{lag_s:.1f} +- {sigma:.1f} s",
            ),
        ),
        tuple(
            f"turn to {'starboard' if side > 0 else 'port'}: {lag:+.1f} s (likeness {like:.2f}), "
            f"off by {lag - lag_s:+.1f} s"
            for lag, side, like in found
        ),
        ("negative: the compass trails",) if lag_s < 0.0 else (),
    )


def _angles(run: Gathered) -> tuple[Array, Array, Array]:
    """Heading by compass and direction through the water by GPS on one grid [rad], unwrapped."""
    compass, ground = np.array(run.compass), np.array(run.ground)
    current = _current(run)
    through = ground[:, 1:] - current
    begin, end = max(compass[0, 0], ground[0, 0]), min(compass[-1, 0], ground[-1, 0])
    t_s = np.arange(begin, end, GRID_S)
    heading = np.interp(t_s, compass[:, 0], np.unwrap(compass[:, 1] + compass[:, 2]))
    course = np.interp(t_s, ground[:, 0], np.unwrap(np.arctan2(through[:, 1], through[:, 0])))
    return t_s, heading, course


def _current(run: Gathered) -> Array:
    """The current [m/s], by log or steady throttle and compass; none where the run is too short to tell."""
    blocks = blocks_of(run)
    speed = np.hypot(*blocks.ground_mps.T) if len(blocks) else np.zeros(0)
    blocks = blocks.chosen((np.abs(blocks.turned_rad) < math.radians(30.0)) & (speed > SLOWEST_MPS))
    if len(blocks) < 6:
        return np.zeros(2)
    knots = np.array([float(np.median(blocks.log_mps))]) if run.log else np.ones(1)
    fit = solve(blocks, Model(knots, 1, math.radians(3.0), bool(run.log)))
    return np.asarray(fit.current_mps.mean(axis=0))


def _smooth_rate(angle: Array) -> Array:
    width = round(SMOOTH_S / GRID_S)
    kernel = np.hanning(2 * width + 1)
    return np.gradient(np.convolve(angle, kernel / kernel.sum(), mode="same"), GRID_S)


def _turns(t_s: Array, heading: Array) -> list[tuple[int, int]]:
    """First and last index of each turn with room for the lag around it."""
    if len(t_s) < round(4.0 * AROUND_S / GRID_S):
        return []
    turning = np.abs(_smooth_rate(heading)) > RATE_RADPS
    edges = np.flatnonzero(np.diff(np.concatenate([[0], turning.astype(int), [0]])))
    around = round(AROUND_S / GRID_S)
    room = around + round(max(abs(lag) for lag in LAGS_S) / GRID_S)
    runs = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    merged: list[tuple[int, int]] = []
    for a, b in runs:
        if merged and a - merged[-1][1] < around // 2:
            merged[-1] = (merged[-1][0], b)
        else:
            merged.append((a, b))
    return [
        (a - around, b + around)
        for a, b in merged
        if abs(heading[b] - heading[a]) >= LEAST_RAD and a - room >= 0 and b + room < len(t_s)
    ]


def _lag(t_s: Array, heading: Array, course: Array, begin: int, end: int) -> tuple[float, int, float] | None:
    """Lag [s], side and likeness of one turn; None where the two do not look alike, or the lag is at an end."""
    mine = heading[begin : end + 1]
    shifts = np.arange(round(LAGS_S[0] / GRID_S), round(LAGS_S[1] / GRID_S) + 1)
    likes = np.array([_like(mine, course[begin + k : end + 1 + k]) for k in shifts])
    top = int(np.argmax(likes))
    if likes[top] < LEAST_LIKE or top in (0, len(likes) - 1):
        return None
    before, at, after = likes[top - 1 : top + 2]
    bend = before - 2.0 * at + after
    part = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    side = 1 if heading[end] > heading[begin] else -1
    return float((shifts[top] + part) * GRID_S), side, float(at)


def _like(one: Array, two: Array) -> float:
    """1 less the variance of the difference over that of `one`."""
    return 1.0 - float((two - one).var() / max(one.var(), 1e-12))
