"""The gap between a line's lowest point and the bottom where that point is. Pure.

Soundings are kept where the boat passed, in a frame fixed to the ground: the boat's way through the surface layer and
the way of that layer (set and drift) added up. A line meets the bottom the boat passed a minute or two before, so its
depth there is read off the track: between soundings in a straight line, beside the track with a sigma that grows with
the distance by the slope the track itself shows. Beyond the ends of the track nothing is known; a line that is less
than FAR_SHARE as deep as anything sounded around the boat needs no sounding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.ahead import earlier
from assistant.ahead.bands import banded, by_member, worst_of
from assistant.ahead.march import Seen
from assistant.ahead.outlook import Bottom, Worst
from assistant.lines.draws import normal_draws
from assistant.lines.motion import Motion
from assistant.messages import BoatState

Array = NDArray[np.float64]

SPACING_M = 4.0  # between two soundings that are kept
MOST = 600  # of them: the last 2.4 km
BREAK_M = 20.0  # further apart they are not joined
BESIDE_M = 40.0  # judgement: further from the track its depth tells nothing
BEYOND_M = 30.0  # judgement: past its ends; in a turn lines come to lie where the boat has not been yet
LEAST_SLOPE = 0.02  # judgement: no bottom is trusted to be flatter
EARLIER_SLOPE = 0.05  # judgement: nor to be known better between the soundings of another day
SLOPE_OVER = 5  # soundings, 20 m: as far as lines swing
AROUND_M = 300.0  # judgement: soundings this near the boat say what bottom there is around it
AROUND_LEAST = 20  # of them, 80 m of track
FAR_SHARE = 0.5  # judgement: no bottom rises, unseen from the boat, to half its least depth around
UNKNOWN_DRIFT_MPS = 0.25  # 1 sigma of a current nobody measured; see estimate/heading.py
JUMP_MPS = 6.0  # faster than this a place is not sailed to: the lines were settled anew
FRESH = ("ok", "doubtful")


@dataclass(frozen=True, slots=True)
class Soundings:
    """The track: rows of north, east [m] over ground, depth of the bottom, its sigma [m], t_s.

    drifted_m: how far the surface layer has gone so far; drift_mps with its sigma: how fast it goes now, north, east.
    place_m: the boat in the frame of the lines at t_s.
    """

    track: Array  # (N, 5)
    t_s: float
    place_m: tuple[float, float]
    drifted_m: tuple[float, float] = (0.0, 0.0)
    drift_mps: tuple[float, float] = (0.0, 0.0)
    drift_sigma_mps: float = UNKNOWN_DRIFT_MPS
    elsewhere_m: float | None = None  # depth wherever no sounding tells, as somebody said; None: not known
    earlier: Array | None = (
        None  # (M, 4) of earlier outings, see earlier.near; read where the track says nothing
    )


def sounded(old: Soundings | None, motion: Motion, boat: BoatState) -> Soundings:
    """The track one boat state later.

    Args:
        motion: of the lines at that time (spread's); boat: depth below the surface, set and drift, each if known.
    """
    place, t_s = (motion.north_m, motion.east_m), boat.t_s
    if old is not None:
        dt = t_s - old.t_s
        if dt <= 0.0:
            return old
        if math.dist(place, old.place_m) > JUMP_MPS * dt + 1.0:
            old = None  # the frame of the lines began anew
    if old is None:
        old = Soundings(np.zeros((0, 5)), t_s, place)
    drift, sigma = _drift(old, boat)
    dt = t_s - old.t_s
    gone = (old.drifted_m[0] + dt * drift[0], old.drifted_m[1] + dt * drift[1])
    now = Soundings(old.track, t_s, place, gone, drift, sigma)
    depth = boat.water_depth_m
    if depth.value is None or depth.state not in FRESH:
        return now
    row = np.array([place[0] + gone[0], place[1] + gone[1], depth.value, depth.sigma or 0.0, t_s])
    if len(old.track) and math.dist(row[:2], old.track[-1, :2]) < SPACING_M:
        return now
    return replace(now, track=np.concatenate([old.track[-(MOST - 1) :], row[None]]))


def _drift(old: Soundings, boat: BoatState) -> tuple[tuple[float, float], float]:
    """North and east of the surface layer over ground [m/s] and the sigma; the last one known where none is."""
    toward, speed = boat.set_rad, boat.drift_mps
    if toward.value is None or speed.value is None or speed.sigma is None:
        return old.drift_mps, UNKNOWN_DRIFT_MPS
    return (speed.value * math.cos(toward.value), speed.value * math.sin(toward.value)), speed.sigma


def slope_of(track: Array) -> float:
    """How steep the bottom is, rms over some 20 m of the track, LEAST_SLOPE at least."""
    if len(track) <= SLOPE_OVER:
        return LEAST_SLOPE
    run = np.hypot(*(track[SLOPE_OVER:, :2] - track[:-SLOPE_OVER, :2]).T)
    rise = track[SLOPE_OVER:, 2] - track[:-SLOPE_OVER, 2]
    near = (run > 0.5 * SLOPE_OVER * SPACING_M) & (run < SLOPE_OVER * BREAK_M)
    if not near.any():
        return LEAST_SLOPE
    return max(LEAST_SLOPE, float(np.sqrt(np.mean((rise[near] / run[near]) ** 2))))


@njit(cache=True, nogil=True, error_model="numpy")
def _read_off(track: Array, places: Array, out: Array) -> None:
    """Rows of depth, sigma of the soundings, distance [m] and t_s of the nearest place of the track; NaN beyond it."""
    last = track.shape[0] - 1
    for q in range(places.shape[0]):
        best, best_k, best_s = np.inf, -1, 0.0
        for k in range(last):
            dn, de = track[k + 1, 0] - track[k, 0], track[k + 1, 1] - track[k, 1]
            length = dn * dn + de * de
            if length > BREAK_M * BREAK_M:
                continue
            pn, pe = places[q, 0] - track[k, 0], places[q, 1] - track[k, 1]
            s = min(max((pn * dn + pe * de) / length, 0.0), 1.0) if length > 0.0 else 0.0
            off = (pn - s * dn) ** 2 + (pe - s * de) ** 2
            if off < best:
                best, best_k, best_s = off, k, s
        out[q, :] = np.nan
        if best_k < 0:
            continue
        k, s = best_k, best_s
        at_end = (k == 0 and s == 0.0) or (k == last - 1 and s == 1.0)
        if best <= (BEYOND_M if at_end else BESIDE_M) ** 2:
            for column in range(2):
                out[q, column] = (1.0 - s) * track[k, 2 + column] + s * track[k + 1, 2 + column]
            out[q, 2] = math.sqrt(best)
            out[q, 3] = (1.0 - s) * track[k, 4] + s * track[k + 1, 4]


def bottom_at(soundings: Soundings, places_m: Array, ahead_s: Array) -> tuple[Array, Array]:
    """(Q,) depth of the bottom and its sigma [m]; NaN where it is not known.

    Args:
        places_m: (Q, 2) north, east in the frame of the lines; ahead_s: (Q,) when something is there [s from now].
    """
    drift = np.array(soundings.drift_mps)
    over_ground = places_m + np.array(soundings.drifted_m) + ahead_s[:, None] * drift
    out = np.empty((len(places_m), 4))
    _read_off(soundings.track, np.ascontiguousarray(over_ground), out)
    age_s = soundings.t_s - out[:, 3] + ahead_s
    slid = soundings.drift_sigma_mps * age_s  # by a current that is a little another one
    sigma = np.sqrt(out[:, 1] ** 2 + slope_of(soundings.track) ** 2 * (out[:, 2] ** 2 + slid**2))
    unknown = np.isnan(out[:, 0])
    if soundings.earlier is not None and len(soundings.earlier) and unknown.any():
        out[unknown, 0], sigma[unknown] = _from_earlier(soundings, over_ground[unknown], ahead_s[unknown])
    if soundings.elsewhere_m is None:
        return out[:, 0], sigma
    return np.nan_to_num(out[:, 0], nan=soundings.elsewhere_m), np.nan_to_num(sigma)


def _from_earlier(soundings: Soundings, over_ground: Array, ahead_s: Array) -> tuple[Array, Array]:
    """(Q,) depth and sigma by what earlier outings sounded."""
    assert soundings.earlier is not None
    found = np.empty((len(over_ground), 3))
    earlier.read_off(soundings.earlier, np.ascontiguousarray(over_ground), found)
    slid = soundings.drift_sigma_mps * ahead_s
    off = found[:, 2] ** 2 + earlier.POSITION_SIGMA_M**2 + slid**2
    slope = max(slope_of(soundings.track), EARLIER_SLOPE)
    return found[:, 0], np.sqrt(found[:, 1] ** 2 + slope**2 * off)


def flat(depth_m: float) -> Soundings:
    """No track, and the same depth everywhere."""
    return Soundings(np.zeros((0, 5)), 0.0, (0.0, 0.0), elsewhere_m=depth_m)


def bottoms(soundings: Soundings, times_s: Array, fine: Seen, coarse: Seen, seed: int) -> list[Bottom]:
    """The gap under every line's lowest point over the time ahead, R of them."""
    gaps, _, lowest = _gaps(soundings, times_s, fine.points_m)
    members, sigma, depths = _gaps(soundings, times_s, coarse.points_m)
    z = np.concatenate([np.zeros(1), normal_draws(seed, "ahead bottom")])
    members = by_member(members) + z * by_member(sigma)
    rows = banded(gaps, members)
    deepest = banded(lowest, by_member(depths))[..., 2]
    near = ~(np.fmax(lowest, deepest) <= FAR_SHARE * least_around(soundings))
    out = []
    for k in range(gaps.shape[1]):
        known = np.isfinite(gaps[:, k])
        missing = np.flatnonzero(~known & near[:, k])
        until_s = float(times_s[missing[0]]) if len(missing) else math.inf
        if not known.any():
            nothing = Worst(math.nan, math.nan, math.nan, math.nan)
            out.append(Bottom(rows[:, k], nothing, 0.0, "no soundings where this line goes", until_s))
            continue
        least = _least(times_s[known], gaps[known, k], members[known, k])
        cause = "" if known.all() else "water ahead not sounded"
        out.append(Bottom(rows[:, k], least, float(known.mean()), cause, until_s))
    return out


def least_around(soundings: Soundings) -> float:
    """The least depth sounded around the boat, on this outing or an earlier one [m]; NaN where too little was."""
    if soundings.elsewhere_m is not None:
        return soundings.elsewhere_m
    here = np.array(soundings.place_m) + np.array(soundings.drifted_m)
    rows = soundings.track[:, :3]
    if soundings.earlier is not None:
        rows = np.concatenate([rows, soundings.earlier[:, :3]])
    around = rows[np.hypot(*(rows[:, :2] - here).T) <= AROUND_M, 2]
    return float(around.min()) if len(around) >= AROUND_LEAST else math.nan


def _gaps(soundings: Soundings, times_s: Array, points_m: Array) -> tuple[Array, Array, Array]:
    """(K, n) gap under the lowest node of each line, the sigma of the bottom there, depth of that node [m]."""
    lowest = np.argmax(np.nan_to_num(points_m[..., 2], nan=-np.inf), axis=2)
    nodes = np.take_along_axis(points_m, lowest[:, :, None, None], axis=2)[:, :, 0]
    ahead = np.repeat(times_s, nodes.shape[1])
    depth, sigma = bottom_at(soundings, nodes[..., :2].reshape(-1, 2), ahead)
    shape = nodes.shape[:2]
    return depth.reshape(shape) - nodes[..., 2], sigma.reshape(shape), nodes[..., 2]


def _least(times_s: Array, gaps: Array, members: Array) -> Worst:
    """The least gap of one line over the instants at which it is known."""
    each = np.fmin.reduce(members, axis=0)
    return worst_of(banded(np.array(gaps.min()), each), float(times_s[int(gaps.argmin())]))
