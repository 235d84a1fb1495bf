"""Many lines marched far ahead in one go, compiled: whole lines, pull and lure speed kept at chosen instants.

A group of eight lines goes through all its steps before the next one begins, so that it stays in the fast memory of
the core; stepping all groups together (kernel.march_all) is for one step at a time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.fleet import Fleet
from assistant.lines.kernel import current_at, march
from assistant.lines.layout import FIELDS, LANES
from assistant.lines.segment import pull_at_tip

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_compiled = njit(cache=True, nogil=True, error_model="numpy")


@dataclass(frozen=True, slots=True)
class Seen:
    """n lines at K instants: nodes [m] (K, n, N+1, 3) tow point first; pull [N], lure speed [m/s], (K, n) each.

    NaN from where the march of a line failed.
    """

    points_m: Array
    pull_n: Array
    lure_speed_mps: Array

    @property
    def depth_m(self) -> Array:
        """(K, n) depth of the lures [m]."""
        return np.asarray(self.points_m[:, :, -1, 2])


@_compiled
def _keep(w: Array, nodes: int, profile: Array, points: Array, pull: Array, speed: Array) -> None:
    """Write down eight lines as they are: points (LANES, N+1, 3), pull and lure speed (LANES,)."""
    pull_at_tip(w, pull)
    view = w.reshape(nodes + 1, FIELDS, LANES)
    for j in range(LANES):
        for i in range(nodes + 1):
            for axis in range(3):
                points[j, i, axis] = view[i, layout.X1 + axis, j]
        north, east = 0.0, 0.0
        if profile.shape[0] > 0:
            a, b, _, _ = current_at(profile, view[nodes, layout.Z1, j])
            c, s = view[0, layout.TURN, j], view[1, layout.TURN, j]
            north, east = c * a - s * b, s * a + c * b
        speed[j] = math.sqrt(
            (view[nodes, layout.VX1, j] - north) ** 2
            + (view[nodes, layout.VY1, j] - east) ** 2
            + view[nodes, layout.VZ1, j] ** 2
        )


@_compiled
def _march_kept(
    works: Array,
    nodes: int,
    has_body: NDArray[np.uint8],
    share: Array,
    profile: Array,
    tips: Array,
    mains: Array,
    marks: Indices,
    dt: float,
    restart: bool,
    tolerance: float,
    points: Array,
    pull: Array,
    speed: Array,
) -> None:
    """See `march_ahead`; tips (G, T, 6, LANES), mains (G, LANES); the last three (K, G*LANES, ...) are filled."""
    for g in range(works.shape[0]):
        lanes = slice(g * LANES, (g + 1) * LANES)
        w, first = works[g], restart
        main = np.empty((tips.shape[1], LANES))
        for k in range(tips.shape[1]):
            for j in range(LANES):
                main[k, j] = mains[g, j]
        for m in range(marks.shape[0]):
            if m > 0 and marks[m] > marks[m - 1]:
                way = tips[g, marks[m - 1] : marks[m] + 1]
                done = march(
                    w, nodes, has_body[g], share[g], profile, way, main[: way.shape[0]], dt, first, tolerance
                )
                if done < 0:
                    break
                first = done > 0
            _keep(w, nodes, profile, points[m, lanes], pull[m, lanes], speed[m, lanes])


def march_ahead(
    fleet: Fleet, tips: Array, profile: Array, marks: Indices, dt: float, restart: bool, tolerance: float
) -> Seen:
    """March every line along its tow point's way; line lengths stay as they are.

    Args:
        tips: (T, 6, n) tow points, position and velocity, every dt [s]; row 0 is where they are in the fleet.
        marks: (K,) rising rows of tips at which to look, the first 0. profile, restart, tolerance: see kernel.march.
    """
    groups, last = len(fleet.works), marks[-1] + 1
    spare = groups * LANES - fleet.count
    wide = np.concatenate([tips[:last], np.repeat(tips[:last, :, -1:], spare, axis=2)], axis=2)
    by_group = np.ascontiguousarray(wide.reshape(last, 6, groups, LANES).transpose(2, 0, 1, 3))
    shape = (len(marks), groups * LANES)
    points = np.full((*shape, fleet.cut.total + 1, 3), np.nan)
    pull, speed = np.full(shape, np.nan), np.full(shape, np.nan)
    _march_kept(
        fleet.works.copy(), fleet.cut.total, fleet.has_body, fleet.share, profile, by_group, fleet.mains_m,
        marks, dt, restart, tolerance, points, pull, speed,
    )  # fmt: skip
    n = fleet.count
    return Seen(points[:, :n], pull[:, :n], speed[:, :n])
