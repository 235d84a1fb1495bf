"""Reads reels.toml: the register of reels with their taped marks."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_keys
from assistant.config_keys import LINE_OF_TEXT, PART_NAME, ROD_NAME, Key, length
from assistant.configured import Reel, ReelMark, Rod

MAX_REELS, MAX_MARKS = 60, 40
TRUE_OVER_COUNTER = (0.5, 1.5)  # beyond, the two were swapped or misread


def day(raw: object) -> str:
    """A date as TOML writes it, as ISO text."""
    if not isinstance(raw, date) or isinstance(raw, datetime) or not 1990 <= raw.year <= 2199:
        raise ValueError("want a date without quotes such as 2026-05-02, years 1990..2199")
    return raw.isoformat()


REEL_KEYS = (
    Key("name", LINE_OF_TEXT, "the reel's name", required=True),
    Key("rod", ROD_NAME, "the rod it is on; without one it is in the box"),
    Key("line", PART_NAME, "the line counted off it, a file of lines/", required=True),
    Key("spooled", day, "when this line was put on", required=True),
    Key("respooled", day, "when line or backing was last taken off and put on again"),
    Key("cut_back", day, "when line was last cut off"),
    Key("marks", lambda raw: raw, "a list of { counter, true, date }"),
    Key("turn", length(0.02, 2.0), "what the counter shows for one turn of the spool"),
    Key("width", length(0.01, 0.3), "of the spool between its flanges"),
)

MARK_KEYS = (
    Key("counter", length(1.0, 600.0), "what the counter showed", required=True),
    Key("true", length(1.0, 600.0), "the line taped", required=True),
    Key("date", day, "when it was taped", required=True),
    Key("sigma", length(0.01, 10.0), "how far the mark may be off, one standard deviation"),
)


def read_reels(
    file: Path, table: Mapping[str, Any], lines: Collection[str], rods: Sequence[Rod], problems: Problems
) -> tuple[Reel, ...]:
    """Read every [[reel]]; each problem is noted under reel[i], counted from 1.

    Args:
        lines: names of the lines there are; rods: those of spread.toml (empty where it could not be read).
    """
    for name in table:
        if name != "reel":
            problems.add(file, name, table[name], f"no such key; {nearest(name, ['reel'])}")
    raw = table.get("reel", [])
    if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
        problems.note(file, "reel is not a list of tables: begin each reel with [[reel]]")
        return ()
    if len(raw) > MAX_REELS:
        problems.note(file, f"{len(raw)} reels: want at most {MAX_REELS}; keep those in use")
        return ()
    reels: list[Reel] = []
    for index, item in enumerate(raw, 1):
        where = f"reel[{index}]."
        reel = _read_reel(file, where, item, problems)
        if reel is None:
            continue
        _check_place(file, where, reel, lines, rods, problems)
        for key in ("name", "rod"):
            mine = getattr(reel, key)
            if mine is not None and mine in (getattr(other, key) for other in reels):
                problems.add(file, where + key, mine, f"taken by another reel; one reel for each {key}")
        reels.append(reel)
    return tuple(reels)


def _read_reel(file: Path, where: str, item: Mapping[str, Any], problems: Problems) -> Reel | None:
    before = len(problems.lines)
    good = read_keys(file, where, item, REEL_KEYS, problems)
    marks = _read_marks(file, f"{where}marks", good.pop("marks", []), problems)
    for key in ("respooled", "cut_back"):
        if good.get(key, "9") < good.get("spooled", ""):
            problems.add(file, where + key, good[key], f"want it on or after spooled ({good['spooled']})")
    if len(problems.lines) > before:
        return None
    sizes = {f"{key}_m": good.pop(key) for key in ("turn", "width") if key in good}
    return Reel(marks=marks, **sizes, **good)


def _read_marks(file: Path, where: str, raw: object, problems: Problems) -> tuple[ReelMark, ...]:
    if not isinstance(raw, list) or not all(isinstance(m, dict) for m in raw) or len(raw) > MAX_MARKS:
        allowed = '{ counter = "50 ft", true = "43 ft", date = 2026-05-02 }'
        problems.add(file, where, raw, f"want a list of at most {MAX_MARKS} marks like {allowed}")
        return ()
    marks = []
    for index, item in enumerate(raw, 1):
        good = read_keys(file, f"{where}[{index}].", item, MARK_KEYS, problems)
        if not {"counter", "true", "date"} <= good.keys():
            continue
        least, most = (share * good["counter"] for share in TRUE_OVER_COUNTER)
        if not least <= good["true"] <= most:
            allowed = f"want {least:.1f}..{most:.1f} m at this counter; are true and counter swapped?"
            problems.add(file, f"{where}[{index}].true", item["true"], allowed)
        sigma = {"sigma_m": good["sigma"]} if "sigma" in good else {}
        marks.append(ReelMark(good["counter"], good["true"], good["date"], **sigma))
    return tuple(marks)


def _check_place(
    file: Path, where: str, reel: Reel, lines: Collection[str], rods: Sequence[Rod], problems: Problems
) -> None:
    """A reel's line exists, its rod exists, and the rod's rig has that line."""
    if reel.line not in lines:
        problems.add(file, f"{where}line", reel.line, f"no such file in lines/; {nearest(reel.line, lines)}")
    if reel.rod is None or not rods:
        return
    rod = next((rod for rod in rods if rod.name == reel.rod), None)
    if rod is None:
        known = nearest(reel.rod, [rod.name for rod in rods])
        problems.add(file, f"{where}rod", reel.rod, f"no such rod in spread.toml; {known}")
        return
    rigged = [part.line for part in rod.rig if part.line is not None]
    if reel.line not in rigged:
        problems.add(
            file, f"{where}line", reel.line, f"rod {rod.name} is rigged with {', '.join(rigged)}; mend either"
        )
