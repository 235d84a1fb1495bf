"""What a forecast says. Frozen, SI; bands are (value, 10 %, 90 %) along the last axis; NaN where nothing is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.manoeuvre import Manoeuvre
from assistant.messages import OutlookKind, State

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst of something over the time ahead, with its band, and when the nominal line gets there [s from now]."""

    value: float
    low: float
    high: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Bottom:
    """Gap of one line's lowest point to the bottom at its own place; `known` is the share of the time it is known.

    until_s: up to when it is known wherever the line may come near it [s from now]; inf: all the time ahead.
    """

    gap_m: Array  # (K, 3)
    least: Worst
    known: float
    cause: str = ""  # why it is not known all the time
    until_s: float = math.nan  # as recorded: not kept


@dataclass(frozen=True, slots=True)
class LineAhead:
    """One rod's line over the time ahead; rise and sink are from its depth now."""

    rod: str
    firm: bool  # its state is known and still: fishing
    depth_m: Array  # (K, 3) of the lure
    lure_speed_mps: Array  # (K, 3)
    tension_n: Array  # (K, 3) at the rod tip
    rise: Worst  # m, >= 0
    sink: Worst  # m, >= 0
    slowest: Worst  # lure, m/s
    fastest: Worst  # lure, m/s
    peak: Worst  # pull at the rod tip, N
    bottom: Bottom | None = None  # None: no soundings were given


@dataclass(frozen=True, slots=True)
class PairAhead:
    """Two lines where they come closest over the time ahead: the gap [m], and the place then, in the boat's axes.

    place_m: forward, starboard, down.
    """

    rods: tuple[str, str]
    gap: Worst
    place_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Forecast:
    """All lines through one manoeuvre, from t_s on; K instants, the first is now.

    In the flow (alerts) it comes as it is recorded, see recorded.py: fewer instants, of the pull only the peak, of the
    pairs only those that come near each other, and no line_gap_m.
    """

    t_s: float
    manoeuvre: Manoeuvre
    times_s: Array  # (K,) from now
    lines: Mapping[str, LineAhead] = field(default_factory=dict)
    line_gap_m: Array = field(default_factory=lambda: np.zeros((0, 3)))  # (K, 3) of the two nearest lines
    nearest: tuple[tuple[str, str], ...] = ()  # (K,) which two those are
    pairs: tuple[PairAhead, ...] = ()  # of all lines, the closest first
    lost: Mapping[str, str] = field(default_factory=dict)  # rods of which nothing is said, and why
    kind: OutlookKind = "straight"
    state: State = "ok"  # of the weakest input it rests on; then all of it is at most as good
    cause: str = ""  # why that is not ok

    def age_s(self, t_s: float) -> float:
        """How old it is at t_s [s]."""
        return t_s - self.t_s

    def nearest_to(self, rod: str) -> PairAhead | None:
        """The pair in which a rod's line comes closest to another."""
        return next((pair for pair in self.pairs if rod in pair.rods), None)
