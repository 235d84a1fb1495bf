"""`python -m sim.towing CASE.json`: solves towing cases with the truth line model.

Prints one JSON object a line, {"id", "result"}; a bad case is told on stderr, the others are still printed,
exit 2; results are of the free end: depth below the surface, the rest from the tow point.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sim.cases import COURSE_COLUMNS, Case, read_case
from sim.chain import NoSolution, Segment
from sim.checked import CheckError
from sim.forces import Array
from sim.march import Line

STEADY_ELEMENTS, STEADY_LEAST = 140, 30
COURSE_ELEMENTS, COURSE_LEAST = 64, 12
COURSE_STEP_S = 0.05
"""With the meshes above: every reference row within a fifth of 1 % of depth, a sudden stop of copper within
1 %."""

JERK_S = 0.25
"""Half the time in which a reel is let start or stop where an instant one cannot be followed [s];
judgement."""

AROUND = np.linspace(-1.0, 1.0, 41)

_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(6)


class Track:
    """A tow point that moves along its heading, speed and heading linear in time between points.

    Args:
        course: (K, 3) t_s, speed [m/s], heading [rad].
    """

    def __init__(self, course: Array, height_m: float) -> None:
        self._course = course
        self._height_m = height_m
        span = np.arange(course[0, 0], course[-1, 0] + 1.0, 1.0)
        self._knots = np.union1d(course[:, 0], span)
        pieces = [self._moved(a, b) for a, b in zip(self._knots[:-1], self._knots[1:], strict=True)]
        self._sums = np.concatenate((np.zeros((1, 2)), np.cumsum(np.reshape(pieces, (-1, 2)), axis=0)))

    def _moved(self, start: float, end: float) -> Array:
        t = 0.5 * (start + end) + 0.5 * (end - start) * _GAUSS_X
        speed = np.interp(t, self._course[:, 0], self._course[:, 1])
        heading = np.interp(t, self._course[:, 0], self._course[:, 2])
        moved = np.array([_GAUSS_W @ (speed * np.cos(heading)), _GAUSS_W @ (speed * np.sin(heading))])
        return 0.5 * (end - start) * moved

    def heading_rad(self, t_s: float) -> float:
        """Heading at a time."""
        return float(np.interp(t_s, self._course[:, 0], self._course[:, 2]))

    def tow_point_m(self, t_s: float) -> Array:
        """(3,) position north, east, down at a time."""
        k = max(0, int(np.searchsorted(self._knots, t_s)) - 1)
        place = self._sums[k] + self._moved(self._knots[k], t_s)
        return np.array([place[0], place[1], -self._height_m])


def mesh(segments: Sequence[Segment], total: int, least: int) -> list[int]:
    """Elements of each segment: by length, but never fewer than `least`."""
    whole = sum(s.length_m for s in segments) or 1.0
    return [max(least, math.ceil(total * s.length_m / whole)) for s in segments]


def in_boat_axes(offset: Array, heading_rad: float) -> tuple[float, float]:
    """Aft and starboard parts [m] of a horizontal offset (north, east)."""
    c, s = math.cos(heading_rad), math.sin(heading_rad)
    return float(-(offset[0] * c + offset[1] * s)), float(-offset[0] * s + offset[1] * c)


def solve(case: Case) -> dict[str, Any]:
    """Solve one case.

    Returns:
        The keys of its kind's `expect`.
    Raises:
        NoSolution: the equations were not solved.
    """
    if case.kind == "course":
        return _solve_course(case)
    line = _line(case, case.segments, mesh(case.segments, STEADY_ELEMENTS, STEADY_LEAST))
    line.settle(np.array([0.0, 0.0, -case.height_m]), case.speed_mps, case.heading_rad, case.turn_radps)
    line.require_taut()
    end = line.nodes_m[0]
    aft, starboard = in_boat_axes(end[:2], case.heading_rad)
    depth, tension = float(end[2]), line.top_tension_n
    if case.kind == "steady":
        return {"depth_m": depth, "setback_m": aft, "lateral_m": starboard, "tension_n": tension}
    return {
        "depth_m": depth,
        "behind_m": aft,
        "inward_m": math.copysign(starboard, starboard * case.turn_radps),
        "tension_n": tension,
        "end_speed_m_s": float(np.linalg.norm(line.end_velocity_mps)),
    }


def _line(case: Case, segments: Sequence[Segment], elements: Sequence[int]) -> Line:
    return Line(segments, case.bodies, case.water, elements, case.height_m > 0.0)


def _solve_course(case: Case) -> dict[str, Any]:
    """As given; a reel that starts or stops with a jerk too hard to follow is given JERK_S to do it in."""
    try:
        return _march_course(case, 0.0)
    except NoSolution:
        if not len(case.line_out):
            raise
    result = _march_course(case, JERK_S)
    print(f"case {case.id}: line_out: its corners were rounded over {2 * JERK_S} s", file=sys.stderr)
    return result


def _march_course(case: Case, jerk_s: float) -> dict[str, Any]:
    """Settle, then march from event to event so that every corner of the course falls on a step."""
    track = Track(case.course, case.height_m)
    start, out = float(case.course[0, 0]), case.line_out

    def line_out_m(t_s: float) -> float:
        return float(np.mean(np.interp(t_s + jerk_s * AROUND, out[:, 0], out[:, 1])))

    line = _line(case, case.segments, mesh(_longest(case), COURSE_ELEMENTS, COURSE_LEAST))
    if len(out):
        line.set_line_out(line_out_m(start))
    line.settle(track.tow_point_m(start), case.speed_mps, case.heading_rad)
    line.require_taut()
    corners = [t for t in (*case.course[:, 0], *out[:, 0]) if t < max(case.report_t_s)]
    rows, t = {}, start
    for event in sorted({start, *case.report_t_s, *(float(c) for c in corners if c > start)}):
        parts = max(1, math.ceil((event - t) / COURSE_STEP_S - 1e-9))
        for k in range(parts if event > t else 0):
            h = (event - t) / parts
            line.march(t + k * h, h, track.tow_point_m, line_out_m if len(out) else None)
        t = event
        place = line.nodes_m[0] - track.tow_point_m(t)
        aft, starboard = in_boat_axes(place[:2], track.heading_rad(t))
        rows[t] = [t, float(line.nodes_m[0, 2]), aft, starboard, line.top_tension_n]
    return {"columns": list(COURSE_COLUMNS), "rows": [rows[t] for t in case.report_t_s]}


def _longest(case: Case) -> list[Segment]:
    """The segments with the top one as long as it ever gets, to size the mesh."""
    segments = list(case.segments)
    if len(case.line_out):
        top = segments[-1]
        longest = float(case.line_out[:, 1].max())
        segments[-1] = Segment(
            longest, top.diameter_m, top.mass_kg_m, top.normal_drag, top.tangential_drag, top.stiffness_n
        )
    return segments


def run(path: Path) -> int:
    """Solve every case of a file, printing as it goes.

    Returns:
        Exit code: 0, or 2 when any case or the file was bad.
    """
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        print(f"{path}: {error}; wanted: a JSON file in the format 'towing case 1'", file=sys.stderr)
        return 2
    cases = raw.get("cases", [raw]) if isinstance(raw, dict) else raw
    if not isinstance(cases, list):
        print(f"{path}: cases: {type(cases).__name__}; allowed: a list", file=sys.stderr)
        return 2
    bad = 0
    for index, one in enumerate(cases):
        name = one.get("id", f"number {index}") if isinstance(one, dict) else f"number {index}"
        try:
            result = solve(read_case(one))
        except (CheckError, NoSolution) as error:
            print(f"{path}: case {name}: {error}", file=sys.stderr)
            bad += 1
            continue
        print(json.dumps({"id": name, "result": result}, allow_nan=False), flush=True)
    return 2 if bad else 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line of `python -m sim.towing`."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if len(given) != 1 or given[0].startswith("-"):
        print("usage: python -m sim.towing CASE.json", file=sys.stderr)
        return 2
    return run(Path(given[0]))


if __name__ == "__main__":
    sys.exit(main())
