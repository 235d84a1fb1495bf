"""`spreadwatch ahead`: ask the running daemon what its lines will do, now or what if."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from assistant.tell import answer_of
from assistant.units import DISPLAY_UNITS, DisplayUnit

TIMEOUT_S = 15.0  # the first answer of a daemon that has just begun takes some seconds
LONGEST = 1 << 20


def asked(port: int, query: Mapping[str, str], as_json: bool) -> str:
    """What to print.

    Args:
        query: as for GET /api/forecast, see web/ahead.py; empty: the newest forecast.
    Raises:
        OptionError: no daemon answers there, or it refuses; its own words.
    """
    path = f"/api/forecast?{urlencode(query)}" if query else "/api/forecast"
    told: dict[str, Any] = answer_of(port, "GET", path, TIMEOUT_S, LONGEST)
    return json.dumps(told, allow_nan=False) if as_json else as_text(told)


def as_text(told: Mapping[str, Any]) -> str:
    """The sentence and a row for each rod; unknown is --."""
    length, speed, pull = (DISPLAY_UNITS[told["units"]][unit] for unit in ("m", "m/s", "N"))
    doubt = "" if told["state"] == "ok" else f" (in doubt: {told['cause']})"
    rows = [
        f"{told['about']}, from {told['age_s']:.0f} s ago{doubt}",
        told["sentence"],
        "",
        f"{'rod':<5}{'now':>6}{'rises':>8}{'sinks':>8}{'slowest':>9}{'off bottom':>12}   "
        f"[{length.label}, {speed.label}]",
    ]
    for name, rod in told["rods"].items():
        gap = rod["least_bottom_gap_m"]
        cells = (
            _shown(rod["depth_m"]["value"][0], length),
            _shown(rod["rise_m"]["value"], length),
            _shown(rod["sink_m"]["value"], length),
            _shown(rod["slowest_mps"]["value"], speed),
            _shown(None if gap is None else gap["value"], length),
        )
        notes = [] if rod["bottom_known"] == 1.0 else [rod["bottom_cause"]]
        if (margin := rod.get("trip_margin_n")) is not None:
            notes.append(f"{_shown(margin['value'], pull)} {pull.label} below what it has held")
        row = f"{name:<5}{cells[0]:>6}{cells[1]:>8}{cells[2]:>8}{cells[3]:>9}{cells[4]:>12}"
        rows.append(f"{row}   {'; '.join(notes)}".rstrip())
    rows += [f"{name:<5}left out: {why}" for name, why in told["lost"].items()]
    causes: dict[str, list[str]] = {}
    for name, rod in told["rods"].items():
        if rod.get("trip_cause"):
            causes.setdefault(rod["trip_cause"], []).append(name)
    rows += [f"trip margin of {', '.join(names)}: {cause}" for cause, names in causes.items()]
    return "\n".join(rows)


def _shown(value: float | None, unit: DisplayUnit) -> str:
    return "--" if value is None else f"{value * unit.scale:.{unit.digits}f}"
