"""The kernel's lines as people see them: lure depth, swing and setback from the rod tip, pull, lure speed."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.kernel import current_at
from assistant.lines.layout import FIELDS, LANES
from assistant.lines.segment import pull_at_tip

Array = NDArray[np.float64]


@njit(cache=True, nogil=True, error_model="numpy")
def _lure_speed(profile: Array, north: float, east: float, end: Array, velocity: Array) -> float:
    """Speed through the water [m/s] at the end, in this line's own current (the profile scaled and turned)."""
    wn, we = 0.0, 0.0
    if profile.shape[0] > 0:
        a, b, _, _ = current_at(profile, end[2])
        wn, we = north * a - east * b, east * a + north * b
    return math.sqrt((velocity[0] - wn) ** 2 + (velocity[1] - we) ** 2 + velocity[2] ** 2)


@njit(cache=True, nogil=True, error_model="numpy")
def _fill(works: Array, nodes: int, profile: Array, cos: float, sin: float, out: Array) -> None:
    pull = np.empty(LANES)
    for g in range(works.shape[0]):
        pull_at_tip(works[g], pull)
        view = works[g].reshape(nodes + 1, FIELDS, LANES)
        for j in range(LANES):
            row = out[g * LANES + j]
            end = view[nodes, layout.X1 : layout.X1 + 3, j]
            speed = view[nodes, layout.VX1 : layout.VX1 + 3, j]
            north = end[0] - view[0, layout.X1, j]
            east = end[1] - view[0, layout.Y1, j]
            row[0] = end[2]
            row[1] = cos * east - sin * north
            row[2] = -(cos * north + sin * east)
            row[3] = pull[j]
            row[4] = _lure_speed(profile, view[0, layout.TURN, j], view[1, layout.TURN, j], end, speed)


def seen_from_boat(works: Array, nodes: int, profile: Array, heading_rad: float) -> Array:
    """(G * LANES, 5) ordered as LINE_QUANTITIES: depth, swing (+ starboard), setback [m], pull [N], lure speed [m/s].

    Args:
        works: (G, size) of groups; profile: (M, 3) current, each lane's own by its TURN; heading_rad: the boat's.
    """
    out = np.empty((len(works) * LANES, 5))
    _fill(works, nodes, profile, math.cos(heading_rad), math.sin(heading_rad), out)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _draw(works: Array, nodes: int, starts: Array, cos: float, sin: float, out: Array) -> None:
    for line in range(out.shape[0]):
        view, j = works[line // LANES].reshape(nodes + 1, FIELDS, LANES), line % LANES
        top_north, top_east = view[0, layout.X1, j], view[0, layout.Y1, j]
        for i in range(nodes + 1):
            north, east = view[i, layout.X1, j] - top_north, view[i, layout.Y1, j] - top_east
            out[line, i, 0] = np.rint((starts[line, 0] + cos * north + sin * east) * 1e3) / 1e3
            out[line, i, 1] = np.rint((starts[line, 1] + cos * east - sin * north) * 1e3) / 1e3
            out[line, i, 2] = np.rint(view[i, layout.Z1, j] * 1e3) / 1e3


def curves_from_boat(works: Array, nodes: int, starts_m: Array, heading_rad: float) -> Array:
    """(R, N+1, 3) curves to the millimetre, x forward, y starboard, z down [m] from the boat's reference point.

    Args:
        works: (G, size) of groups; starts_m: (R, 2) where each line starts, forward and starboard [m].
    """
    out = np.empty((len(starts_m), nodes + 1, 3))
    _draw(works, nodes, starts_m, math.cos(heading_rad), math.sin(heading_rad), out)
    return out
