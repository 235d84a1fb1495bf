"""A rod and its twin: the same rig on the other side, so that water and fish are the same for both.

What changes for both is the water; what changes between them is on one of the lines. In strikes twins are compared by
the exact test of claims.py, which after a day of ten strikes rarely can tell; in pull, depth or lure speed by their
difference now against their difference before the strikes, in its own sigma (causes.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.configured import Rod
from assistant.outings.causes import Difference, differences
from assistant.outings.claims import Claim, compare
from assistant.outings.effort import Strike, Table, Track
from assistant.outings.quantities import QUANTITIES
from assistant.outings.quiet_words import Units, shown
from assistant.outings.rates import DEFAULT_PRIOR

MINUTES_PER_HOUR = 60.0


def pairs(rods: Sequence[Rod]) -> list[tuple[str, str]]:
    """Names of the rods that are twins as rigged, port first: the same rig and line out on both sides."""
    sides = {side: [rod for rod in rods if rod.side == side] for side in ("port", "starboard")}
    return [
        (a.name, b.name)
        for a in sides["port"]
        for b in sides["starboard"]
        if (a.rig, a.line_out_m, a.attached is None) == (b.rig, b.line_out_m, b.attached is None)
    ]


@dataclass(frozen=True, slots=True)
class Twins:
    """Two rods compared up to one instant."""

    rods: tuple[str, str]
    strikes: Claim
    differences: tuple[Difference, ...]  # of first minus second, largest in its own sigma first
    words: str


def twins(
    table: Table,
    strikes: Sequence[Strike],
    now_s: float,
    rods: tuple[str, str],
    compared: int = 1,
    units: Units = "angler",
) -> Twins:
    """Compare two rods up to `now_s` [s].

    Args:
        compared: how many pairs were looked at before this one was picked.
    Raises:
        ValueError: a rod that the table does not have, or twice the same.
    """
    if rods[0] == rods[1] or not set(rods) <= set(table.rods):
        raise ValueError(f"twins {rods[0]}, {rods[1]}: want two of {', '.join(table.rods)}")
    table = table.until(now_s)
    past = [strike for strike in strikes if strike.t_s <= now_s]
    first, second = (table.rods.index(rod) for rod in rods)
    hours = [float(table.workable[:, c].sum()) / MINUTES_PER_HOUR for c in (first, second)]
    counts = [sum(s.rod == rod for s in past) if t > 0.0 else 0 for rod, t in zip(rods, hours, strict=True)]
    claim = compare("twins", rods, (counts[0], counts[1]), (hours[0], hours[1]), compared)
    both = table.workable[:, [first]] & table.workable[:, [second]]
    tracks = {
        name: replace(
            track,
            value=np.where(
                both, track.value[:, [first]] - track.value[:, [second]], complex(math.nan, math.nan)
            ),
            sigma=np.hypot(track.sigma[:, [first]], track.sigma[:, [second]]),
            where=(f"{track.where[first]}, {track.where[second]}",),
        )
        for name, track in table.tracks.items()
        if _of_rods(track, table)
        and name != "fouling_min"  # when a line was last up is known without a twin
        and QUANTITIES[name].kind in ("plain", "ratio")
        and track.origin != "worked out"  # by one model for both lines, which says nothing of either
    }
    pair = Table(table.t_s, table.rods, table.workable, table.effective, tracks)
    found = differences(pair, past, DEFAULT_PRIOR)
    return Twins(rods, claim, found, _words(rods, claim, found, units))


def _of_rods(track: Track, table: Table) -> bool:
    """Whether a quantity is seen rod by rod."""
    return len(table.rods) > 1 and track.value.shape[1] == len(table.rods)


def _words(rods: tuple[str, str], claim: Claim, found: Sequence[Difference], units: Units) -> str:
    """One line on the lines, one on the strikes."""
    told = [d for d in found if d.differs]
    if not told:
        physical = (
            f"{rods[0]} and {rods[1]} run as alike as before"
            if found
            else "nothing measured on both: cannot tell"
        )
    else:
        physical = "; ".join(_changed(d, rods, units) for d in told) + ": look at these two lines"
    return f"{physical}. {claim.words}"


def _changed(difference: Difference, rods: tuple[str, str], units: Units) -> str:
    """How one quantity of the first moved against the second's."""
    row = QUANTITIES[difference.quantity]
    change = (difference.now - difference.then).real
    if row.kind == "ratio":
        amount = f"{100.0 * abs(math.expm1(change)):.0f} %"
    else:
        amount = shown(abs(change), row.unit, units, True)
    way = "less" if change < 0.0 else "more"
    return f"{row.words} on {rods[0]} {amount} {way} against {rods[1]} than before the strikes"
