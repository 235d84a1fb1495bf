"""Where lines fold, and for how long that matters: bends of the present shape, compiled, eight lines at a time.

A line folds when, under water and between two bodies, it turns back by more than 90 degrees within REACH. Its drag then
hangs on bends smaller than a piece, and its depth may be off by decimetres until it has run straight again.
A body may turn a line that sharply without harm (a leader at a planer in a turn, at a weight). But where a line turns
back at one point by more than KINK_COS, a body or not, it goes slack there, and its depth afterwards hangs on the
instant at which it snaps straight: that wants shorter steps, from the kink until a while after it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout

Array = NDArray[np.float64]

REACH = 5.0 / 24.0  # of all pieces: a quarter of a main line
FOLD_S = 30.0
"""How long a line counts as folding after it last was (tests/campaigns/live_error.py: the error has faded by then)."""
KINK_COS = -0.3  # 107 degrees
KINK_S = 30.0
LOOK_S = 1.0  # time between two looks: bends come and go in seconds

_at = layout.place
_LANES, _NODE = layout.ULANES, layout.NODE
_1, _2 = _at(1), _at(2)
_X1, _MASS, _WET, _DRAG = _at(layout.X1), _at(layout.B_MASS), _at(layout.B_WET), _at(layout.B_DRAG)

_inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)


@dataclass(frozen=True, slots=True)
class Bends:
    """How long ago [s] each line was last seen to fold and to kink (G, LANES), and when anyone last looked."""

    folded_s: Array
    kinked_s: Array
    parts: NDArray[np.int64]  # (G,) into how many each group's step is divided
    looked_s: float = LOOK_S

    def folding(self) -> NDArray[np.bool_]:
        """(G, LANES) which lines fold, or did until lately."""
        return self.folded_s < FOLD_S


def unbent(groups: int) -> Bends:
    """Lines that never folded."""
    never = np.full((groups, layout.LANES), np.inf)
    return Bends(never, never, np.ones(groups, np.int64))


def looked(bends: Bends, works: Array, nodes: int, dt: float, finer: int) -> Bends:
    """The bends dt [s] later, when the lines lie as in `works` (G, size); `finer`: parts of a step for a kink."""
    since_s = bends.looked_s + dt
    if since_s < LOOK_S:
        return replace(bends, looked_s=since_s)
    after = Bends(
        np.empty_like(bends.folded_s), np.empty_like(bends.kinked_s), np.empty_like(bends.parts), 0.0
    )
    reach = max(1, round(REACH * nodes))
    _look(
        works,
        nodes,
        reach,
        since_s,
        finer,
        bends.folded_s,
        bends.kinked_s,
        after.folded_s,
        after.kinked_s,
        after.parts,
    )
    return after


@njit(cache=True, nogil=True, error_model="numpy")
def _look(
    works: Array,
    nodes: int,
    reach: int,
    since_s: float,
    finer: int,
    folded_s: Array,
    kinked_s: Array,
    next_folded_s: Array,
    next_kinked_s: Array,
    parts: NDArray[np.int64],
) -> None:
    """Fill the last three: since when lines fold and kink, since_s [s] later, and the parts of each group's step."""
    folds, kinks = np.empty(layout.LANES), np.empty(layout.LANES)
    for g in range(works.shape[0]):
        for j in range(layout.LANES):
            folds[j], kinks[j] = 0.0, 0.0
        _bends(works[g], nodes, reach, folds, kinks)
        parts[g] = 1
        for j in range(layout.LANES):
            next_folded_s[g, j] = 0.0 if folds[j] > 0.0 else folded_s[g, j] + since_s
            next_kinked_s[g, j] = 0.0 if kinks[j] > 0.0 else kinked_s[g, j] + since_s
            if next_kinked_s[g, j] < KINK_S:
                parts[g] = finer


@_inline
def _way(w: Array, p: np.uint64) -> tuple[float, float, float]:
    """Along the segment above a node."""
    q = p - _NODE
    return (w[p + _X1] - w[q + _X1], w[p + _X1 + _1] - w[q + _X1 + _1], w[p + _X1 + _2] - w[q + _X1 + _2])


@_inline
def _dot(a: tuple[float, float, float], b: tuple[float, float, float]) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(cache=True, nogil=True, error_model="numpy")
def _bends(w: Array, nodes: int, reach: int, folds: Array, kinks: Array) -> None:
    """Set a lane's entry to 1 where its line folds, and where it kinks."""
    free = np.empty(layout.LANES)
    for i in range(1, nodes):
        upper = np.uint64(i) * _NODE
        for j in range(_LANES):
            free[j] = 1.0
        for k in range(i, min(i + reach, nodes)):
            lower = np.uint64(k) * _NODE
            for j in range(_LANES):
                p, q = upper + j, lower + j
                a, b = _way(w, p), _way(w, q + _NODE)
                turn = _dot(a, b)
                wet = 1.0 if w[p + _X1 + _2] > 0.0 else 0.0
                back = wet if turn < 0.0 else 0.0
                tied = w[q + _MASS] + w[q + _DRAG] + abs(w[q + _WET])
                free[j] = 0.0 if tied > 0.0 else free[j]
                fold = back * free[j]
                folds[j] = fold if fold > folds[j] else folds[j]
                if k == i:
                    kink = back if turn * turn > KINK_COS * KINK_COS * _dot(a, a) * _dot(b, b) else 0.0
                    kinks[j] = kink if kink > kinks[j] else kinks[j]
