"""The table of Signal K paths: which of them is which quantity of ours.

Names, units and signs: the keys of the published schema (groups/navigation.json and environment.json of
Signal K 1.8), SI throughout: temperatures in K, angles in rad, wind angles negative to port.
A new path is one row of PATHS; a value that is an object is one row of OBJECTS.
"""

from __future__ import annotations

from collections.abc import Mapping

KELVIN_C = -273.15

PATHS: Mapping[str, tuple[str, float]] = {
    "navigation.speedThroughWater": ("stw_mps", 0.0),
    "navigation.speedOverGround": ("sog_mps", 0.0),
    "navigation.courseOverGroundTrue": ("cog_rad", 0.0),
    "navigation.headingTrue": ("heading_true_rad", 0.0),
    "navigation.headingMagnetic": ("heading_magnetic_rad", 0.0),  # deviation applied
    "navigation.magneticVariation": ("variation_rad", 0.0),
    "navigation.rateOfTurn": ("rate_of_turn_radps", 0.0),
    "environment.depth.belowTransducer": ("depth_below_transducer_m", 0.0),
    "environment.depth.belowSurface": ("depth_below_surface_m", 0.0),
    "environment.depth.surfaceToTransducer": ("transducer_offset_m", 0.0),
    "environment.water.temperature": ("water_temp_c", KELVIN_C),
    "environment.wind.angleApparent": ("apparent_wind_angle_rad", 0.0),
    "environment.wind.speedApparent": ("apparent_wind_speed_mps", 0.0),
    "environment.wind.angleTrueWater": ("true_wind_angle_rad", 0.0),
    "environment.wind.speedTrue": ("true_wind_speed_mps", 0.0),
}
"""Path -> quantity, and what to add to the number for our unit."""

OBJECTS: Mapping[str, Mapping[str, str]] = {
    "navigation.position": {"latitude": "lat_deg", "longitude": "lon_deg"},
    "environment.current": {"setTrue": "set_rad", "drift": "drift_mps"},
}
"""Path of a value that is an object -> quantity by member; one without all of them says nothing."""

BELOW_TRANSDUCER = "environment.depth.belowTransducer"
BELOW_KEEL = "environment.depth.belowKeel"
TRANSDUCER_TO_KEEL = "environment.depth.transducerToKeel"
DATETIME = "navigation.datetime"

USED = frozenset({*PATHS, *OBJECTS, BELOW_KEEL, TRANSDUCER_TO_KEEL, DATETIME})
"""Every path that is read; all others are passed over and counted."""
