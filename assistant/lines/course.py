"""A line towed along a given course: settled at the start, then marched with the dynamic kernel, finely.

Speed and heading change linearly between the points of the course; the tow point moves along its heading. All in the
frame that drifts with the surface layer; x north, y east, z down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from assistant.lines.chain import Towed, Water
from assistant.lines.groups import Group, build, settle_group
from assistant.lines.kernel import march
from assistant.lines.layout import LANES
from assistant.lines.steady import NoSteadyShape

Array = NDArray[np.float64]

STEP_S = 0.05
RUNNING_STEP_S = 0.0125  # where line runs out or in: it starts and stops with a jerk
PIECE_M, PIECES_LEAST, PIECES_MOST = 0.5, 8, 120
SHORTEST_M = 0.02  # a finer run keeps a direction on less line than the live ones
TOLERANCE_M = 1e-7
GAUSS = ((0.5 - 15**0.5 / 10, 5 / 18), (0.5, 8 / 18), (0.5 + 15**0.5 / 10, 5 / 18))


@dataclass(frozen=True, slots=True)
class Course:
    """Points (K, 3): time [s], speed [m/s], heading [rad]; line_out (M, 2): time [s], length of the uppermost segment
    [m], or None.
    """

    points: Array
    line_out: Array | None = None

    def speed_heading(self, t_s: float) -> tuple[float, float]:
        """Speed [m/s] and heading [rad] at a time; constant before the first and after the last point."""
        t, v, h = self.points.T
        return float(np.interp(t_s, t, v)), float(np.interp(t_s, t, h))

    def velocity(self, t_s: float) -> Array:
        """(2,) north, east [m/s]."""
        speed, heading = self.speed_heading(t_s)
        return speed * np.array([math.cos(heading), math.sin(heading)])

    def move(self, start_s: float, end_s: float) -> Array:
        """(2,) way made between two times [m], by Gauss points between the kinks."""
        kinks = [k for k in self.points[:, 0] if start_s < k < end_s]
        edges = [start_s, *kinks, end_s]
        total = np.zeros(2)
        for a, b in pairwise(edges):
            total += (b - a) * sum(weight * self.velocity(a + at * (b - a)) for at, weight in GAUSS)
        return total

    def length_m(self, t_s: float, default_m: float) -> float:
        """Length of the uppermost segment [m]."""
        if self.line_out is None:
            return default_m
        return float(np.interp(t_s, self.line_out[:, 0], self.line_out[:, 1]))


def piece_counts(towed: Towed, longest_m: float | None = None) -> list[int]:
    """Pieces per segment for a fine run: about PIECE_M each, within PIECES_LEAST and PIECES_MOST."""
    lengths = [s.length_m for s in towed.segments]
    if longest_m is not None:
        lengths[-1] = longest_m
    return [min(PIECES_MOST, max(PIECES_LEAST, math.ceil(length / PIECE_M))) for length in lengths]


def run(towed: Towed, water: Water, course: Course, report_t_s: Array) -> Array:
    """March a line along a course.

    Args:
        towed: the line; water: density, gravity, current; course: what the tow point does.
        report_t_s: (R,) times to report [s], in any order.
    Returns:
        (R, 4) depth of the free end below the surface, its distance aft and to starboard of the tow point in the boat's
        axes [m], tension at the tow point [N].
    Raises:
        NoSteadyShape: no settled shape at the start, or the march does not converge.
    """
    begin = float(course.points[0, 0])
    end = max(float(np.max(report_t_s, initial=begin)), begin)
    times, corner = _steps(course, begin, end)
    tips = _tips(course, times, -towed.tow_height_m)
    full = towed.segments[-1].length_m
    mains = np.array([max(course.length_m(t, full), SHORTEST_M) for t in times])
    longest = float(mains.max()) if course.line_out is not None else None
    group, profile = _settled(towed, water, course, float(mains[0]), longest, tips[0])
    rows = np.empty((len(times), 4))
    rows[0] = _seen_from_boat(group, course, times[0])
    lanes = np.repeat(mains[:, None], LANES, axis=1)
    for k, step in enumerate(np.diff(times)):
        done = march(
            group.work, group.nodes, group.has_body, group.share, profile,
            tips[k : k + 2], lanes[k : k + 2], step, bool(corner[k]), TOLERANCE_M,
        )  # fmt: skip
        if done < 0:
            raise NoSteadyShape(f"the march does not converge at {times[k + 1]:g} s")
        rows[k + 1] = _seen_from_boat(group, course, times[k + 1])
    return np.column_stack([np.interp(report_t_s, times, rows[:, c]) for c in range(4)])


def _steps(course: Course, begin: float, end: float) -> tuple[Array, NDArray[np.bool_]]:
    """Times of the steps [s], every corner of the course and of the line out among them; and which are corners.

    The march starts afresh at a corner: line that starts or stops running jumps in speed, and steps are even only
    between corners.
    """
    corners = (
        course.points[:, 0]
        if course.line_out is None
        else np.concatenate([course.points[:, 0], course.line_out[:, 0]])
    )
    edges = np.unique([begin, *corners[(corners > begin) & (corners < end)], end])
    step = STEP_S if course.line_out is None else RUNNING_STEP_S
    times, is_corner = [begin], [True]
    for a, b in pairwise(edges):
        parts = max(1, math.ceil((b - a) / step - 1e-9))
        times += list(np.linspace(a, b, parts + 1)[1:])
        is_corner += [False] * (parts - 1) + [True]
    return np.array(times), np.array(is_corner)


def _tips(course: Course, times: Array, z: float) -> Array:
    """(K, 6, LANES) tow point positions and velocities."""
    tips = np.zeros((len(times), 6, LANES))
    place = np.zeros(2)
    for k, t in enumerate(times):
        if k:
            place = place + course.move(times[k - 1], t)
        tips[k, :2] = place[:, None]
        tips[k, 2] = z
        tips[k, 3:5] = course.velocity(t)[:, None]
    return tips


def _settled(
    towed: Towed, water: Water, course: Course, main_m: float, longest_m: float | None, tip: Array
) -> tuple[Group, Array]:
    top = replace(towed.segments[-1], length_m=main_m)
    start = replace(towed, segments=(*towed.segments[:-1], top))
    counts = piece_counts(start, longest_m)
    group = build([start], [counts], water, SHORTEST_M)
    profile = water.profile_array()
    problem = settle_group(group, [start], [counts], [water], tip[:3], tip[3:], profile)[0]
    if problem is not None:
        raise NoSteadyShape(problem)
    return group, profile


def _seen_from_boat(group: Group, course: Course, t_s: float) -> Array:
    points = group.positions_m()[:, :, 0]
    heading = course.speed_heading(t_s)[1]
    off = points[-1, :2] - points[0, :2]
    ahead = np.array([math.cos(heading), math.sin(heading)])
    starboard = np.array([-ahead[1], ahead[0]])
    return np.array([points[-1, 2], -off @ ahead, off @ starboard, group.tip_pull_n()[0]])
