"""The lake: a surface layer, a deep layer that moves relative to it, a bottom with one hump, a thermocline.

Positions are metres north and east of the scenario's origin; directions are toward, clockwise from true
north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from assistant.units import TAU, f_to_c
from sim.checked import Number
from sim.forces import Array

LAKE = (
    Number("surface_drift_mps", 0.0, 2.0, 0.0),
    Number("surface_set_deg", 0.0, 360.0, 0.0),
    Number("surface_turning_deg_h", -60.0, 60.0, 0.0),  # + clockwise
    Number("deep_drift_mps", 0.0, 2.0, 0.0),  # relative to the surface layer
    Number("deep_set_deg", 0.0, 360.0, 0.0),
    Number("deep_turning_deg_h", -60.0, 60.0, 0.0),  # + clockwise
    Number("transition_depth_m", 1.0, 200.0, 15.0),
    Number("transition_scale_m", 0.2, 50.0, 3.0),
    Number("bottom_m", 2.0, 400.0, 39.6),  # 130 ft
    Number("bottom_swell_m", 0.0, 20.0, 3.0),  # gentle rise and fall about it
    Number("hump_m", 0.0, 100.0, 8.5),  # how much the hump rises
    Number("hump_north_m", -1e5, 1e5, -400.0),
    Number("hump_east_m", -1e5, 1e5, -150.0),
    Number("hump_radius_m", 5.0, 5000.0, 120.0),
    Number("surface_temp_f", 32.0, 90.0, 69.0),
    Number("deep_temp_f", 32.0, 90.0, 43.5),
)
"""Keys of a scenario's [water], their allowed ranges and defaults."""

SWELL_LENGTH_M = 900.0
"""Distance between two rises of the bottom [m]; invented."""

PROFILE_STEPS = 48


@dataclass(frozen=True, slots=True)
class Lake:
    """The rows of LAKE, by name."""

    surface_drift_mps: float
    surface_set_deg: float
    surface_turning_deg_h: float
    deep_drift_mps: float
    deep_set_deg: float
    deep_turning_deg_h: float
    transition_depth_m: float
    transition_scale_m: float
    bottom_m: float
    bottom_swell_m: float
    hump_m: float
    hump_north_m: float
    hump_east_m: float
    hump_radius_m: float
    surface_temp_f: float
    deep_temp_f: float

    def surface_mps(self, t_s: float = 0.0) -> tuple[float, float]:
        """North and east velocity of the surface layer over ground at a time [m/s]."""
        set_rad = math.radians(self.surface_set_deg + self.surface_turning_deg_h * t_s / 3600.0)
        return self.surface_drift_mps * math.cos(set_rad), self.surface_drift_mps * math.sin(set_rad)

    def _below(self, depth_m: float | Array) -> Array:
        """Share of the way from the upper to the deep layer, 0 at the surface."""
        way = np.tanh((np.asarray(depth_m) - self.transition_depth_m) / self.transition_scale_m)
        start = math.tanh(-self.transition_depth_m / self.transition_scale_m)
        share: Array = (way - start) / (1.0 - start)
        return share

    def profile(self, t_s: float) -> Array:
        """Current relative to the surface layer at a time: (K, 3) depth [m], north, east [m/s]."""
        if self.deep_drift_mps == 0.0:
            return np.zeros((1, 3))
        toward = math.radians(self.deep_set_deg + self.deep_turning_deg_h * t_s / 3600.0)
        bottom = self.transition_depth_m + 5.0 * self.transition_scale_m
        depth = np.linspace(0.0, bottom, PROFILE_STEPS)
        drift = self.deep_drift_mps * self._below(depth)
        return np.array([depth, drift * math.cos(toward), drift * math.sin(toward)]).T.copy()

    def depth_m(self, north_m: float, east_m: float) -> float:
        """Depth of the bottom at a place [m]."""
        swell = (
            self.bottom_swell_m
            * math.sin(TAU * north_m / SWELL_LENGTH_M)
            * math.cos(TAU * east_m / SWELL_LENGTH_M)
        )
        away = math.hypot(north_m - self.hump_north_m, east_m - self.hump_east_m) / self.hump_radius_m
        return max(0.5, self.bottom_m + swell - self.hump_m * math.exp(-0.5 * away * away))

    def temp_c(self, depth_m: float) -> float:
        """Temperature of the water at a depth [degC]."""
        surface, deep = f_to_c(self.surface_temp_f), f_to_c(self.deep_temp_f)
        return surface + (deep - surface) * float(self._below(depth_m))
