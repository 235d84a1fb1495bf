"""From marched lines to what a forecast says: bands put around the fine lines, worst moments, nearest pairs. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.march import Seen
from assistant.ahead.outlook import Bottom, LineAhead, PairAhead, Worst
from assistant.ahead.pairs import closest, first_nodes
from assistant.lines.draws import weibull_quantiles
from assistant.lines.ensemble import EACH

Array = NDArray[np.float64]

LEAST_SHARE = 0.5
"""A band needs at least this share of the members; fewer make none."""

FAR_M = 12.0
"""Judgement: lines that keep this far apart if all is as expected get no band of their gap."""


def only(seen: Seen, rods: Sequence[int], each: int) -> Seen:
    """The lines of some rods, `each` per rod."""
    lines = (np.array(rods, dtype=int)[:, None] * each + np.arange(each)).reshape(-1)
    return Seen(seen.points_m[:, lines], seen.pull_n[:, lines], seen.lure_speed_mps[:, lines])


def banded(fine: Array, coarse: Array, least: float = -math.inf) -> Array:
    """(..., 3) value, low, high: quantiles of the members relative to their nominal, put around the fine value.

    Args:
        fine: (...); coarse: (..., EACH), nominal first; least: no band reaches below it.
    """
    flat = coarse.reshape(-1, coarse.shape[-1])
    low, high = np.full(len(flat), np.nan), np.full(len(flat), np.nan)
    good = np.isfinite(flat)
    whole = good.all(axis=1)
    low[whole], high[whole] = weibull_quantiles(flat[whole, 1:])
    for k in np.flatnonzero(~whole & good[:, 0]):
        members = flat[k, 1:][good[k, 1:]]
        if len(members) >= LEAST_SHARE * (flat.shape[1] - 1):
            low[k], high[k] = weibull_quantiles(members)
    shape = fine.shape
    below = np.minimum((low - flat[:, 0]).reshape(shape), 0.0)
    above = np.maximum((high - flat[:, 0]).reshape(shape), 0.0)
    return np.stack([fine, np.maximum(fine + below, np.minimum(least, fine)), fine + above], axis=-1)


def by_member(values: Array) -> Array:
    """(K, R * EACH) -> (K, R, EACH)."""
    return values.reshape(len(values), -1, EACH)


def lines_ahead(
    names: Sequence[str],
    firm: Sequence[bool],
    times_s: Array,
    fine: Seen,
    coarse: Seen,
    found: Sequence[Bottom] | None,
) -> dict[str, LineAhead]:
    """Every rod's line; found: the bottom under each, if anything is known of it."""
    depths, members = fine.depth_m, by_member(coarse.depth_m)
    depth = banded(depths, members)
    speed = banded(fine.lure_speed_mps, by_member(coarse.lure_speed_mps), 0.0)
    pull = banded(fine.pull_n, by_member(coarse.pull_n), 0.0)
    rise = _worst(times_s, depths[0] - depths, members[0] - members)
    sink = _worst(times_s, depths - depths[0], members - members[0])
    slowest = _worst(times_s, -fine.lure_speed_mps, -by_member(coarse.lure_speed_mps), -math.inf)
    fastest = _worst(times_s, fine.lure_speed_mps, by_member(coarse.lure_speed_mps))
    peak = _worst(times_s, fine.pull_n, by_member(coarse.pull_n))
    return {
        name: LineAhead(
            name, firm[k], depth[:, k], speed[:, k], pull[:, k], rise[k], sink[k],
            _turned(slowest[k]), fastest[k], peak[k], None if found is None else found[k],
        )
        for k, name in enumerate(names)
    }  # fmt: skip


def _worst(times_s: Array, fine: Array, coarse: Array, least: float = 0.0) -> list[Worst]:
    """The greatest of (K, R) over time per line, with its band from (K, R, EACH)."""
    rows = banded(fine.max(axis=0), coarse.max(axis=0), least)
    return [worst_of(row, float(times_s[int(k)])) for row, k in zip(rows, fine.argmax(axis=0), strict=True)]


def worst_of(row: Array, at_s: float) -> Worst:
    """A Worst from (value, low, high)."""
    value, low, high = row.tolist()
    return Worst(value, low, high, at_s)


def _turned(worst: Worst) -> Worst:
    """The least of something, from the greatest of its negative."""
    return Worst(-worst.value, max(-worst.high, 0.0), -worst.low, worst.at_s)


class Apart(NamedTuple):
    """Which pairs touch by themselves (R, R), and the nominal boat (K, 3): north, east [m], heading [rad]."""

    skip: NDArray[np.bool_]
    boat: Array


def pairs_ahead(
    names: Sequence[str], times_s: Array, fine: Seen, coarse: Seen, apart: Apart
) -> tuple[Array, tuple[tuple[str, str], ...], tuple[PairAhead, ...]]:
    """(K, 3) gap of the two nearest lines, which two (K,), and every pair where it is closest, the closest first."""
    if len(names) < 2:
        return np.full((len(times_s), 3), np.nan), (), ()
    mine = closest(fine.points_m, first_nodes(fine.points_m[0]), apart.skip)
    first = first_nodes(coarse.points_m[0, ::EACH])
    far = apart.skip | ~(mine.by_pair_m < FAR_M)
    members = [closest(coarse.points_m[:, m::EACH], first, far) for m in range(EACH)]
    gap = banded(mine.least_m, np.stack([one.least_m for one in members], axis=-1), 0.0)
    nearest = tuple((names[a], names[b]) for a, b in mine.pair.tolist())
    by_pair = banded(mine.by_pair_m, np.stack([one.by_pair_m for one in members], axis=-1), 0.0)
    pairs = []
    for a in range(len(names)):
        for b in range(a + 1, len(names)):
            if not math.isfinite(mine.by_pair_m[a, b]):
                continue
            k = int(mine.when[a, b])
            worst = worst_of(by_pair[a, b], float(times_s[k]))
            place = _seen_from(apart.boat[k], mine.places_m[a, b])
            pairs.append(PairAhead((names[a], names[b]), worst, place))
    return gap, nearest, tuple(sorted(pairs, key=lambda pair: pair.gap.value))


def _seen_from(boat: Array, place_m: Array) -> tuple[float, float, float]:
    north, east = place_m[0] - boat[0], place_m[1] - boat[1]
    c, s = math.cos(boat[2]), math.sin(boat[2])
    return float(c * north + s * east), float(c * east - s * north), float(place_m[2])
