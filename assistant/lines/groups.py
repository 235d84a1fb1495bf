"""Eight lines side by side, ready for the dynamic kernel: from chains to the kernel's flat array and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.chain import Body, Segment, Towed, Water, body_columns, segment_columns
from assistant.lines.kernel import settle
from assistant.lines.layout import FIELDS, LANES
from assistant.lines.segment import pull_at_tip
from assistant.lines.steady import NoSteadyShape, straight

Array = NDArray[np.float64]

START = 1e-6  # error per step of the steady integration a march starts from; settling mends the rest
SHORTEST_M = 0.3
"""A main line reeled in further than this is kept this long, so that its segments keep a direction."""


@dataclass(frozen=True, slots=True)
class Group:
    """Lines that march together. `work` is changed in place by the kernel."""

    nodes: int
    work: Array  # flat, see layout.py
    has_body: NDArray[np.uint8]  # (nodes+1,)
    share: Array  # (nodes+1, LANES) part of the main line in each segment
    main_m: Array  # (LANES,) length of the main line

    def view(self) -> Array:
        """`work` as (nodes+1, FIELDS, LANES)."""
        return self.work.reshape(self.nodes + 1, FIELDS, LANES)

    def positions_m(self) -> Array:
        """(nodes+1, 3, LANES) present positions, rod tip first."""
        return self.view()[:, layout.X1 : layout.X1 + 3, :]

    def tip_pull_n(self) -> Array:
        """(LANES,) line's force at the rod tip."""
        out = np.empty(LANES)
        pull_at_tip(self.work, out)
        return out


def pieces(towed: Towed, counts: Sequence[int]) -> Towed:
    """Cut segment i (free end first) into counts[i] equal pieces."""
    segments: list[Segment] = []
    bodies: list[Body | None] = []
    given = [*towed.bodies, *[None] * (len(towed.segments) - len(towed.bodies))]
    for segment, body, count in zip(towed.segments, given, counts, strict=True):
        segments += [replace(segment, length_m=segment.length_m / count)] * count
        bodies += [body, *[None] * (count - 1)]
    return Towed(tuple(segments), tuple(bodies), towed.tow_height_m)


