"""Many outings together: strikes per rod-hour by rod, depth and lure speed, and where the bottom was sounded.

Outings that are not yet rod-minutes (season_rows.py) are put through the flow first: on this machine by a pool of
processes, or by a fleet through a Dask scheduler whose workers see the same folder. Both make the same files.
"""

from __future__ import annotations

import math
import multiprocessing
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from assistant import soundings_file
from assistant.configured import Config
from assistant.errors import OptionError
from assistant.outings import season_rows
from assistant.outings.findings import STEPS
from assistant.outings.shrinkage import Rate, shrunk
from assistant.outings.store import folder_of, ids
from assistant.units import DISPLAY_UNITS

LEAST_H = 0.1  # rod-hours: less says nothing
BATCH = 50_000  # rod-minutes read at once
Maker = Callable[[Sequence[str]], Iterable[str]]
"""Makes the files of outings, given as texts of their folders; "" or why not for each, in order."""


@dataclass(slots=True)
class Season:
    """What many outings say together."""

    outings: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)  # and why
    rod_hours: float = 0.0
    strikes: int = 0
    rates: dict[str, list[Rate]] = field(default_factory=dict)  # by condition
    soundings: int = 0  # in the grid of this boat now


def pool(jobs: int) -> Maker:
    """So many processes of this machine."""

    def make(folders: Sequence[str]) -> Iterator[str]:
        with ProcessPoolExecutor(min(jobs, len(folders)), multiprocessing.get_context("spawn")) as executor:
            yield from executor.map(season_rows.made, folders)

    return make


def fleet(address: str) -> Maker:
    """The workers of a Dask scheduler. Raises OptionError: it is not installed, or does not answer."""

    def make(folders: Sequence[str]) -> Iterator[str]:
        try:
            from distributed import Client
        except ImportError:
            raise OptionError("--dask needs Dask: pip install 'spreadwatch[dask]'") from None
        try:
            client: Any = Client(address, timeout="10s")  # type: ignore[no-untyped-call]
        except (OSError, ValueError) as error:
            raise OptionError(f"--dask {address}: {error}") from None
        with client:
            yield from client.gather(client.map(season_rows.made, list(folders), pure=False))

    return make


def gathered(root: Path, config: Config, make: Maker) -> Season:
    """All outings below a folder.

    Args:
        config: whose units the steps of depth and speed are in, and whose boat keeps the soundings.

    Raises:
        OptionError: there are none, or what reads them is not installed.
    """
    season_rows.pyarrow()
    folders = [folder_of(root, name) for name in ids(root)]
    if not folders:
        raise OptionError(f"no outings in {root}")
    one = Season()
    fresh = [folder for folder in folders if not season_rows.is_made(folder)]
    if fresh:
        one.left_out = [said for said in make([str(folder) for folder in fresh]) if said]
    good = [folder for folder in folders if season_rows.is_made(folder)]
    one.outings = [folder.name for folder in good]
    _count(one, good, config)
    one.soundings = _sounded(root, good, fresh, config.boat.id)
    return one


def _count(one: Season, folders: Sequence[Path], config: Config) -> None:
    """Sum rod-minutes and strikes under each condition, a stretch of one file at a time."""
    steps = {words: (name, unit, size[config.boat.units]) for words, (name, unit, size) in STEPS.items()}
    sums: dict[str, dict[Any, list[int]]] = {"line": {}, **{words: {} for words in steps}}
    for folder in folders:
        for rods, strikes, values in _batches(folder):
            one.rod_hours += len(rods) / 60.0
            one.strikes += int(strikes.sum())
            _add(sums["line"], rods, strikes)
            for words, (name, unit, step) in steps.items():
                shown = DISPLAY_UNITS[config.boat.units][unit]
                known = np.isfinite(values[name])
                scaled = (values[name][known] * shown.scale + shown.offset) / step
                _add(sums[words], np.floor(scaled + 1e-9).astype(np.int64), strikes[known])
    one.rates["line"] = _rates((rod, counts) for rod, counts in sums["line"].items())
    for words, (_, unit, step) in steps.items():
        label = DISPLAY_UNITS[config.boat.units][unit].label
        digits = 0 if step >= 1.0 else 1
        named = [
            (f"{n * step:.{digits}f}-{(n + 1) * step:.{digits}f} {label}", sums[words][n])
            for n in sorted(sums[words])
        ]
        one.rates[words] = _rates(named)


