"""How far two solutions of a towing case lie apart, in units of what is allowed: 1 is the limit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# kind: quantity: (share, absolute [m, N or m/s]); the larger of the two is allowed
TOLERANCES: dict[str, dict[str, tuple[float, float]]] = {
    "steady": {
        "depth_m": (0.001, 0.01),
        "setback_m": (0.001, 0.01),
        "lateral_m": (0.002, 0.01),
        "tension_n": (0.001, 0.01),
    },
    "circle": {
        "depth_m": (0.005, 0.05),
        "behind_m": (0.005, 0.05),
        "inward_m": (0.005, 0.05),
        "tension_n": (0.005, 0.05),
        "end_speed_m_s": (0.005, 0.01),
    },
    "course": {
        "depth_m": (0.01, 0.05),
        "aft_m": (0.01, 0.10),
        "starboard_m": (0.01, 0.10),
        "tension_n": (0.02, 0.05),
    },
}


def worst(kind: str, found: Mapping[str, Any], expected: Mapping[str, Any]) -> dict[str, float]:
    """Largest difference of each quantity over what is allowed for it; a course over all rows.

    Raises:
        ValueError: the rows of a course are not at the same times.
    """
    allowed = TOLERANCES[kind]
    if kind != "course":
        return {q: _ratio(found[q], expected[q], *allowed[q]) for q in allowed}
    ours, theirs = _rows(found), _rows(expected)
    if [row["t_s"] for row in ours] != [row["t_s"] for row in theirs]:
        raise ValueError("rows at other times")
    pairs = list(zip(ours, theirs, strict=True))
    return {q: max(_ratio(a[q], b[q], *allowed[q]) for a, b in pairs) for q in allowed}


def _rows(course: Mapping[str, Any]) -> list[dict[str, float]]:
    return [dict(zip(course["columns"], row, strict=True)) for row in course["rows"]]


def _ratio(found: float, expected: float, share: float, absolute: float) -> float:
    return abs(found - expected) / max(share * abs(expected), absolute)
