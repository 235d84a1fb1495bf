"""Ways of the tow points: from boats that each go their own way to rod tips, boards and points of other lines. Pure.

Rod tips follow from the boats alone. A board's sag hangs on its line's pull, and what hangs on another line on that
line's way: both are known only once lines have been marched, so those lines are marched a second time with them. Law
and lag of boards, and which point of a host a line hangs on, are those of lines/towpoints.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.manoeuvre import Ways
from assistant.ahead.march import Seen, march_ahead
from assistant.lines import layout
from assistant.lines.fleet import Fleet
from assistant.lines.layout import LANES
from assistant.lines.towpoints import BOARD_LAG_S, Hung, TowPoints

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Towing:
    """What is marched: lines, their tow points, which boat tows each (n,), the boards' sag now (n,) [m], the current.

    restart, tolerance: see kernel.march.
    """

    fleet: Fleet
    points: TowPoints
    boat: Indices
    sag_m: Array
    profile: Array
    restart: bool
    tolerance: float


def marched_along(towing: Towing, ways: Ways, rows: Indices, marks: Indices, dt: float) -> Seen:
    """Every line, its boat going its way.

    Args:
        rows: (T,) rows of the ways where a step of dt [s] ends; rows[0] is ignored: lines start from where they are.
        marks: (K,) rising places in `rows` at which lines are looked at, the first 0.
    """
    tips = _boat_points(towing, ways, rows, towing.points.places_m - _aft(towing.sag_m))
    tips[0] = towing.fleet.tips.transpose(1, 0, 2).reshape(6, -1)[:, : towing.fleet.count]
    seen = march_ahead(towing.fleet, tips, towing.profile, marks, dt, towing.restart, towing.tolerance)
    if towing.points.plain:
        return seen
    _sag_boards(towing, ways, rows, marks, dt, seen, tips)
    for hung in towing.points.hung:
        _hang(towing.fleet, hung, seen, marks, dt, tips)
    return _again(towing, tips, marks, dt, seen)


def _aft(sag_m: Array) -> Array:
    return np.outer(sag_m, [1.0, 0.0, 0.0])


def _boat_points(towing: Towing, ways: Ways, rows: Indices, places_m: Array) -> Array:
    """(T, 6, n) position and velocity of points fixed to the boats, (n, 3) or (T, n, 3) forward, starboard, height."""
    boat = towing.boat
    heading, turn = ways.heading_rad[rows], ways.turn_radps[rows][:, boat]
    c, s = np.cos(heading)[:, boat], np.sin(heading)[:, boat]
    speed = ways.speed_mps[rows][:, boat]
    ahead, abeam = places_m[..., 0], places_m[..., 1]
    dx, dy = c * ahead - s * abeam, s * ahead + c * abeam
    out = np.zeros((len(rows), 6, len(boat)))
    out[:, 0] = ways.north_m[rows][:, boat] + dx
    out[:, 1] = ways.east_m[rows][:, boat] + dy
    out[:, 2] = -places_m[..., 2]
    out[:, 3] = speed * c - turn * dy
    out[:, 4] = speed * s + turn * dx
    return out


def _sag_boards(
    towing: Towing, ways: Ways, rows: Indices, marks: Indices, dt: float, seen: Seen, tips: Array
) -> None:
    """Let the boards sag as their lines pulled the first time, in place."""
    points = towing.points
    boards = points.sag_most_m > 0.0
    if not boards.any():
        return
    sag = np.empty((len(marks), len(boards)))
    sag[0] = towing.sag_m
    for k in range(1, len(marks)):
        wanted = np.minimum(points.sag_m_per_n * seen.pull_n[k - 1], points.sag_most_m)
        share = 1.0 - math.exp(-dt * float(marks[k] - marks[k - 1]) / BOARD_LAG_S)
        sag[k] = sag[k - 1] + share * (wanted - sag[k - 1])
    each = np.array([np.interp(np.arange(len(rows)), marks, line) for line in sag.T]).T
    places = points.places_m - each[..., None] * np.array([1.0, 0.0, 0.0])
    tips[1:, :, boards] = _boat_points(towing, ways, rows, places)[1:][:, :, boards]


def _hang(fleet: Fleet, hung: Hung, seen: Seen, marks: Indices, dt: float, tips: Array) -> None:
    """Hang lines on where their hosts went the first time, in place."""
    groups, lanes = np.divmod(hung.hosts, LANES)
    lengths = fleet.views()[groups, :, layout.LENGTH, lanes][:, hung.node : 0 : -1]  # from that node up
    along = np.concatenate([np.zeros((len(lengths), 1)), np.cumsum(lengths, axis=1)], axis=1)
    nodes = seen.points_m[:, hung.hosts][:, :, hung.node :: -1]
    places = np.empty((len(marks), 3, len(hung.hosts)))
    for k, length in enumerate(along):
        above = min(0.5 * length[-1] if hung.above_m is None else hung.above_m, length[-1])
        under = min(int(np.searchsorted(length, above, side="right")), len(length) - 1) - 1
        share = (above - length[under]) / (length[under + 1] - length[under])
        places[:, :, k] = (1.0 - share) * nodes[:, k, under] + share * nodes[:, k, under + 1]
    tips[1:, :, hung.lines] = _between(places, _times(marks, dt), _times(np.arange(len(tips)), dt))[1:]


def _times(steps: Indices, dt: float) -> Array:
    return np.asarray(dt * steps, np.float64)


def _between(places: Array, known_s: Array, wanted_s: Array) -> Array:
    """(T, 6, n) position and velocity at wanted_s of points (K, 3, n) known at known_s: a cubic through them."""
    slope = np.gradient(places, known_s, axis=0)
    k = np.clip(np.searchsorted(known_s, wanted_s, side="right") - 1, 0, len(known_s) - 2)
    step = (known_s[k + 1] - known_s[k])[:, None, None]
    s = (wanted_s - known_s[k])[:, None, None] / step
    p, q, u, v = places[k], places[k + 1], step * slope[k], step * slope[k + 1]
    bend, twist = 3.0 * (q - p) - 2.0 * u - v, u + v - 2.0 * (q - p)
    return np.concatenate(
        [p + s * (u + s * (bend + s * twist)), (u + s * (2.0 * bend + 3.0 * s * twist)) / step], axis=1
    )


def _again(towing: Towing, tips: Array, marks: Indices, dt: float, seen: Seen) -> Seen:
    """March once more the groups that hold a line on a board or on another line."""
    fleet = towing.fleet
    special = np.flatnonzero(towing.points.sag_most_m > 0.0)
    for hung in towing.points.hung:
        special = np.concatenate([special, np.arange(hung.lines.start, hung.lines.stop)])
    groups = np.unique(special // LANES)
    lines = np.minimum((groups[:, None] * LANES + np.arange(LANES)).reshape(-1), fleet.count - 1)
    part = replace(
        fleet, works=fleet.works[groups], has_body=fleet.has_body[groups], share=fleet.share[groups],
        mains_m=fleet.mains_m[groups], tips=fleet.tips[groups], count=len(lines),
    )  # fmt: skip
    fresh = march_ahead(part, tips[:, :, lines], towing.profile, marks, dt, towing.restart, towing.tolerance)
    for old, new in (
        (seen.points_m, fresh.points_m), (seen.pull_n, fresh.pull_n), (seen.lure_speed_mps, fresh.lure_speed_mps),
    ):  # fmt: skip
        old[:, lines] = new
    return seen
