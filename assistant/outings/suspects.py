"""Lines whose measured pull jumped while boat and other lines went on as before: what may be on them. Pure.

More pull: something drags, or the line is fouled. Much less: the planer has tripped, or the lure is gone. Changes of
the water come to all lines and not from one minute to the next, so a line must have jumped by itself and against each
of the others.
It is a suspicion, to be settled by a look at the line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.outings.effort import Table

AFTER_MIN, BEFORE_MIN = 10, 25
LEAST_MIN = 4  # of each that must be there
LOOK_BACK_MIN = 60  # a suspicion stands so long, if nobody looks
MORE_LOG = math.log(1.25)  # a quarter more: judgement
LESS_LOG = math.log(0.6)  # a tripped planer pulls under half: common practice, no source
SIGMAS = 3.0
STRAIGHT_RAD = math.radians(40.0)  # no minute's heading further from the mean: S-curves, no turn

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Suspect:
    """One line, since when, and by which factor its pull changed."""

    rod: str
    since_s: float
    factor: float

    @property
    def words(self) -> str:
        """What to think of it."""
        if self.factor > 1.0:
            return f"{self.rod} pulls {100 * (self.factor - 1):.0f} % more: something dragging, or fouled?"
        return f"{self.rod} pulls {100 * (1 - self.factor):.0f} % less: tripped?"


def suspects(table: Table) -> tuple[Suspect, ...]:
    """Lines that may be fouled, dragging or tripped at the end of a table, the largest jump first."""
    measured, worked = table.tracks.get("pull_n"), table.tracks.get("worked_pull_n")
    heading = table.tracks.get("heading_rad")
    if measured is None or worked is None or heading is None or measured.value.shape != worked.value.shape:
        return ()
    ratio = np.where(table.workable, (measured.value - worked.value).real, math.nan)
    pulled = np.flatnonzero(np.isfinite(ratio).any(axis=0))
    ratio, found = ratio[:, pulled], []
    for c, column in enumerate(pulled):
        if (
            np.isfinite(ratio[-LEAST_MIN:, c]).all()
            and (jump := _jump(ratio, heading.value[:, 0], c)) is not None
        ):
            found.append(Suspect(table.rods[column], float(table.t_s[jump[1]]), math.exp(jump[0])))
    return tuple(sorted(found, key=lambda one: -abs(math.log(one.factor))))


def _jump(ratio: Array, heading: NDArray[np.complex128], c: int) -> tuple[float, int] | None:
    """One rod: size and minute of the largest jump that has not gone back since."""
    end = len(ratio)
    last_gap = _last_gap(ratio[:, c])
    best: tuple[float, int] | None = None
    for n in range(end - LEAST_MIN, max(last_gap + LEAST_MIN, end - LOOK_BACK_MIN), -1):
        before, after = slice(max(last_gap, n - BEFORE_MIN), n), slice(n, min(end, n + AFTER_MIN))
        course = heading[before.start : after.stop]
        if not np.isfinite(course).all() or np.abs(np.angle(course / course.mean())).max() > STRAIGHT_RAD:
            continue
        size = _size(ratio, c, before, after)
        if size is not None and (best is None or abs(size) > abs(best[0])):
            best = size, n
    if best is None:
        return None
    size, n = best
    still = float(np.nanmean(ratio[-LEAST_MIN:, c]) - np.nanmean(ratio[max(last_gap, n - BEFORE_MIN) : n, c]))
    if still * size <= 0.0 or abs(still) < 0.5 * abs(size):
        return None
    return best


def _last_gap(ratio: Array) -> int:
    """The first minute from which on the line was fishing without a break."""
    gaps = np.flatnonzero(~np.isfinite(ratio))
    return int(gaps[-1]) + 1 if len(gaps) else 0


def _size(ratio: Array, c: int, before: slice, after: slice) -> float | None:
    """How far one rod's log ratio jumped, by itself and against each other; None: not so far as to be suspected."""
    own, scatter = _change(ratio[:, c], before, after)
    if not abs(own) > MORE_LOG:
        return None
    others = [_change(ratio[:, k], before, after)[0] for k in range(ratio.shape[1]) if k != c]
    jumps = [own, *(own - one for one in others if math.isfinite(one))]
    if not (min(jumps) > 0.0 or max(jumps) < 0.0):
        return None
    size = min(jumps, key=abs)
    if not size > MORE_LOG and not size < LESS_LOG:
        return None
    return size if abs(size) >= SIGMAS * scatter else None


def _change(series: Array, before: slice, after: slice) -> tuple[float, float]:
    """Difference of two means and its 1 sigma, from the scatter of the minutes; NaN where too few are there."""
    sides: Sequence[Array] = [part[np.isfinite(part)] for part in (series[before], series[after])]
    if min(len(part) for part in sides) < LEAST_MIN:
        return math.nan, math.nan
    variances = [float(part.var(ddof=1)) / len(part) for part in sides]
    return float(sides[1].mean() - sides[0].mean()), math.sqrt(sum(variances))
