"""What is towed, as physics sees it: segments and bodies from the free end up to the boat, in SI.

bodies[i] sits at the lower end of segments[i]; None = a plain joint.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Segment:
    """A uniform piece of line. Drag coefficients: normal on the diameter, tangential on the wetted perimeter."""

    length_m: float
    diameter_m: float
    mass_kg_m: float
    normal_drag: float
    tangential_drag: float
    stiffness_n: float = math.inf


@dataclass(frozen=True, slots=True)
class Body:
    """A body tied in: weight in water [N], mass in air and added mass [kg], areas [m2] (side: + to starboard)."""

    wet_weight_n: float = 0.0
    mass_kg: float = 0.0
    added_mass_kg: float = 0.0
    drag_area_m2: float = 0.0
    down_area_m2: float = 0.0
    side_area_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class Water:
    """Density [kg/m3], gravity [m/s2] and current relative to the surface layer.

    profile: rows of depth [m], north and east [m/s]; linear between depths, constant beyond; empty: still.
    """

    density_kg_m3: float = 1000.0
    gravity_m_s2: float = 9.80665
    profile: tuple[tuple[float, float, float], ...] = ()

    def profile_array(self) -> Array:
        """The profile as (M, 3)."""
        return np.array(self.profile, dtype=float).reshape(-1, 3)


@dataclass(frozen=True, slots=True)
class Towed:
    """A whole line and how high its tow point is above the water [m].

    shares: the last segments, up to the tow point, are what a counter counts; how they share the model's pieces.
    running: the one of segments that gets longer or shorter as line runs.
    """

    segments: tuple[Segment, ...]
    bodies: tuple[Body | None, ...]
    tow_height_m: float = 0.0
    shares: tuple[float, ...] = (1.0,)
    running: int = -1

    def length_m(self) -> float:
        """Unstretched length of everything [m]."""
        return sum(s.length_m for s in self.segments)


SEGMENT_ROWS = ("length", "kn", "kt", "wet", "dry", "mass", "added", "compliance")
BODY_ROWS = ("mass", "wet", "kd", "kn", "ks")


def segment_columns(segment: Segment, water: Water) -> tuple[float, ...]:
    """The numbers of SEGMENT_ROWS: length [m], 1/2 rho d Cn, 1/2 rho pi d Ct [kg/m2], weight in water and in air [N/m],
    mass and added mass per length [kg/m], 1/EA [1/N].
    """
    rho, g = water.density_kg_m3, water.gravity_m_s2
    displaced = rho * math.pi * segment.diameter_m**2 / 4.0
    return (
        segment.length_m,
        0.5 * rho * segment.diameter_m * segment.normal_drag,
        0.5 * rho * math.pi * segment.diameter_m * segment.tangential_drag,
        (segment.mass_kg_m - displaced) * g,
        segment.mass_kg_m * g,
        segment.mass_kg_m,
        displaced,
        1.0 / segment.stiffness_n,
    )


def body_columns(body: Body | None, water: Water) -> tuple[float, ...]:
    """The numbers of BODY_ROWS: mass with added mass [kg], wet weight [N], 1/2 rho A of drag, down, side [kg/m]."""
    if body is None:
        return (0.0,) * len(BODY_ROWS)
    half = 0.5 * water.density_kg_m3
    return (
        body.mass_kg + body.added_mass_kg,
        body.wet_weight_n,
        half * body.drag_area_m2,
        half * body.down_area_m2,
        half * body.side_area_m2,
    )
