"""Reads calibration.toml: what `spreadwatch calibrate` found, with date and evidence. Its numbers come before those of
boat.toml and the register of reels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_keys
from assistant.config_keys import LINE_OF_TEXT, PART_NAME, Check, Key, deviations, number
from assistant.config_reels import TRUE_OVER_COUNTER, day
from assistant.configured import Reel, ReelMark, Rod

CALIBRATION = "calibration.toml"  # a boat's own; there is no packaged one


def pairs(first: Check, second: Check, example: str, least: int = 1, most: int = 40) -> Check:
    """A list of pairs of numbers."""

    def check(raw: object) -> tuple[tuple[float, float], ...]:
        if not isinstance(raw, list) or not least <= len(raw) <= most:
            raise ValueError(f"want {least}..{most} pairs such as {example}")
        found = []
        for pair in raw:
            if not isinstance(pair, list) or len(pair) != 2:
                raise ValueError(f"want pairs such as {example}")
            found.append((first(pair[0]), second(pair[1])))
        return tuple(found)  # type: ignore[arg-type]  # both checks give floats

    return check


def curve(raw: object) -> tuple[tuple[float, float], ...]:
    """The speed log's factor by what it reads, slowest first."""
    found = pairs(number(0.05, 15.0, "m/s"), number(0.3, 3.0), "[[0.8, 1.12], [1.2, 1.08]]")(raw)
    assert isinstance(found, tuple)
    if any(one[0] >= two[0] for one, two in pairwise(found)):
        raise ValueError("want readings that rise from pair to pair")
    return found


DATE = Key("date", day, "when it was calibrated", required=True)
EVIDENCE = Key("evidence", LINE_OF_TEXT, "what it rests on", required=True)
STEPS: Mapping[str, tuple[Key, ...]] = {
    "speed": (
        DATE,
        EVIDENCE,
        Key("curve", curve, "pairs: reading of the log in m/s, true speed over reading", required=True),
        Key("sigma", number(0.001, 0.2), "of the factor, as a share", required=True),
    ),
    "compass": (
        DATE,
        EVIDENCE,
        Key("offset_deg", number(-180.0, 180.0, "degrees"), "as compass_offset_deg", required=True),
        Key("deviation", deviations, "as compass_deviation"),
        Key("sigma_deg", number(0.1, 20.0, "degrees"), "of both together", required=True),
    ),
    "sounder": (
        DATE,
        EVIDENCE,
        Key("below_surface_m", number(0.0, 10.0, "m"), "what a sounding lacks to the depth", required=True),
        Key("sigma_m", number(0.001, 2.0, "m"), "of that", required=True),
    ),
    "latency": (
        DATE,
        EVIDENCE,
        Key("course_lag_s", number(-4.0, 8.0, "s"), "how far a course trails the compass", required=True),
        Key("sigma_s", number(0.01, 2.0, "s"), "of that", required=True),
    ),
}
"""Keys of each table; those of [counter.ROD] are COUNTER_KEYS."""

COUNTER_KEYS = (
    DATE,
    EVIDENCE,
    Key("line", PART_NAME, "the line that was taped", required=True),
    Key(
        "marks",
        pairs(number(0.3, 200.0, "m"), number(0.3, 200.0, "m"), "[[15.2, 13.4], [48.8, 42.0]]", least=3),
        "pairs: what the counter showed, what was taped, in m",
        required=True,
    ),
)

BOAT_FIELDS: Mapping[str, Mapping[str, str]] = {
    "speed": {"curve": "speed_log_curve", "sigma": "speed_log_sigma"},
    "compass": {
        "offset_deg": "compass_offset_deg",
        "deviation": "compass_deviation",
        "sigma_deg": "compass_sigma_deg",
    },
    "sounder": {"below_surface_m": "sounder_measured_m"},
    "latency": {"course_lag_s": "course_lag_s"},
}
"""Key of a table -> field of BoatConfig that it sets."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the file sets: fields of BoatConfig, and marks with their line by rod."""

    boat: Mapping[str, Any] = field(default_factory=dict)
    counters: Mapping[str, Reel] = field(default_factory=dict)


def read_calibration(
    file: Path, table: Mapping[str, Any], rods: Sequence[Rod], problems: Problems
) -> Calibration:
    """Read the whole file; `rods` are those of spread.toml (empty where it could not be read)."""
    boat: dict[str, Any] = {}
    for name, raw in table.items():
        if name == "counter":
            continue
        if name not in STEPS or not isinstance(raw, dict):
            problems.add(file, name, raw, f"no such table; {nearest(name, [*STEPS, 'counter'])}")
            continue
        good = read_keys(file, f"{name}.", raw, STEPS[name], problems)
        boat |= {to: good[key] for key, to in BOAT_FIELDS[name].items() if key in good}
        if name == "compass":
            boat.setdefault("compass_deviation", ())
    return Calibration(boat, _counters(file, table.get("counter", {}), rods, problems))


def _counters(file: Path, raw: object, rods: Sequence[Rod], problems: Problems) -> dict[str, Reel]:
    if not isinstance(raw, dict):
        problems.add(file, "counter", raw, "want tables such as [counter.S2]")
        return {}
    known = {rod.name: [part.line for part in rod.rig if part.line is not None] for rod in rods}
    found = {}
    for name, item in raw.items():
        where = f"counter.{name}"
        if not isinstance(item, dict) or (known and name not in known):
            problems.add(file, where, item, f"no such rod in spread.toml; {nearest(name, known)}")
            continue
        good = read_keys(file, f"{where}.", item, COUNTER_KEYS, problems)
        if len(good) < len(COUNTER_KEYS):
            continue
        if known and good["line"] not in known[name]:
            problems.add(file, f"{where}.line", good["line"], "not on that rod any more; delete this table")
        for shown, true in good["marks"]:
            if not TRUE_OVER_COUNTER[0] <= true / shown <= TRUE_OVER_COUNTER[1]:
                problems.add(file, f"{where}.marks", [shown, true], "want true within half of the counter")
        marks = tuple(ReelMark(shown, true, good["date"]) for shown, true in good["marks"])
        found[name] = Reel(f"reel of {name}", good["line"], good["date"], name, marks)
    return found


def with_counters(reels: tuple[Reel, ...], counters: Mapping[str, Reel]) -> tuple[Reel, ...]:
    """The register with the marks taped last: a reel's own, or those of the calibration where they are newer."""
    merged = []
    for reel in reels:
        taped = counters.get(reel.rod or "")
        newest = max((mark.date for mark in reel.marks), default="")
        newer = taped is not None and taped.line == reel.line and taped.spooled >= newest
        merged.append(replace(reel, marks=taped.marks) if newer and taped is not None else reel)
    has = {reel.rod for reel in reels}
    return (*merged, *(reel for rod, reel in counters.items() if rod not in has))
