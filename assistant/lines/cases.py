"""Towing cases, format "towing case 1": one line in SI, straight, on a circle or along a course; checked and solved.

The format: segments and bodies from the free end up to the boat, bodies[i] at the lower end of segments[i]; kind
steady, circle or course; nothing of `expect` is read but the times of its rows. Pure: takes and returns plain dicts.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.checks import (
    REQUIRED,
    CaseError,
    checked,
    increasing,
    listed,
    mapping,
    number,
    numbers,
    series,
    shown,
)
from assistant.lines.circle import circle
from assistant.lines.course import Course, run
from assistant.lines.steady import NoSteadyShape, straight

FORMAT = "towing case 1"

# key: (least, most, default); a default of REQUIRED must be given
WATER = {"density_kg_m3": (500.0, 2000.0, REQUIRED), "gravity_m_s2": (0.1, 30.0, REQUIRED)}
SEGMENT = {
    "length_m": (0.0, 5000.0, REQUIRED),
    "diameter_m": (1e-6, 1.0, REQUIRED),
    "mass_kg_m": (0.0, 100.0, REQUIRED),
    "normal_drag": (0.0, 20.0, REQUIRED),
    "tangential_drag": (0.0, 5.0, REQUIRED),
    "stiffness_n": (1.0, math.inf, math.inf),
}
BODY = {
    "wet_weight_n": (-1e5, 1e5, REQUIRED),
    "drag_area_m2": (0.0, 100.0, REQUIRED),
    "down_area_m2": (-100.0, 100.0, 0.0),
    "side_area_m2": (-100.0, 100.0, 0.0),
    "mass_kg": (0.0, 1e5, 0.0),
    "added_mass_kg": (0.0, 1e5, 0.0),
}
SPEED = (0.0, 20.0, REQUIRED)
HEIGHT = (0.0, 100.0, 0.0)
RADIUS = (0.1, 1e9, REQUIRED)
TIME = (-1e7, 1e7, REQUIRED)
DEPTH = (0.0, 1e4, REQUIRED)
CURRENT = (-10.0, 10.0, REQUIRED)
HEADING = (-1e5, 1e5, REQUIRED)
LENGTH = SEGMENT["length_m"]
LONGEST_S = 86_400.0  # a course: a day, some minutes of computing


def solve(case: Mapping[str, Any]) -> dict[str, Any]:
    """Solve one case.

    Returns:
        The keys of that kind's `expect`; a course as `columns` and `rows`.
    Raises:
        CaseError: a key is missing or out of range. NoSteadyShape: the line has no such shape.
    """
    if case.get("format", FORMAT) != FORMAT:
        raise CaseError(f"format: {shown(case['format'])}; allowed: {FORMAT!r}")
    kind = case.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        near = difflib.get_close_matches(str(kind), KINDS, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise CaseError(f"kind: {shown(kind)}; allowed: {', '.join(KINDS)}{hint}")
    return KINDS[kind](case, _towed(case), _water(case))


def _steady(case: Mapping[str, Any], towed: Towed, water: Water) -> dict[str, Any]:
    shape = straight(towed, water, number(case, "speed_m_s", SPEED))
    x, y, z = shape.points_m[0]
    return {
        "depth_m": float(z), "setback_m": 0.0 - float(x), "lateral_m": float(y),
        "tension_n": float(shape.tension_n[-1]),
    }  # fmt: skip


def _circle(case: Mapping[str, Any], towed: Towed, water: Water) -> dict[str, Any]:
    if water.profile:
        raise CaseError(
            "current: given; a circle is solved in still water only (a current does not turn with the boat)"
        )
    speed = number(case, "speed_m_s", SPEED)
    bend = mapping(case, "circle")
    turn = bend.get("turn")
    if turn not in ("port", "starboard"):
        raise CaseError(f"circle.turn: {shown(turn)}; allowed: 'port', 'starboard'")
    found = circle(towed, water, speed, number(bend, "radius_m", RADIUS, "circle."), turn == "starboard")
    return {
        "depth_m": found.depth_m, "behind_m": found.behind_m, "inward_m": found.inward_m,
        "tension_n": found.tension_n, "end_speed_m_s": found.end_speed_mps,
    }  # fmt: skip


COURSE_COLUMNS = ["t_s", "depth_m", "aft_m", "starboard_m", "tension_n"]


def _course(case: Mapping[str, Any], towed: Towed, water: Water) -> dict[str, Any]:
    course = mapping(case, "course")
    columns = course.get("columns", ["t_s", "speed_m_s", "heading_deg"])
    if not isinstance(columns, list) or sorted(map(str, columns)) != ["heading_deg", "speed_m_s", "t_s"]:
        raise CaseError(f"course.columns: {shown(columns)}; allowed: t_s, speed_m_s, heading_deg")
    points = []
    for i, row in enumerate(listed(course, "points", "course.")):
        if not isinstance(row, list) or len(row) != 3:
            raise CaseError(f"course.points[{i}]: {shown(row)}; allowed: 3 numbers {columns}")
        named = dict(zip(columns, row, strict=True))
        where = f"course.points[{i}]."
        heading = math.radians(number(named, "heading_deg", HEADING, where))
        points.append((number(named, "t_s", TIME, where), number(named, "speed_m_s", SPEED, where), heading))
    if not points:
        raise CaseError("course.points: []; allowed: at least one point")
    table = np.array(points)
    increasing(table[:, 0], "course.points t_s")
    times = _report_times(case, table[0, 0], table[-1, 0])
    rows = run(towed, water, Course(table, _line_out(case)), times)
    return {
        "columns": COURSE_COLUMNS,
        "rows": [[float(t), *map(float, r)] for t, r in zip(times, rows, strict=True)],
    }


KINDS: dict[str, Callable[[Mapping[str, Any], Towed, Water], dict[str, Any]]] = {
    "steady": _steady, "circle": _circle, "course": _course,
}  # fmt: skip


def _report_times(
    case: Mapping[str, Any], first: float, last: float
) -> np.ndarray[Any, np.dtype[np.float64]]:
    limits = (first, first + LONGEST_S, REQUIRED)
    given, where = case.get("report_t_s"), "report_t_s"
    expect = case.get("expect")
    if given is None and isinstance(expect, Mapping) and isinstance(expect.get("rows"), list):
        given, where = (
            [row[0] if isinstance(row, list) and row else row for row in expect["rows"]],
            "expect.rows",
        )
    if given is None:
        return np.arange(first, checked(last, limits, "course.points t_s") + 1e-9, 1.0)
    if not isinstance(given, list):
        raise CaseError(f"{where}: {shown(given)}; allowed: a list of times")
    return np.array([checked(t, limits, f"{where}[{i}]") for i, t in enumerate(given)], dtype=float)


def _towed(case: Mapping[str, Any]) -> Towed:
    segments = listed(case, "segments")
    bodies = listed(case, "bodies") if "bodies" in case else []
    if not segments:
        raise CaseError("segments: []; allowed: at least one segment")
    if len(bodies) > len(segments):
        raise CaseError(f"bodies: {len(bodies)} of them; allowed: at most one per segment ({len(segments)})")
    made = [Segment(**numbers(s, SEGMENT, f"segments[{i}].")) for i, s in enumerate(segments)]
    tied = [None if b is None else Body(**numbers(b, BODY, f"bodies[{i}].")) for i, b in enumerate(bodies)]
    return Towed(tuple(made), tuple(tied), number(case, "tow_point_height_m", HEIGHT))


def _water(case: Mapping[str, Any]) -> Water:
    of = numbers(mapping(case, "water"), WATER, "water.")
    water = Water(of["density_kg_m3"], of["gravity_m_s2"])
    if case.get("current") is None:
        return water
    current = mapping(case, "current")
    depth = series(current, "depth_m", DEPTH, "current.")
    north = series(current, "north_m_s", CURRENT, "current.")
    east = series(current, "east_m_s", CURRENT, "current.")
    if not len(depth) == len(north) == len(east):
        raise CaseError(
            f"current: {len(depth)} depths, {len(north)} north, {len(east)} east; allowed: as many of each"
        )
    increasing(np.array(depth), "current.depth_m")
    rows = list(zip(depth, north, east, strict=True))
    if depth[0] > 0.0:
        rows.insert(0, (0.0, 0.0, 0.0))
    return replace(water, profile=tuple(rows))


def _line_out(case: Mapping[str, Any]) -> np.ndarray[Any, np.dtype[np.float64]] | None:
    if case.get("line_out") is None:
        return None
    out = mapping(case, "line_out")
    times = series(out, "t_s", TIME, "line_out.")
    lengths = series(out, "length_m", LENGTH, "line_out.")
    if len(times) != len(lengths):
        raise CaseError(f"line_out: {len(times)} times, {len(lengths)} lengths; allowed: as many of each")
    increasing(np.array(times), "line_out.t_s")
    return np.column_stack([times, lengths])


__all__ = ["CaseError", "NoSteadyShape", "solve"]
