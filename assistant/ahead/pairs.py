"""Where lines come closest to each other, whole lines in three dimensions, compiled.

Lines leave rod tips half a metre apart, so the first CLEAR_M of each below its tow point are left out.
Distance of two pieces: Ericson 2005, "Real-Time Collision Detection", section 5.1.9 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CLEAR_M = 10.0

_compiled = njit(cache=True, nogil=True, error_model="numpy")


@_compiled
def _nearest(p: Array, p2: Array, q: Array, q2: Array) -> tuple[float, float]:
    """Squared distance of two pieces, and where along the first it is (0..1)."""
    a, b, c, d, e = 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        u, v, w = p2[k] - p[k], q2[k] - q[k], p[k] - q[k]
        a += u * u
        b += u * v
        c += u * w
        d += v * v
        e += v * w
    det = a * d - b * b
    s = min(max((b * e - c * d) / det, 0.0), 1.0) if det > 1e-12 * a * d and det > 0.0 else 0.0
    t = (b * s + e) / d if d > 0.0 else 0.0
    if t < 0.0 or t > 1.0:
        t = min(max(t, 0.0), 1.0)
        s = min(max((b * t - c) / a, 0.0), 1.0) if a > 0.0 else 0.0
    total = 0.0
    for k in range(3):
        off = p[k] + s * (p2[k] - p[k]) - q[k] - t * (q2[k] - q[k])
        total += off * off
    return total, s


@_compiled
def _apart(a: Array, b: Array) -> float:
    """Squared distance of two boxes, (2, 3) lowest and highest corner."""
    total = 0.0
    for k in range(3):
        gap = max(a[0, k] - b[1, k], b[0, k] - a[1, k], 0.0)
        total += gap * gap
    return total


@_compiled
def _box(line: Array, first: int, last: int, out: Array) -> None:
    """The box around the nodes first..last."""
    for k in range(3):
        low, high = line[first, k], line[first, k]
        for i in range(first + 1, last + 1):
            low, high = min(low, line[i, k]), max(high, line[i, k])
        out[0, k], out[1, k] = low, high


@_compiled
def _balls(line: Array, out: Array) -> None:
    """Middle (3) and half length of every piece of a line, (N, 4)."""
    for i in range(line.shape[0] - 1):
        square = 0.0
        for k in range(3):
            out[i, k] = 0.5 * (line[i, k] + line[i + 1, k])
            square += (line[i + 1, k] - line[i, k]) ** 2
        out[i, 3] = 0.5 * math.sqrt(square)


@_compiled
def _two_lines(
    p: Array, q: Array, balls_p: Array, balls_q: Array, from_p: int, from_q: int, limit: float, where: Array
) -> float:
    """Squared distance of two lines if below `limit`, else `limit`; `where` becomes the place on the first."""
    best, root = limit, math.sqrt(limit)
    for i in range(from_p, p.shape[0] - 1):
        for j in range(from_q, q.shape[0] - 1):
            reach = balls_p[i, 3] + balls_q[j, 3] + root
            dx, dy = balls_p[i, 0] - balls_q[j, 0], balls_p[i, 1] - balls_q[j, 1]
            dz = balls_p[i, 2] - balls_q[j, 2]
            if dx * dx + dy * dy + dz * dz >= reach * reach:
                continue
            square, s = _nearest(p[i], p[i + 1], q[j], q[j + 1])
            if square < best:
                best, root = square, math.sqrt(square)
                for k in range(3):
                    where[k] = p[i, k] + s * (p[i + 1, k] - p[i, k])
    return best


@_compiled
def _closest(
    points: Array, first: NDArray[np.int64], a_of: NDArray[np.int64], b_of: NDArray[np.int64], least: Array,
    pair: NDArray[np.int64], by_pair: Array, when: NDArray[np.int64], places: Array,
) -> None:  # fmt: skip
    """See `closest`; a_of, b_of: the pairs to look at; by_pair holds squares."""
    lines, nodes = points.shape[1], points.shape[2]
    boxes, balls = np.empty((lines, 2, 3)), np.empty((lines, nodes - 1, 4))
    where = np.empty(3)
    nearest = 0
    for k in range(points.shape[0]):
        for r in range(lines):
            _box(points[k, r], first[r], nodes - 1, boxes[r])
            _balls(points[k, r], balls[r])
        best, start = np.inf, nearest  # the pair that was nearest comes first: most others are then soon left
        for turn in range(a_of.shape[0]):
            n = (start + turn) % a_of.shape[0]
            a, b = a_of[n], b_of[n]
            limit = max(best, by_pair[a, b])
            if not _apart(boxes[a], boxes[b]) < limit:
                continue
            square = _two_lines(
                points[k, a], points[k, b], balls[a], balls[b], first[a], first[b], limit, where
            )
            if square < best:
                best, nearest = square, n
                pair[k, 0], pair[k, 1] = a, b
            if square < by_pair[a, b]:
                by_pair[a, b], when[a, b] = square, k
                for axis in range(3):
                    places[a, b, axis] = where[axis]
        least[k] = math.sqrt(best)


class Closest:
    """What `closest` found: see there."""

    __slots__ = ("by_pair_m", "least_m", "pair", "places_m", "when")

    def __init__(self, instants: int, lines: int) -> None:
        self.least_m: Array = np.full(instants, np.inf)
        self.pair: NDArray[np.int64] = np.zeros((instants, 2), np.int64)
        self.by_pair_m: Array = np.full((lines, lines), np.inf)
        self.when: NDArray[np.int64] = np.zeros((lines, lines), np.int64)
        self.places_m: Array = np.full((lines, lines, 3), np.nan)


def closest(points_m: Array, first: NDArray[np.int64], skip: Flags) -> Closest:
    """The least gap of every two lines.

    Args:
        points_m: (K, R, N+1, 3) lines at K instants, tow point first; first: (R,) the node each line counts from.
        skip: (R, R) pairs to leave out.
    Returns:
        least_m (K,) over all pairs and pair (K, 2) of which; for a < b: by_pair_m (R, R) over all instants, when (R, R)
        the instant and places_m (R, R, 3) the place on line a. A line with a hole (NaN) is near nothing.
    """
    found = Closest(points_m.shape[0], points_m.shape[1])
    a_of, b_of = np.nonzero(np.triu(~skip, 1))
    _closest(
        np.ascontiguousarray(points_m), first, a_of, b_of,
        found.least_m, found.pair, found.by_pair_m, found.when, found.places_m,
    )  # fmt: skip
    np.sqrt(found.by_pair_m, out=found.by_pair_m)
    return found


def first_nodes(points_m: Array) -> NDArray[np.int64]:
    """(R,) the node from which each of (R, N+1, 3) lines counts: CLEAR_M below its tow point, the lure's at most."""
    along = np.cumsum(np.linalg.norm(np.diff(points_m, axis=1), axis=2), axis=1)
    return np.asarray(np.minimum(1 + (along < CLEAR_M).sum(axis=1), points_m.shape[1] - 2), np.int64)
