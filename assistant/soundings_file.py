"""Soundings kept between outings: one text file beside them, a line each: latitude, longitude, depth, sigma.

Written a minute at a time from a thread; what a cut of the power takes is a minute of soundings.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.earlier import EVERY_M, metres_per_degree, worth_keeping
from assistant.messages import BoatState

Array = NDArray[np.float64]

MOST_BYTES = 8 << 20  # the newest of them are read: some 200 000
DEEPEST_M = 500.0
LONGEST = 100


def file_of(root: Path, boat: str) -> Path:
    """Where it is; `boat` is the id of the configuration."""
    return root / f"soundings-{boat}.txt"


def read(file: Path) -> Array:
    """(N, 4) what is kept there, one for every EVERY_M; none where there is nothing. Lines that make no sense are
    passed over.
    """
    try:
        with file.open("rb") as stream:
            stream.seek(0, 2)
            stream.seek(max(0, stream.tell() - MOST_BYTES))
            lines = stream.read(MOST_BYTES).decode("ascii", "replace").splitlines()
    except OSError:
        return np.zeros((0, 4))
    rows = np.array(list(_good(lines)), np.float64).reshape(-1, 4)
    return _thinned(rows)


def _good(lines: list[str]) -> Iterator[list[float]]:
    for line in lines:
        try:
            row = [float(word) for word in line[:LONGEST].split()]
        except ValueError:
            continue
        if len(row) != 4 or not all(map(math.isfinite, row)):
            continue
        lat, lon, depth, sigma = row
        if abs(lat) < 89.0 and abs(lon) <= 180.0 and 0.0 < depth < DEEPEST_M and 0.0 <= sigma < DEEPEST_M:
            yield row


def _thinned(rows: Array) -> Array:
    """The newest of every square of EVERY_M."""
    if not len(rows):
        return rows
    north, east = metres_per_degree(float(np.median(rows[:, 0])))
    squares = np.floor(rows[::-1, :2] * np.array([north, east]) / EVERY_M).astype(np.int64)
    _, first = np.unique(squares, axis=0, return_index=True)
    return np.ascontiguousarray(rows[::-1][np.sort(first)])


def unknown_of(rows: Array, known: Array) -> Array:
    """Those of rows (N, 4), one a square of EVERY_M, in whose square none of `known` lies."""
    if not len(rows):
        return rows
    rows = _thinned(rows)
    north, east = metres_per_degree(float(np.median(rows[:, 0])))
    size = np.array([north, east]) / EVERY_M
    there = set(map(tuple, np.floor(known[:, :2] * size).astype(np.int64).tolist()))
    new = [tuple(square) not in there for square in np.floor(rows[:, :2] * size).astype(np.int64).tolist()]
    return np.asarray(rows[np.array(new)])


def append(file: Path, rows: list[Array]) -> None:
    """Add rows at the end.

    Raises:
        OSError: it cannot be written.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    text = "".join(f"{row[0]:.7f} {row[1]:.7f} {row[2]:.2f} {row[3]:.2f}\n" for row in rows)
    with file.open("ab") as stream:
        if stream.tell():  # a line that a cut left unended spoils no other
            text = "\n" + text
        stream.write(text.encode("ascii"))


class Kept:
    """All soundings of a boat: those of earlier outings, and this one's a minute after they were made.

    Args:
        file: where they are; say: called with words when they cannot be written.
    """

    def __init__(self, file: Path, say: Callable[[str], None]) -> None:
        self._file, self._say = file, say
        self._new: list[Array] = []
        self._last: Array | None = None
        self._failed = False
        self.rows = read(file)

    def see(self, boat: BoatState) -> None:
        """Keep what is sounded here, if it is good and not too near the last one."""
        row = worth_keeping(boat, self._last)
        if row is not None:
            self._last = row
            self._new.append(row)

    @property
    def waiting(self) -> int:
        """How many are not written yet."""
        return len(self._new)

    def write(self) -> None:
        """Write what waits; for a thread. A disk that fails is said once, and they wait for it."""
        new = self._new[:]
        if not new:
            return
        try:
            append(self._file, new)
        except OSError as error:
            if not self._failed:
                self._say(f"{self._file}: {error.strerror}")
            self._failed = True
            return
        self._failed = False
        del self._new[: len(new)]
        self.rows = np.concatenate([self.rows, np.array(new)])
