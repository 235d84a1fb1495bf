"""The judge's table minute by minute: what `effort.tabulate` makes of all rows, without reading the old ones again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from assistant.outings.effort import Minute, Table, Track, tabulate
from assistant.outings.quantities import QUANTITIES

HOLD_ROWS = 1 + math.ceil(max(row.hold_min for row in QUANTITIES.values()))
"""So many of the last rows decide what a new minute's arrays hold: no entry of HELD is carried on for longer."""


HELD = frozenset(name for name, row in QUANTITIES.items() if row.hold_min > 0.0)


def grown(table: Table | None, rows: Sequence[Minute]) -> Table:
    """A table with one more minute.

    Args:
        table: of all minutes but the last; None: there are no others.
        rows: the last minutes, HOLD_ROWS of them or all there are, in order of time; the last one is the new one.
    """
    held = (_held(row) for row in rows[:-1] if any(name in HELD for rod in row.rods for name in rod.seen))
    tail = tabulate([*held, *rows[-1:]])
    if table is None or tail.rods != table.rods:
        return tail
    names = [name for name in QUANTITIES if name in table.tracks or name in tail.tracks]
    return Table(
        np.append(table.t_s, tail.t_s[-1]),
        table.rods,
        np.vstack([table.workable, tail.workable[-1:]]),
        np.vstack([table.effective, tail.effective[-1:]]),
        {name: _longer(table.tracks.get(name), tail.tracks.get(name), len(table.t_s)) for name in names},
    )


def _held(row: Minute) -> Minute:
    """A row with nothing but what is carried on."""
    rods = (replace(rod, seen={k: v for k, v in rod.seen.items() if k in HELD}) for rod in row.rods)
    return replace(row, rods=tuple(rods), seen={})


def _longer(old: Track | None, tail: Track | None, length: int) -> Track:
    """One quantity's arrays with the last row of `tail`, NaN where one of the two has not seen it."""
    newest = tail or old
    assert newest is not None
    columns = newest.value.shape[1]
    value, sigma = _nothing(length, columns)
    last = _nothing(1, columns)
    where = [""] * columns
    if old is not None and old.value.shape[1] == columns:
        value, sigma, where = old.value, old.sigma, list(old.where)
    if tail is not None:
        last = tail.value[-1:], tail.sigma[-1:]
        where = [new or known for new, known in zip(tail.where, where, strict=True)]
    return Track(np.vstack([value, last[0]]), np.vstack([sigma, last[1]]), newest.origin, where)


def _nothing(rows: int, columns: int) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
    """Values and sigmas that nobody saw."""
    return np.full((rows, columns), complex(math.nan, math.nan)), np.full((rows, columns), math.nan)
