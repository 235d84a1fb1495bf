"""Reads "towing case 1": one tow described completely in SI, with every value checked before it is used.

A number's allowed range is a row of a table; a bad value names its key, itself and the range. Keys not named
here are ignored, and nothing of `expect` is read but the times of its rows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sim.chain import STILL, Body, Segment, Water
from sim.checked import CheckError, Number, number
from sim.forces import Array

COURSE_COLUMNS = ("t_s", "depth_m", "aft_m", "starboard_m", "tension_n")


WATER = (Number("density_kg_m3", 1.0, 2000.0), Number("gravity_m_s2", 0.1, 100.0))
SEGMENT = (
    Number("length_m", 0.0, 5000.0),
    Number("diameter_m", 1e-6, 1.0),
    Number("mass_kg_m", 0.0, 1000.0),
    Number("normal_drag", 0.0, 20.0),
    Number("tangential_drag", 0.0, 5.0),
)
STIFFNESS = Number("stiffness_n", 1.0, 1e12)
BODY = (
    Number("wet_weight_n", -1e5, 1e5, 0.0),
    Number("drag_area_m2", 0.0, 100.0, 0.0),
    Number("down_area_m2", -100.0, 100.0, 0.0),
    Number("side_area_m2", -100.0, 100.0, 0.0),
    Number("mass_kg", 0.0, 1e5, 0.0),
    Number("added_mass_kg", 0.0, 1e5, 0.0),
)
HEIGHT = Number("tow_point_height_m", 0.0, 100.0, 0.0)
SPEED = Number("speed_m_s", 0.0, 20.0)
HEADING = Number("heading_deg", -1e4, 1e4, 0.0)
RADIUS = Number("radius_m", 0.1, 1e7)
CURRENT = (Number("depth_m", -1.0, 1e4), Number("east_m_s", -10.0, 10.0), Number("north_m_s", -10.0, 10.0))
COURSE = (Number("t_s", -1e6, 1e6), SPEED, HEADING)
LINE_OUT = (Number("t_s", -1e6, 1e6), SEGMENT[0])
REPORT = Number("report_t_s", -1e6, 1e6)


@dataclass(frozen=True, slots=True)
class Case:
    """One tow. `course` (K, 3) t_s, speed, heading [rad]; `line_out` (K, 2) t_s, length; empty unless a
    course."""

    id: str
    kind: Literal["steady", "circle", "course"]
    water: Water
    segments: tuple[Segment, ...]
    bodies: tuple[Body, ...]
    height_m: float
    speed_mps: float
    heading_rad: float
    turn_radps: float
    course: Array
    line_out: Array
    report_t_s: tuple[float, ...]


def _mapping(value: Any, key: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise CheckError(f"{key}: {value!r:.60}; allowed: an object")
    return value


def _list(value: Any, key: str, least: int, most: int) -> Sequence[Any]:
    if not isinstance(value, list) or not least <= len(value) <= most:
        got = f"{len(value)} entries" if isinstance(value, list) else f"{value!r:.60}"
        raise CheckError(f"{key}: {got}; allowed: a list of {least} to {most}")
    return value


def _rising(table: Array, key: str) -> Array:
    if not np.all(np.diff(table[:, 0]) > 0.0):
        raise CheckError(f"{key}: {table[:, 0].tolist()}; allowed: strictly rising")
    return table


def read_case(raw: Any) -> Case:
    """Read and check one case.

    Raises:
        CheckError: with key, value and allowed range of the first fault.
    """
    raw = _mapping(raw, "case")
    if raw.get("format", "towing case 1") != "towing case 1":
        raise CheckError(f"format: {raw['format']!r}; allowed: 'towing case 1'")
    kind = raw.get("kind")
    if kind not in ("steady", "circle", "course"):
        raise CheckError(f"kind: {kind!r}; allowed: 'steady', 'circle', 'course'")
    pieces = _list(raw.get("segments"), "segments", 1, 100)
    segments = tuple(_segment(piece, f"segments[{i}].") for i, piece in enumerate(pieces))
    things = _list(raw.get("bodies", []), "bodies", 0, len(segments))
    bodies = tuple(_body(thing, f"bodies[{i}].") for i, thing in enumerate(things))
    course, line_out = np.zeros((0, 3)), np.zeros((0, 2))
    report: tuple[float, ...] = ()
    speed, heading, turn = 0.0, 0.0, 0.0
    if kind == "course":
        course, line_out, report = _course(raw)
        speed, heading = course[0, 1], course[0, 2]
    else:
        speed = number(raw.get("speed_m_s"), SPEED)
        heading = math.radians(number(raw.get("heading_deg"), HEADING))
    profile = _profile(raw)
    if kind == "circle":
        turn = _turn(raw, speed)
        if np.any(profile[:, 1:] != 0.0):
            raise CheckError(
                "current: given for kind 'circle'; allowed: none, a circle settles only in still water"
            )
    values = [number(_mapping(raw.get("water"), "water").get(row.key), row, "water.") for row in WATER]
    return Case(
        id=str(raw.get("id", "")),
        kind=kind,
        water=Water(values[0], values[1], profile),
        segments=segments,
        bodies=bodies,
        height_m=number(raw.get(HEIGHT.key), HEIGHT),
        speed_mps=float(speed),
        heading_rad=float(heading),
        turn_radps=turn,
        course=course,
        line_out=line_out,
        report_t_s=report,
    )


def _segment(raw: Any, where: str) -> Segment:
    raw = _mapping(raw, where.rstrip("."))
    values = {row.key: number(raw.get(row.key), row, where) for row in SEGMENT}
    stiffness = raw.get(STIFFNESS.key)
    return Segment(**values, stiffness_n=None if stiffness is None else number(stiffness, STIFFNESS, where))


def _body(raw: Any, where: str) -> Body:
    raw = _mapping(raw, where.rstrip("."))
    return Body(**{row.key: number(raw.get(row.key), row, where) for row in BODY})


def _turn(raw: Mapping[str, Any], speed: float) -> float:
    circle = _mapping(raw.get("circle"), "circle")
    radius = number(circle.get(RADIUS.key), RADIUS, "circle.")
    side = circle.get("turn")
    if side not in ("port", "starboard"):
        raise CheckError(f"circle.turn: {side!r}; allowed: 'port', 'starboard'")
    return speed / radius * (1.0 if side == "starboard" else -1.0)


def _profile(raw: Mapping[str, Any]) -> Array:
    if raw.get("current") is None:
        return STILL
    current = _mapping(raw["current"], "current")
    depths = _list(current.get("depth_m"), "current.depth_m", 1, 1000)
    columns = [_list(current.get(row.key), f"current.{row.key}", len(depths), len(depths)) for row in CURRENT]
    both = zip(columns, CURRENT, strict=True)
    depth, east, north = [[number(v, row, "current.") for v in column] for column, row in both]
    return _rising(np.array([depth, north, east]).T.copy(), "current.depth_m")


def _course(raw: Mapping[str, Any]) -> tuple[Array, Array, tuple[float, ...]]:
    course = _mapping(raw.get("course"), "course")
    keys = [row.key for row in COURSE]
    columns = course.get("columns", keys)
    if not isinstance(columns, list) or sorted(map(str, columns)) != sorted(keys):
        raise CheckError(f"course.columns: {columns!r}; allowed: {keys}")
    rows = []
    for i, point in enumerate(_list(course.get("points"), "course.points", 1, 100000)):
        named = dict(zip(columns, _list(point, f"course.points[{i}]", 3, 3), strict=True))
        rows.append([number(named[row.key], row, f"course.points[{i}].") for row in COURSE])
    table = _rising(np.array(rows), "course.points")
    table[:, 2] = np.radians(table[:, 2])
    line_out = np.zeros((0, 2))
    if raw.get("line_out") is not None:
        out = _mapping(raw["line_out"], "line_out")
        times = _list(out.get("t_s"), "line_out.t_s", 1, 100000)
        lengths = _list(out.get("length_m"), "line_out.length_m", len(times), len(times))
        both = zip((times, lengths), LINE_OUT, strict=True)
        line_out = _rising(
            np.array([[number(v, row, "line_out.") for v in column] for column, row in both]).T.copy(),
            "line_out.t_s",
        )
    return table, line_out, _report_times(raw, table)


def _report_times(raw: Mapping[str, Any], course: Array) -> tuple[float, ...]:
    start, end = float(course[0, 0]), float(course[-1, 0])
    times: Any = raw.get("report_t_s")
    if times is None:
        expect = raw.get("expect")
        rows = expect.get("rows") if isinstance(expect, Mapping) else None
        if isinstance(rows, list):
            times = [row[0] if isinstance(row, list) and row else row for row in rows]
    if times is None:
        times = list(np.arange(start, end + 1e-9, 1.0))
    row = Number(REPORT.key, start, REPORT.high)
    return tuple(number(t, row) for t in _list(times, REPORT.key, 1, 1000000))
