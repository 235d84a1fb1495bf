"""Reads alerts.toml: what the captain wants of lure speed and of each rod's depth."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_keys
from assistant.config_keys import ROD_NAME, Key, length
from assistant.configured import AlertLimits, Rod
from assistant.units import SPEEDS_MPS, split_quantity

ALERTS = "alerts.toml"  # a boat's own; there is no packaged one


def speed(raw: object) -> float:
    """A speed with its unit, within what lures run at."""
    try:
        value, unit = split_quantity(str(raw), SPEEDS_MPS)
    except ValueError as error:
        raise ValueError(f"want a speed such as 2.4 mph: {error}") from None
    if not 0.1 <= value * SPEEDS_MPS[unit] <= 5.0:
        raise ValueError("want a speed with its unit, 0.1..5 m/s")
    return value * SPEEDS_MPS[unit]


ALERT_KEYS = (
    Key("lure_slow", speed, "tell it when a lure runs slower"),
    Key("lure_fast", speed, "tell it when a lure runs faster"),
    Key("off_bottom", length(0.0, 30.0), "what is advised keeps lines so far off the bottom"),
    Key("apart", length(0.0, 30.0), "and so far off each other"),
    Key("headings", lambda raw: raw, "a list of [from, to]: headings that can be run"),
    Key("wanted", lambda raw: raw, "a list of { rod, from, to }: the depth wanted for a rod"),
)
WANTED_KEYS = (
    Key("rod", ROD_NAME, "a rod of spread.toml", required=True),
    Key("from", length(0.0, 300.0), "shallow end of the depth wanted", required=True),
    Key("to", length(0.0, 300.0), "deep end of it", required=True),
)


def read_alerts(file: Path, table: Mapping[str, Any], rods: Sequence[Rod], problems: Problems) -> AlertLimits:
    """Read the whole file; `rods` are those of spread.toml (empty where it could not be read)."""
    good = read_keys(file, "", table, ALERT_KEYS, problems)
    slow, fast = good.get("lure_slow"), good.get("lure_fast")
    if slow is not None and fast is not None and slow >= fast:
        problems.add(file, "lure_fast", table["lure_fast"], "want more than lure_slow")
    wanted = _wanted(file, good.get("wanted", []), [rod.name for rod in rods], problems)
    usual = AlertLimits()
    return AlertLimits(
        slow,
        fast,
        wanted,
        good.get("off_bottom", usual.off_bottom_m),
        good.get("apart", usual.apart_m),
        _headings(file, good.get("headings", []), problems),
    )


def _headings(file: Path, raw: object, problems: Problems) -> tuple[tuple[float, float], ...]:
    """Pairs of degrees, true, clockwise from the first to the second, as rad."""
    good = isinstance(raw, list) and all(
        isinstance(pair, list) and len(pair) == 2 and all(_degrees(end) for end in pair) for pair in raw
    )
    if not good:
        problems.add(
            file, "headings", raw, "want a list of pairs in degrees, 0..360, such as [[180, 260], [350, 40]]"
        )
        return ()
    assert isinstance(raw, list)
    return tuple((math.radians(pair[0]), math.radians(pair[1])) for pair in raw)


def _degrees(end: object) -> bool:
    return isinstance(end, int | float) and not isinstance(end, bool) and 0.0 <= end <= 360.0


def _wanted(
    file: Path, raw: object, rods: Sequence[str], problems: Problems
) -> dict[str, tuple[float, float]]:
    if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
        problems.add(file, "wanted", raw, 'want a list such as [{ rod = "C", from = "40 ft", to = "50 ft" }]')
        return {}
    wanted: dict[str, tuple[float, float]] = {}
    for index, item in enumerate(raw, 1):
        good = read_keys(file, f"wanted[{index}].", item, WANTED_KEYS, problems)
        if len(good) < len(WANTED_KEYS):
            continue
        rod = good["rod"]
        if rods and rod not in rods:
            problems.add(file, f"wanted[{index}].rod", rod, f"no such rod; {nearest(rod, rods)}")
        if rod in wanted:
            problems.add(file, f"wanted[{index}].rod", rod, "named twice; keep one")
        if good["from"] >= good["to"]:
            problems.add(file, f"wanted[{index}].to", item["to"], "want deeper than from")
        wanted[rod] = (good["from"], good["to"])
    return wanted
