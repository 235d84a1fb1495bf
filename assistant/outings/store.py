"""Where outings are and what they are called: one folder each, by id, never by a path from outside."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping
from pathlib import Path

from assistant.errors import OptionError
from assistant.outings.files import Files

ID = re.compile(r"(?:[0-9]{8}|undated)-[0-9]{1,4}")
"""UTC date of the machine's clock at the start, and the outing's number on that day."""
SEGMENT = re.compile(r"[0-9]{5}\.outing")
EARLIEST = "20260101"  # a clock before this program is wrong
MAX_A_DAY = 9999


def default_root(environment: Mapping[str, str] = os.environ) -> Path:
    """The folder of all outings where none is configured: of the user's data (XDG Base Directory Specification)."""
    data = environment.get("XDG_DATA_HOME", "")
    home = Path(data) if data.startswith("/") else Path.home() / ".local" / "share"
    return home / "spreadwatch"


def segment_name(number: int) -> str:
    """Name of a file of an outing."""
    return f"{number:05d}.outing"


def new_outing(root: Path, date: str, files: Files) -> Path:
    """Make the folder of a new outing; `date` is YYYYMMDD.

    Raises:
        OSError: it cannot be made.
    """
    files.make_folders(root)
    stem = date if date >= EARLIEST else "undated"
    taken = [int(found.name.rpartition("-")[2]) for found in _folders(root) if found.name.startswith(stem)]
    for number in range(max(taken, default=0) + 1, MAX_A_DAY + 1):
        folder = root / f"{stem}-{number}"
        try:
            files.make_folder(folder)
        except FileExistsError:
            continue
        try:
            files.sync_folder(root)
        except OSError:
            with contextlib.suppress(OSError):
                folder.rmdir()
            raise
        return folder
    raise OSError(f"{MAX_A_DAY} outings on one day")


def _folders(root: Path) -> list[Path]:
    if not root.is_dir():
        return []
    return [
        path for path in root.iterdir() if ID.fullmatch(path.name) and path.is_dir() and not path.is_symlink()
    ]


def ids(root: Path) -> list[str]:
    """Ids of all outings, oldest first by date and number."""
    return sorted((path.name for path in _folders(root)), key=_order)


def _order(outing: str) -> tuple[str, int]:
    date, _, number = outing.rpartition("-")
    return date, int(number)


def folder_of(root: Path, outing: str) -> Path:
    """The folder of an outing.

    Raises:
        OptionError: `outing` is no id, or there is none of that id.
    """
    if not ID.fullmatch(outing):
        raise OptionError(
            f"{outing[:60]!r}: want the id of an outing, such as 20260718-1 (spreadwatch outings list)"
        )
    folder = root / outing
    if folder.is_symlink() or not folder.is_dir():
        raise OptionError(f"{outing}: no such outing in {root} (spreadwatch outings list)")
    return folder


def segments(folder: Path) -> list[Path]:
    """The files of an outing in their order."""
    return sorted(
        p for p in folder.iterdir() if SEGMENT.fullmatch(p.name) and p.is_file() and not p.is_symlink()
    )


def root_of(configured: str) -> Path | None:
    """The folder that a configuration means: "" is the usual one, "none" is None."""
    return None if configured == "none" else root_or_usual(configured)


def root_or_usual(configured: str) -> Path:
    """The folder to look for outings in: also where none is recorded there may be older ones."""
    return default_root() if configured in ("", "none") else Path(configured).expanduser()


def delete(folder: Path) -> None:
    """Remove the files of an outing and then its folder; a folder with anything else in it stays.

    Raises:
        OSError: something cannot be removed.
    """
    for path in segments(folder):
        path.unlink()
    folder.rmdir()
