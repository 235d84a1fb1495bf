"""What was fished and under which conditions, minute by minute and rod by rod, as the quiet-spell judge reads it.

The rows are plain values: whoever has the day (a recorder, a replay, a simulation) fills them in. A value that nobody
measured or entered has no row, so it can never be blamed.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from assistant.messages import RodState
from assistant.outings.quantities import QUANTITIES, Quantity

MINUTE_S = 60.0
LARGEST = 1e9
"""In SI nothing here is larger, and no sensor as good as its inverse; what is, is no value."""
Origin = Literal["measured", "entered", "worked out"]


@dataclass(frozen=True, slots=True)
class Observed:
    """One value of one quantity, how uncertain it is (1 sigma, the same unit), and where it comes from.

    "worked out" is computed from measured inputs by the line or current model. `where` is for people: "load cell P1".
    """

    value: float
    sigma: float
    origin: Origin
    where: str
    toward_rad: float | None = None  # of a current: the true direction it moves toward


@dataclass(frozen=True, slots=True)
class RodMinute:
    """One rod during one minute; None = nobody knows."""

    rod: str
    rod_state: RodState
    at_band: bool | None  # the lure was in the band of depth it is meant for
    at_speed: bool | None  # and within the wanted lure speed
    dragging: bool = False
    fouled: bool = False
    tripped: bool = False
    seen: Mapping[str, Observed] = field(default_factory=dict)

    @property
    def workable(self) -> bool:
        """Whether the line could take a fish at all, at its band or not."""
        return self.rod_state == "fishing" and not (self.dragging or self.fouled or self.tripped)

    @property
    def effective(self) -> bool | None:
        """Whether the minute counts as effort; None: it would, but depth or lure speed is unknown."""
        if not self.workable or self.at_band is False or self.at_speed is False:
            return False
        return None if self.at_band is None or self.at_speed is None else True


@dataclass(frozen=True, slots=True)
class Minute:
    """One minute of the outing from `t_s` on; `seen` holds what is the same for every rod."""

    t_s: float
    rods: tuple[RodMinute, ...]
    seen: Mapping[str, Observed] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Strike:
    """A fish on, with or without a rod."""

    t_s: float
    rod: str | None = None


@dataclass(frozen=True, slots=True)
class Track:
    """One quantity through the outing: (N, R) for rods, (N, 1) for the boat; NaN = not seen.

    Values are complex so that directions and currents are compared like numbers (quantities.py).
    """

    value: NDArray[np.complex128]
    sigma: NDArray[np.float64]
    origin: Origin
    where: Sequence[str]  # per column, the last one


@dataclass(frozen=True, slots=True)
class Table:
    """The outing as arrays: N minutes, R rods."""

    t_s: NDArray[np.float64]  # (N,) when each minute began
    rods: tuple[str, ...]
    workable: NDArray[np.bool_]  # (N, R)
    effective: NDArray[np.float64]  # (N, R) 1, 0, or NaN where unknown
    tracks: Mapping[str, Track]

    def until(self, now_s: float) -> Table:
        """Only the minutes that were over at `now_s` [s]."""
        n = int(np.searchsorted(self.t_s + MINUTE_S, now_s, side="right"))
        tracks = {
            name: Track(track.value[:n], track.sigma[:n], track.origin, track.where)
            for name, track in self.tracks.items()
        }
        return Table(self.t_s[:n], self.rods, self.workable[:n], self.effective[:n], tracks)

    def minute_of(self, t_s: float) -> int:
        """Index of the last minute that had begun at `t_s` [s]; -1 before the first."""
        return int(np.searchsorted(self.t_s, t_s, side="right")) - 1


def tabulate(minutes: Iterable[Minute]) -> Table:
    """Rows to arrays, in order of time; of two rows of one minute the later one counts.

    Left out are values that are no numbers of this world or have no sigma above 0, and names QUANTITIES does not have.
    An entered value holds for its quantity's `hold_min` or until the next one.
    """
    rows = [row for _, row in sorted({m.t_s: m for m in minutes if abs(m.t_s) <= LARGEST}.items())]
    rods = tuple(dict.fromkeys(r.rod for row in rows for r in row.rods))
    column = {rod: i for i, rod in enumerate(rods)}
    workable = np.zeros((len(rows), len(rods)), dtype=bool)
    effective = np.zeros((len(rows), len(rods)))
    for n, row in enumerate(rows):
        for r in row.rods:
            workable[n, column[r.rod]] = r.workable
            effective[n, column[r.rod]] = math.nan if r.effective is None else float(r.effective)
    t_s = np.array([row.t_s for row in rows])
    tracks = {
        name: track
        for name, quantity in QUANTITIES.items()
        if (track := _track(rows, t_s, column, name, quantity)) is not None
    }
    return Table(t_s, rods, workable, effective, tracks)


def _track(
    rows: Sequence[Minute], t_s: NDArray[np.float64], column: Mapping[str, int], name: str, quantity: Quantity
) -> Track | None:
    """One quantity's arrays; None if it was never seen."""
    cells = [
        (n, column[r.rod], r.seen[name]) for n, row in enumerate(rows) for r in row.rods if name in r.seen
    ]
    columns = len(column)
    if not cells:
        cells = [(n, 0, row.seen[name]) for n, row in enumerate(rows) if name in row.seen]
        columns = 1
    value = np.full((len(rows), columns), complex(math.nan, math.nan))
    sigma = np.full((len(rows), columns), math.nan)
    where = [""] * columns
    origin: Origin | None = None
    for n, c, seen in cells:
        if (plotted := plot(quantity, seen)) is None:
            continue
        value[n, c], sigma[n, c] = plotted
        where[c], origin = seen.where, seen.origin
    if origin is None:
        return None
    if quantity.hold_min > 0.0:
        _hold(value, sigma, t_s, quantity.hold_min * MINUTE_S)
    return Track(value, sigma, origin, where)


