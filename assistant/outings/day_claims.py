"""The claims of claims.py asked of an outing's table: effort and strikes counted the same way for every one of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.messages import Side
from assistant.outings.claims import Claim, compare, hot_rod
from assistant.outings.effort import Strike, Table, minute_before

TURNING = 0.5  # share of a minute turned one way from which on it is a turn to that side
MINUTES_PER_HOUR = 60.0


def hot_rod_today(table: Table, strikes: Sequence[Strike]) -> Claim:
    """Whether the best rod of the day is more than the best of so many; strikes without a rod are nobody's."""
    hours, counts = _by_rod(table, strikes, np.ones_like(table.workable))
    return hot_rod(counts, hours)


def inside_and_outside(
    table: Table, strikes: Sequence[Strike], sides: Mapping[str, Side], compared: int = 1
) -> Claim:
    """Inside lines of the turns against outside lines; minutes going straight and lines in the centre are neither.

    Args:
        sides: of each rod; in a turn to starboard the starboard rods are inside.
        compared: how many such pairs were looked at before this one was picked.
    """
    track = table.tracks.get("turn_side")
    turn = track.value[:, 0].real if track is not None else np.zeros(len(table.t_s))
    port, starboard = (turn <= -TURNING)[:, None], (turn >= TURNING)[:, None]
    is_port = np.array([sides.get(rod) == "port" for rod in table.rods])
    is_starboard = np.array([sides.get(rod) == "starboard" for rod in table.rods])
    inside = (port & is_port) | (starboard & is_starboard)
    outside = (port & is_starboard) | (starboard & is_port)
    counted = [_by_rod(table, strikes, where) for where in (inside, outside)]
    hours = [sum(by_rod.values()) for by_rod, _ in counted]
    counts = [sum(by_rod.values()) for _, by_rod in counted]
    return compare("turns", ("inside", "outside"), (counts[0], counts[1]), (hours[0], hours[1]), compared)


def _by_rod(
    table: Table, strikes: Sequence[Strike], where: NDArray[np.bool_]
) -> tuple[dict[str, float], dict[str, int]]:
    """Rod-hours and strikes of each rod in some rod-minutes (N, R), lines that could take a fish only."""
    worked = table.workable & where
    hours = {rod: float(worked[:, c].sum()) / MINUTES_PER_HOUR for c, rod in enumerate(table.rods)}
    counts = dict.fromkeys(table.rods, 0)
    for strike in strikes:
        n = minute_before(table, strike)
        if strike.rod in counts and n >= 0 and worked[n, table.rods.index(strike.rod)]:
            counts[strike.rod] += 1
    return hours, counts