def _batches(folder: Path) -> Iterator[tuple[Any, Any, dict[str, Any]]]:
    """Rods, strikes and quantities of up to BATCH rod-minutes."""
    _, parquet = season_rows.pyarrow()
    for batch in parquet.ParquetFile(season_rows.file_of(folder)).iter_batches(BATCH):
        if batch.num_rows:
            values = {
                name: batch.column(name).to_numpy(zero_copy_only=False) for name in season_rows.QUANTITIES
            }
            rods = np.array(batch.column("rod").to_pylist())
            yield rods, batch.column("strikes").to_numpy(zero_copy_only=False), values


def _add(sums: dict[Any, list[int]], labels: Any, strikes: Any) -> None:
    for label in np.unique(labels):
        here = labels == label
        into = sums.setdefault(label.item(), [0, 0])
        into[0] += int(here.sum())
        into[1] += int(strikes[here].sum())


def _rates(counts: Iterable[tuple[str, list[int]]]) -> list[Rate]:
    told = [(label, minutes / 60.0, strikes) for label, (minutes, strikes) in counts]
    return shrunk([row for row in told if row[1] >= LEAST_H or row[2]])


def _sounded(root: Path, folders: Sequence[Path], fresh: Sequence[Path], boat: str) -> int:
    """Put what newly read outings sounded where nothing was known into the boat's soundings; how many there are."""
    _, parquet = season_rows.pyarrow()
    file = soundings_file.file_of(root, boat)
    known = soundings_file.read(file)
    for folder in folders:
        if folder not in fresh:
            continue
        table = parquet.read_table(season_rows.file_of(folder, "soundings"))
        rows = np.column_stack([table.column(name).to_numpy() for name in season_rows.SOUNDINGS])
        new = soundings_file.unknown_of(rows, known)
        if len(new):
            soundings_file.append(file, list(new))
            known = np.concatenate([known, new])
    return len(known)


def plain(one: Season) -> dict[str, object]:
    """As JSON; rates per rod-hour."""
    return {
        "outings": one.outings,
        "left_out": one.left_out,
        "rod_hours": round(one.rod_hours, 2),
        "strikes": one.strikes,
        "rates": {
            words: [
                {"label": r.label, "rod_hours": round(r.rod_hours, 2), "strikes": r.strikes}
                | {"rate": _figure(r.rate), "low": _figure(r.low), "high": _figure(r.high)}
                for r in rows
            ]
            for words, rows in one.rates.items()
        },
        "soundings": one.soundings,
    }


def _figure(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None


def words(one: Season) -> str:
    """For people."""
    lines = [
        f"{len(one.outings)} outings, {one.rod_hours:.0f} rod-hours, {one.strikes} strikes at a named rod"
    ]
    lines += [f"left out: {why}" for why in one.left_out]
    for name, rows in one.rates.items():
        if not rows:
            continue
        lines.append(f"\nby {name}: strikes in ten rod-hours, drawn toward what all have in common")
        width = max(len(row.label) for row in rows)
        lines += [
            f"  {r.label:{width}}  {10 * r.rate:5.1f}  ({10 * r.low:.1f} to {10 * r.high:.1f})"
            f"   {r.strikes} in {r.rod_hours:.1f} h"
            for r in rows
        ]
    lines.append(f"\n{one.soundings} soundings known for the bottom watch")
    lines.append(CAUTION)
    return "\n".join(lines)


CAUTION = "Where you fished and when were not drawn by lot: a rate says what happened, not what would have."
