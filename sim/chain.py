"""What a towed line is made of, and the water it hangs in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sim.forces import Array


class NoSolution(ArithmeticError):
    """The equations were not solved; the message says where."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A uniform piece of line; stiffness_n None = inextensible."""

    length_m: float
    diameter_m: float
    mass_kg_m: float
    normal_drag: float
    tangential_drag: float
    stiffness_n: float | None = None


@dataclass(frozen=True, slots=True)
class Body:
    """A body at the lower end of a segment; side_area_m2 > 0 pulls to starboard of its own path."""

    wet_weight_n: float = 0.0
    drag_area_m2: float = 0.0
    down_area_m2: float = 0.0
    side_area_m2: float = 0.0
    mass_kg: float = 0.0
    added_mass_kg: float = 0.0


STILL: Array = np.zeros((1, 3))
"""Water profile (see forces.water_at) of water that moves with the surface layer at every depth."""


@dataclass(frozen=True, slots=True)
class Water:
    """Density, gravity and current relative to the surface layer: profile (K, 3) depth [m], north, east
    [m/s]."""

    density_kg_m3: float
    gravity_m_s2: float
    profile: Array = field(default_factory=lambda: STILL)
