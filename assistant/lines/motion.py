"""The boat's way through the surface layer, and the rod tips that ride on it.

Frame: drifts with the surface layer; x north, y east, z down. The boat moves along its heading (no leeway).
Estimates may jump when a source comes or goes; a boat does not, so they are followed at the rates a boat can do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.units import wrap_pi

Array = NDArray[np.float64]

SLEW_RADPS = math.radians(40.0)  # judgement: a small boat under power turns no faster
SLEW_MPS2 = 1.5  # judgement: nor gathers or loses way faster


@dataclass(frozen=True, slots=True)
class Motion:
    """Place [m], speed through the surface layer [m/s], heading and its rate [rad, rad/s]."""

    north_m: float
    east_m: float
    speed_mps: float
    heading_rad: float
    turn_radps: float = 0.0

    def follow(self, speed_mps: float, heading_rad: float, dt: float) -> Motion:
        """The motion dt [s] later, toward a speed and a heading, within what a boat can do."""
        turn = max(-SLEW_RADPS * dt, min(SLEW_RADPS * dt, wrap_pi(heading_rad - self.heading_rad)))
        gain = max(-SLEW_MPS2 * dt, min(SLEW_MPS2 * dt, speed_mps - self.speed_mps))
        speed, heading = self.speed_mps + gain, self.heading_rad + turn
        mid = self.heading_rad + 0.5 * turn
        way = 0.5 * (self.speed_mps + speed) * dt * (math.sin(0.5 * turn) / (0.5 * turn) if turn else 1.0)
        return Motion(
            self.north_m + way * math.cos(mid), self.east_m + way * math.sin(mid), speed, heading, turn / dt
        )


def tips(
    north_m: Array | float,
    east_m: Array | float,
    speed_mps: Array | float,
    heading_rad: float,
    turn_radps: float,
    rods: Array,
) -> Array:
    """Rod tips of boats that differ in place and speed.

    Args:
        north_m, east_m, speed_mps: of the boat, one or (n,) per line; heading_rad, turn_radps: of all.
        rods: (n, 3) forward, starboard, height [m].
    Returns:
        (6, n) position and velocity.
    """
    c, s = math.cos(heading_rad), math.sin(heading_rad)
    ahead, abeam = rods[:, 0], rods[:, 1]
    dx, dy = c * ahead - s * abeam, s * ahead + c * abeam
    out = np.empty((6, len(rods)))
    out[0], out[1], out[2] = north_m + dx, east_m + dy, -rods[:, 2]
    out[3] = speed_mps * c - turn_radps * dy
    out[4] = speed_mps * s + turn_radps * dx
    out[5] = 0.0
    return out
