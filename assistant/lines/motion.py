"""The boat's way through the surface layer, and the rod tips that ride on it.

Frame: drifts with the surface layer; x north, y east, z down. The boat moves along its heading (no leeway).
Estimates may jump when a source comes or goes; a boat does not, so they are followed at the rates a boat can do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
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
    out = np.empty((6, len(rods)))
    _fill(
        np.atleast_1d(north_m),
        np.atleast_1d(east_m),
        np.atleast_1d(speed_mps),
        heading_rad,
        turn_radps,
        rods,
        out,
    )
    return out


def tips_along(motions: Sequence[Motion], rods: Array) -> Array:
    """(K, 6, n) rod tips of one boat at K instants; see tips."""
    rows = [(m.north_m, m.east_m, m.speed_mps, m.heading_rad, m.turn_radps) for m in motions]
    out = np.empty((len(rows), 6, len(rods)))
    _fill_along(np.array(rows), rods, out)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _fill_along(rows: Array, rods: Array, out: Array) -> None:
    for k in range(rows.shape[0]):
        _fill(rows[k, 0:1], rows[k, 1:2], rows[k, 2:3], rows[k, 3], rows[k, 4], rods, out[k])


@njit(cache=True, nogil=True, error_model="numpy")
def _fill(
    north: Array, east: Array, speed: Array, heading: float, turn: float, rods: Array, out: Array
) -> None:
    """`tips` as a loop: a dozen numpy calls on eight numbers cost more than the numbers. (1,) or (n,) per boat."""
    c, s = math.cos(heading), math.sin(heading)
    for k in range(rods.shape[0]):
        dx, dy = c * rods[k, 0] - s * rods[k, 1], s * rods[k, 0] + c * rods[k, 1]
        way = speed[k % speed.size]
        out[0, k], out[1, k], out[2, k] = north[k % north.size] + dx, east[k % east.size] + dy, -rods[k, 2]
        out[3, k], out[4, k], out[5, k] = way * c - turn * dy, way * s + turn * dx, 0.0
