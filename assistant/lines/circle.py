"""Steady circle: the shape that turns with the boat, by shooting on the radius of the free end.

Reference: Choo & Casarella 1973 (J. Ship Res. 17, cable towed on a circle). In the frame turning with the boat
everything stands still; steady.climb integrates up from a free end at some radius, and the top's radius must equal
the tow point's.
Axes: origin at the centre, z down, turn to starboard = positive rotation.
Valid: still water only (a current does not turn with the boat).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.lines.chain import Towed, Water
from assistant.lines.steady import NoSteadyShape, columns, meet_tow_point

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CircleShape:
    """The free end relative to the tow point in the boat's axes, the tow point's tension, the end's speed."""

    depth_m: float
    behind_m: float
    inward_m: float
    tension_n: float
    end_speed_mps: float


def circle(towed: Towed, water: Water, speed_mps: float, radius_m: float, starboard: bool) -> CircleShape:
    """Settled tow on a circle.

    Args:
        speed_mps, radius_m: of the tow point; starboard: the side of the centre.
    Raises:
        NoSteadyShape: no radius of the free end fits.
    """
    omega = speed_mps / radius_m * (1.0 if starboard else -1.0)
    segments, bodies = columns(towed, water)
    tow = np.array([0.0, 0.0, omega])
    still = np.zeros((0, 3))
    top = -towed.tow_height_m

    def shape(end_radius_m: float) -> Array:
        return meet_tow_point(segments, bodies, tow, still, np.array([end_radius_m, 0.0, 0.0]), top)

    def miss(end_radius_m: float) -> float:
        out = shape(end_radius_m)
        return math.hypot(out[-1, 0], out[-1, 1]) - radius_m

    end_radius = _outermost_root(miss, radius_m, towed.length_m())
    return _seen_from_boat(shape(end_radius), speed_mps, radius_m, omega)


def _outermost_root(
    miss: Callable[[float], float], radius_m: float, length_m: float, tries: int = 240
) -> float:
    """The largest end radius whose shape fits: the one that grows out of the straight tow as the circle tightens."""
    outer = radius_m + length_m
    inner = max(radius_m - length_m, 1e-4 * radius_m)
    grid = np.linspace(outer, inner, tries)
    last, last_miss = None, 0.0
    for radius in grid:
        try:
            now = miss(float(radius))
        except NoSteadyShape:
            last = None
            continue
        if now == 0.0:
            return float(radius)
        if last is not None and (now > 0) != (last_miss > 0):
            return _bisect(miss, float(radius), now, last)
        last, last_miss = float(radius), now
    raise NoSteadyShape(f"no circle of the free end fits a tow point on {radius_m:g} m")


def _bisect(miss: Callable[[float], float], low: float, low_miss: float, high: float) -> float:
    for _ in range(80):
        mid = 0.5 * (low + high)
        now = miss(mid)
        if (now > 0) == (low_miss > 0):
            low = mid
        else:
            high = mid
        if abs(high - low) < 1e-10 * max(1.0, abs(high)):
            break
    return 0.5 * (low + high)


def _seen_from_boat(out: Array, speed_mps: float, radius_m: float, omega: float) -> CircleShape:
    end, top = out[0, :3], out[-1, :3]
    outward = top[:2] / np.hypot(*top[:2])
    ahead = math.copysign(1.0, omega) * np.array([-outward[1], outward[0]])
    off = end[:2] - top[:2]
    return CircleShape(
        depth_m=float(end[2]),
        behind_m=float(-off @ ahead),
        inward_m=float(-off @ outward),
        tension_n=float(np.linalg.norm(out[-1, 3:])),
        end_speed_mps=float(abs(omega) * np.hypot(end[0], end[1])),
    )
