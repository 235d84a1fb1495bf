"""One outing as a file of rod-minutes and one of soundings, Apache Parquet, kept beside the outings.

An outing is put through the flow once; a season then reads these files, a stretch at a time, however many there are.
A file is made anew when its outing has grown or another version of the program made it.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np

from assistant import __version__
from assistant.ahead.earlier import Array, worth_keeping
from assistant.errors import LogError, OptionError
from assistant.messages import BoatState
from assistant.outings import lull, story
from assistant.outings.effort import Strike, minute_before
from assistant.outings.recording import opening_of
from assistant.outings.store import segments
from assistant.outings.story import Story

FOLDER = "season"
QUANTITIES = ("depth_m", "lure_speed_mps", "water_temp_c")
SOUNDINGS = ("lat_deg", "lon_deg", "depth_m", "sigma_m")


def pyarrow() -> tuple[Any, Any]:
    """pyarrow and its Parquet part. Raises OptionError: it is not installed."""
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError:
        raise OptionError("a season needs pyarrow: pip install 'spreadwatch[parquet]'") from None
    return arrow, parquet


def file_of(folder: Path, kind: str = "minutes") -> Path:
    """Where the rod-minutes ("minutes") or soundings of an outing are kept."""
    return folder.parent / FOLDER / f"{folder.name}.{kind}.parquet"


def stamp(folder: Path) -> str:
    """What a file must have been made of to be still true."""
    return f"{__version__} {sum(path.stat().st_size for path in segments(folder))}"


def is_made(folder: Path) -> bool:
    """Whether the files of an outing are there and still true."""
    _, parquet = pyarrow()
    for kind in ("minutes", "soundings"):
        try:
            found = parquet.read_schema(file_of(folder, kind)).metadata or {}
        except (OSError, ValueError):
            return False
        if found.get(b"stamp", b"").decode() != stamp(folder):
            return False
    return True


def made(folder: str) -> str:
    """Make the files of one outing (text in and out, so that any machine of a fleet can be asked); "" or why not."""
    path = Path(folder)
    try:
        opening, kept = opening_of(path), _Kept()
        one = story.followed(path, opening.config, opening.seed, kept.see, lull.SAMPLE_S)
        _write(path, "minutes", _minutes(one))
        _write(path, "soundings", dict(zip(SOUNDINGS, np.array(kept.rows).reshape(-1, 4).T, strict=True)))
    except (LogError, OSError) as error:
        return f"{path.name}: {error}"
    return ""


class _Kept:
    """Soundings worth keeping."""

    def __init__(self) -> None:
        self.rows: list[Array] = []

    def see(self, boat: BoatState) -> None:
        """Take this one if it is good and not too near the last."""
        row = worth_keeping(boat, self.rows[-1] if self.rows else None)
        if row is not None:
            self.rows.append(row)


def _minutes(one: Story) -> dict[str, Any]:
    """Columns of the rod-minutes in which a line could take a fish, with the strikes that came of each."""
    table = one.table
    assert table is not None
    strikes = np.zeros(table.workable.shape, np.int16)
    for caught in one.caught:
        n = minute_before(table, Strike(caught.t_s, caught.rod))
        if n >= 0 and caught.rod in table.rods:
            strikes[n, table.rods.index(caught.rod)] += 1
    rows, columns = np.nonzero(table.workable)
    found: dict[str, Any] = {
        "t_s": table.t_s[rows],
        "rod": [table.rods[c] for c in columns],
        "strikes": strikes[rows, columns],
    }
    for name in QUANTITIES:
        track = table.tracks.get(name)
        values = np.full(table.workable.shape, np.nan) if track is None else track.value.real
        found[name] = np.broadcast_to(values, table.workable.shape)[rows, columns]
    return found


def _write(folder: Path, kind: str, columns: dict[str, Any]) -> None:
    """Write one file, whole or not at all."""
    arrow, parquet = pyarrow()
    table = arrow.table({name: arrow.array(values) for name, values in columns.items()})
    out = file_of(folder, kind)
    out.parent.mkdir(exist_ok=True)
    part = out.with_suffix(f".{os.getpid()}.part")
    parquet.write_table(table.replace_schema_metadata({"stamp": stamp(folder)}), part, compression="zstd")
    part.replace(out)