def live_counts(towed: Towed, total: int, below: int) -> list[int]:
    """Pieces per segment, free end first: `below` in all under what the counter counts, the rest in that."""
    parts = len(towed.segments) - len(towed.shares)
    if parts == 0:
        return _by_share(towed.shares, total)
    below = max(below, parts)
    each = [below // parts + (1 if i < below % parts else 0) for i in range(parts)]
    return [*each, *_by_share(towed.shares, total - below)]


def _by_share(shares: Sequence[float], total: int) -> list[int]:
    """`total` pieces, one or more to each: the next piece goes where pieces are longest."""
    counts = [1] * len(shares)
    for _ in range(total - len(shares)):
        longest = max(range(len(shares)), key=lambda i: shares[i] / counts[i])
        counts[longest] += 1
    return counts


def build(
    lines: Sequence[Towed], counts: Sequence[Sequence[int]], water: Water, shortest_m: float = SHORTEST_M
) -> Group:
    """A group from up to eight lines, all cut into the same number of pieces; spare lanes repeat the last line."""
    nodes = sum(counts[0])
    view = np.zeros((nodes + 1, FIELDS, LANES))
    share = np.zeros((nodes + 1, LANES))
    main = np.empty(LANES)
    for lane in range(LANES):
        k = min(lane, len(lines) - 1)
        load_lane(view, share, main, lane, lines[k], counts[k], water, shortest_m)
    has_body = (np.abs(view[:, layout.B_MASS : layout.B_SIDE + 1, :]).max(axis=(1, 2)) > 0).astype(np.uint8)
    return Group(nodes, view.reshape(-1), has_body, share, main)


def load_lane(
    view: Array,
    share: Array,
    main: Array,
    lane: int,
    towed: Towed,
    counts: Sequence[int],
    water: Water,
    shortest_m: float = SHORTEST_M,
) -> None:
    """Write one line's properties into a lane; positions are left alone."""
    cut = pieces(towed, counts)
    top_first = list(zip(cut.segments, cut.bodies, strict=True))[::-1]
    running = towed.running % len(counts)
    main[lane] = max(towed.segments[running].length_m, shortest_m)
    first = 1 + sum(counts[running + 1 :])
    last = first + counts[running]
    share[:, lane] = 0.0
    share[first:last, lane] = 1.0 / counts[running]
    for i, (segment, body) in enumerate(top_first, start=1):
        length, kn, kt, wet, dry, mass, added, compliance = segment_columns(segment, water)
        if first <= i < last:
            length = main[lane] / counts[running]
        view[i, layout.LENGTH : layout.COMPLIANCE + 1, lane] = (
            length,
            kn,
            kt,
            wet,
            dry,
            mass,
            added,
            compliance,
        )
        view[i, layout.B_MASS : layout.B_SIDE + 1, lane] = body_columns(body, water)
    view[0, layout.TURN, lane] = 1.0


def settle_group(
    group: Group,
    lines: Sequence[Towed],
    counts: Sequence[Sequence[int]],
    waters: Sequence[Water],
    tips: Array,
    velocity: Array,
    profile: Array,
) -> list[str | None]:
    """Put every line into its steady shape for tips moving at a constant velocity, in place.

    Args:
        waters: the water as each line meets it; profile: the kernel's, which each lane's TURN makes into that.
        tips: (3, LANES) rod tips [m], z down; velocity: (3, LANES) [m/s] through the surface layer.
    Returns:
        Per line None, or why it has no steady shape (it then hangs straight aft as a start for marching).
    """
    view = group.view()
    problems: list[str | None] = []
    for lane in range(LANES):
        k = min(lane, len(lines) - 1)
        problem = _place(view, lane, lines[k], counts[k], waters[k], tips[:, lane], velocity[:, lane])
        if lane < len(lines):
            problems.append(problem)
    keep = group.work.copy()
    flow = np.ascontiguousarray(velocity).reshape(-1)
    if not settle(group.work, group.nodes, group.has_body, profile, flow, 1e-7):
        group.work[:] = keep  # march from the steady integration instead: a hair off, and no harm
    return problems


def _straight_aft(cut: Towed, north: float, east: float) -> Array:
    """(N, 3) a straight line that slopes aft and down, tip first."""
    along = np.cumsum([0.0, *(s.length_m for s in cut.segments[::-1])])
    speed = np.hypot(north, east)
    aft = np.array([-north, -east]) / speed if speed > 0.0 else np.zeros(2)
    return np.outer(along, [0.9 * aft[0], 0.9 * aft[1], 0.4])


def _place(
    view: Array, lane: int, towed: Towed, counts: Sequence[int], water: Water, tip: Array, velocity: Array
) -> str | None:
    """Start positions and tensions of one lane from the steady integration, as present and past."""
    north, east = float(velocity[0]), float(velocity[1])
    cut = pieces(towed, counts)
    problem = None
    try:
        shape = straight(cut, water, float(np.hypot(north, east)), float(np.arctan2(east, north)), START)
        points, tension = shape.points_m[::-1], shape.tension_n[::-1]
    except NoSteadyShape as error:
        problem = str(error)
        points = _straight_aft(cut, north, east)
        tension = np.full(len(points), 1.0)
    place = points - points[0] + tip
    for block in (layout.X, layout.X1, layout.X2):
        view[:, block : block + 3, lane] = place
    for block in (layout.VX1, layout.VX2):
        view[:, block : block + 3, lane] = velocity
    view[1:, layout.T : layout.T2 + 1, lane] = np.maximum(tension[:-1], 1e-3)[:, None]
    return problem
