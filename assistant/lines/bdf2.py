"""The formulae of a time step: BDF2, also over unequal steps, on the kernel's flat array. Compiled.

v = c0 r + a1 r1 + a2 r2 and a = c0 v + b1 v1 + b2 v2, r1, v1 one step ago and r2, v2 two; a "scheme" holds c0, a1, a2,
b1, b2.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout

Array = NDArray[np.float64]

_compiled = njit(cache=True, nogil=True, error_model="numpy")
_at = layout.place
_LANES, _NODE = layout.ULANES, layout.NODE
_VECTOR = np.uint64(3 * layout.LANES)  # three fields side by side
_X, _X1, _X2 = _at(layout.X), _at(layout.X1), _at(layout.X2)
_V, _V1, _V2 = _at(layout.VX), _at(layout.VX1), _at(layout.VX2)
_T, _T1, _T2 = _at(layout.T), _at(layout.T1), _at(layout.T2)


@_compiled
def coefficients(dt: float, ratio: float, out: Array) -> None:
    """Write the scheme of a step of dt [s].

    `ratio`: this step over the last one; 0 looks no further back than one step (backward Euler).
    """
    r = 1.0 / dt
    near = -(1.0 + ratio) * r
    far = ratio * ratio / (1.0 + ratio) * r
    out[0], out[1], out[2], out[3], out[4] = (1.0 + 2.0 * ratio) / (1.0 + ratio) * r, near, far, near, far


@_compiled
def velocities(w: Array, nodes: int, c0: float, a1: float, a2: float, drift: Array) -> None:
    """Velocity of every node from its positions: v = c0 r + a1 r1 + a2 r2 + drift."""
    for i in range(nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_VECTOR):
            p = b + j
            w[p + _V] = c0 * w[p + _X] + a1 * w[p + _X1] + a2 * w[p + _X2] + drift[j]


@_compiled
def predict(w: Array, nodes: int, dt: float, ratio: float) -> None:
    """Start values of a step: positions by the last velocities, tensions by the last change."""
    grow = (1.0 + 0.5 * ratio) * dt
    lag = 0.5 * ratio * dt
    for i in range(1, nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_VECTOR):
            p = b + j
            w[p + _X] = w[p + _X1] + grow * w[p + _V1] - lag * w[p + _V2]
        for j in range(_LANES):
            p = b + j
            guess = w[p + _T1] + ratio * (w[p + _T1] - w[p + _T2])
            least = 0.5 * w[p + _T1]
            w[p + _T] = guess if guess > least else least


@_compiled
def shift(w: Array, nodes: int, scheme: Array, drift: Array) -> None:
    """Accept the step: the present becomes the past."""
    velocities(w, nodes, scheme[0], scheme[1], scheme[2], drift)
    for i in range(nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_VECTOR):
            p = b + j
            w[p + _X2], w[p + _X1] = w[p + _X1], w[p + _X]
            w[p + _V2], w[p + _V1] = w[p + _V1], w[p + _V]
        for j in range(_LANES):
            p = b + j
            w[p + _T2], w[p + _T1] = w[p + _T1], w[p + _T]


@_compiled
def past_from(w: Array, nodes: int, start: Array) -> None:
    """Make `start`, the state one whole step ago, the past before the present."""
    for i in range(nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_VECTOR):
            p = b + j
            w[p + _X2], w[p + _V2] = start[p + _X1], start[p + _V1]
        for j in range(_LANES):
            w[b + j + _T2] = start[b + j + _T1]