def plot(quantity: Quantity, seen: Observed) -> tuple[complex, float] | None:
    """A seen value as the complex number it is compared as, with its sigma; None if it is no number."""
    if not (abs(seen.value) <= LARGEST and 1.0 / LARGEST <= seen.sigma <= LARGEST):
        return None
    match quantity.kind:
        case "plain":
            return complex(seen.value), seen.sigma
        case "ratio":
            known = seen.value >= 1.0 / LARGEST
            return (complex(math.log(seen.value)), seen.sigma / seen.value) if known else None
        case "direction":
            return cmath.rect(1.0, seen.value), seen.sigma
        case "current":
            known = seen.toward_rad is not None and abs(seen.toward_rad) <= LARGEST
            return (cmath.rect(seen.value, seen.toward_rad or 0.0), seen.sigma) if known else None


def _hold(
    value: NDArray[np.complex128], sigma: NDArray[np.float64], t_s: NDArray[np.float64], hold_s: float
) -> None:
    """Carry each entry on until the next, for `hold_s` [s] at most; in place."""
    for c in range(value.shape[1]):
        last = -1
        for n in range(value.shape[0]):
            if not math.isnan(sigma[n, c]):
                last = n
            elif last >= 0 and t_s[n] - t_s[last] <= hold_s:
                value[n, c], sigma[n, c] = value[last, c], sigma[last, c]


@dataclass(frozen=True, slots=True)
class Effort:
    """Strikes and effort up to one instant, in spread-hours [h]: one hour of every rod that fished today."""

    hours: float  # all of the day so far
    silent_hours: float  # of them since the last strike
    at_hours: NDArray[np.float64]  # effort at which each counted strike came
    off: int  # strikes of rods whose minutes did not count as effort; they end a silence and are not in the rate


def worths(table: Table, unknown: float) -> NDArray[np.float64]:
    """What each rod's minute counts as effort, (N, R); `unknown` where nobody knows depth or lure speed."""
    return np.where(np.isnan(table.effective), unknown, table.effective)


def effort(table: Table, worth: NDArray[np.float64], strikes: Sequence[Strike]) -> Effort:
    """Effort and strikes of a whole table.

    Args:
        worth: (N, R) what each rod's minute counts, 0 to 1.
        strikes: none later than the table's end.
    """
    total = np.concatenate([[0.0], worth.sum(axis=1).cumsum() / 60.0 / spread_size(worth)])
    edges = np.concatenate([table.t_s, table.t_s[-1:] + MINUTE_S]) if len(table.t_s) else np.zeros(1)
    last = max((s.t_s for s in strikes), default=-math.inf)
    counted = [s.t_s for s in strikes if _counts(table, worth, s)]
    at_hours = np.sort(np.interp(counted, edges, total)) if counted else np.zeros(0)
    silent = float(total[-1]) - float(np.interp(last, edges, total)) if strikes else float(total[-1])
    return Effort(float(total[-1]), silent, at_hours, len(strikes) - len(counted))


def spread_size(worth: NDArray[np.float64]) -> int:
    """How many rods counted at any time of the outing; at least 1."""
    return max(1, int((worth > 0.0).any(axis=0).sum())) if worth.size else 1


def minute_before(table: Table, strike: Strike) -> int:
    """Index of the minute that was over or running one minute before a strike; -1 if there was none."""
    return table.minute_of(strike.t_s - MINUTE_S)


def _counts(table: Table, worth: NDArray[np.float64], strike: Strike) -> bool:
    """Whether a strike came in effort: its rod's minute before counts; without a rod, any rod's."""
    n = minute_before(table, strike)
    if n < 0:
        return False
    if strike.rod in table.rods:
        return bool(worth[n, table.rods.index(strike.rod)] > 0.0)
    return bool((worth[n] > 0.0).any())
