"""Lure depth against line out, for every line out at once: one integration up from the free end.

In still water nothing below a point of the line knows how much line is above it. So wherever the line, climbed from
its free end, is cut at the surface, what hangs below is the steady shape with that much line in the water; the dry
part up to the tow point is a catenary with the pull at the surface (no air drag), in closed form.
Valid: still water (the surface layer's), lure and bodies wet, straight tow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines.chain import Towed, Water
from assistant.lines.steady import NoSteadyShape, climb, columns

Array = NDArray[np.float64]

PIECES = 24  # between the points at which the curve is known; nothing to do with how live lines are cut
RELATIVE = 1e-6  # error per step of the integration
_FAR_M = 1e6  # wet whatever the line does

_compiled = njit(cache=True, nogil=True, error_model="numpy")


@dataclass(frozen=True, slots=True)
class DepthCurve:
    """line_out_m: (P,) from the tow point to the end of what the counter counts, rising; depth_m: (P,) of the lure.

    surfaces: more line than the last of it would come up to the surface on its way.
    """

    line_out_m: Array
    depth_m: Array
    surfaces: bool

    def depth_at(self, line_out_m: float) -> float:
        """Depth [m] at a line out [m], NaN outside the curve."""
        return float(np.interp(line_out_m, self.line_out_m, self.depth_m, left=np.nan, right=np.nan))

    def up_to(self, line_out_m: float) -> DepthCurve:
        """The part of the curve up to a line out [m]."""
        keep = self.line_out_m < line_out_m
        if keep.all():
            return self
        line_out = np.append(self.line_out_m[keep], line_out_m)
        depth = np.append(self.depth_m[keep], np.interp(line_out_m, self.line_out_m, self.depth_m))
        return DepthCurve(line_out, depth, False)

    def least_line_m(self, depth_m: float) -> float | None:
        """The least line out [m] that takes the lure to a depth [m]; None where none does."""
        deep = np.flatnonzero(self.depth_m >= depth_m)
        if len(deep) == 0 or depth_m < self.depth_m[0]:
            return None
        j = max(int(deep[0]), 1)
        share = (depth_m - self.depth_m[j - 1]) / (self.depth_m[j] - self.depth_m[j - 1])
        return float(self.line_out_m[j - 1] + share * (self.line_out_m[j] - self.line_out_m[j - 1]))


@_compiled
def _dry_m(state: Array, rows: Array, first: int, height_m: float) -> float:
    """Unstretched line from the surface up to a tow point, of the pieces from row `first` on (the last goes on).

    A catenary's pull grows by the weight of the height gained while its horizontal part stays. NaN: it comes down.
    """
    up = -state[5]
    across = math.sqrt(state[3] ** 2 + state[4] ** 2)
    pull = math.sqrt(up * up + across * across)
    if up <= 0.0:
        return math.nan
    dry, left, last = 0.0, height_m, rows.shape[0] - 1
    for i in range(min(first, last), last):
        above = up + rows[i, 4] * rows[i, 0]
        stronger = math.sqrt(above * above + across * across)
        gained = rows[i, 0] * (up + above) / (pull + stronger) * (1.0 + rows[i, 7] * 0.5 * (pull + stronger))
        if gained >= left:
            return dry + _piece_m(up, across, pull, rows[i], left)
        dry, left, up, pull = dry + rows[i, 0], left - gained, above, stronger
    return dry + _piece_m(up, across, pull, rows[last], left)


@_compiled
def _piece_m(up: float, across: float, pull: float, row: Array, height_m: float) -> float:
    """Unstretched length of one kind of dry line that gains a height."""
    weight = row[4] * height_m
    top = math.sqrt(max((pull + weight) ** 2 - across**2, 0.0))
    return float(height_m * (2.0 * pull + weight) / (top + up) / (1.0 + row[7] * (pull + 0.5 * weight)))


@_compiled
def _cut_at_surface(out: Array, rows: Array, start: int, height_m: float, curve: Array) -> int:
    """Fill `curve` (2, P), line out and depth, with every node above row `start` as the one at the surface.

    Returns:
        How many fit: none above the first where the line would be above the surface further down.
    """
    highest, wet = out[0, 2], 0.0  # z is down: the highest has the least
    for i in range(1, start + 1):
        highest = min(highest, out[i, 2])
    for i in range(start, rows.shape[0]):
        dry = _dry_m(out[i + 1], rows, i + 1, height_m)
        wet += rows[i, 0]
        if not dry >= 0.0 or out[i + 1, 2] >= highest:
            return i - start
        highest = out[i + 1, 2]
        curve[0, i - start] = wet + dry
        curve[1, i - start] = out[0, 2] - highest
    return int(rows.shape[0] - start)


@_compiled
def _fill(segments: Array, bodies: Array, below: int, speed_mps: float, height_m: float, curve: Array) -> int:
    """Cut the counted segments into pieces, climb, and fill `curve` (2, P); how many fit, -1: nothing pulls."""
    length = segments[below:, 0].sum()
    pieces = curve.shape[1] - (segments.shape[0] - below)
    rows = np.empty((curve.shape[1] + below, segments.shape[1]))
    at = np.zeros((rows.shape[0], bodies.shape[1]))
    n = 0
    for i in range(segments.shape[0]):
        count = 1 if i < below or length == 0.0 else 1 + int(pieces * segments[i, 0] / length)
        at[n] = bodies[i]
        for _ in range(count):
            rows[n] = segments[i]
            rows[n, 0] /= count
            n += 1
    out = np.empty((n + 1, 6))
    tow = np.array([speed_mps, 0.0, 0.0])
    end = np.array([0.0, 0.0, _FAR_M])
    if not climb(rows[:n], at[:n], tow, np.empty((0, 3)), end, RELATIVE, out):
        return -1
    return _cut_at_surface(out, rows[:n], below, height_m, curve)


def depth_curve(towed: Towed, water: Water, speed_mps: float, pieces: int = PIECES) -> DepthCurve:
    """Depth of the lure for every line out up to this line's (a little beyond, by the part above the water).

    Args:
        towed: with the longest line out asked for; water: its current is not looked at.
        speed_mps: of the boat through the surface layer; pieces: points along what the counter counts, at least.
    Raises:
        NoSteadyShape: nothing pulls the line, or no line out has a steady shape.
    """
    segments, bodies = columns(towed, water)
    curve = np.empty((2, pieces + len(towed.shares)))
    below = len(segments) - len(towed.shares)
    fit = _fill(segments, bodies, below, speed_mps, towed.tow_height_m, curve)
    if fit < 0:
        raise NoSteadyShape("nothing pulls the line, or its shape cannot be integrated")
    if fit == 0:
        raise NoSteadyShape("the line would come up to the surface on its way")
    return DepthCurve(curve[0, :fit], curve[1, :fit], fit < _nodes(segments[below:, 0], pieces))


def _nodes(lengths_m: Array, pieces: int) -> int:
    """How many nodes `_fill` makes of the counted segments."""
    whole = float(lengths_m.sum())
    return sum(1 + int(pieces * length / whole) for length in lengths_m) if whole > 0.0 else len(lengths_m)
