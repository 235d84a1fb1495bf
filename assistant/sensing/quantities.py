"""What a reading can be: name, SI unit and the range outside which it is no measurement.

The ranges are wide on purpose: they throw out what cannot be on any lake or small boat; rate and cross
checks come after. Source of every range: common practice, no source, unless a comment says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

TAU = 2.0 * math.pi


@dataclass(frozen=True, slots=True)
class Quantity:
    """One kind of reading: `low` <= value <= `high` in `unit`; `turn` brings 360 degrees back to 0."""

    unit: str
    low: float
    high: float
    about: str
    turn: bool = False
    zero_is_none: bool = False  # the instrument's way of saying that it measures nothing


def _direction(about: str) -> Quantity:
    return Quantity("rad", 0.0, TAU, about, turn=True)


QUANTITIES: Mapping[str, Quantity] = {
    "stw_mps": Quantity("m/s", -5.0, 25.0, "speed through the water, + ahead"),
    "heading_true_rad": _direction("heading from true north"),
    "heading_magnetic_rad": _direction("heading from magnetic north, deviation applied"),
    "variation_rad": Quantity("rad", -math.pi, math.pi, "magnetic variation, + east"),
    "sog_mps": Quantity("m/s", 0.0, 40.0, "speed over ground"),
    "cog_rad": _direction("course over ground from true north"),
    # a small boat can spin about once in 6 s
    "rate_of_turn_radps": Quantity("rad/s", -1.1, 1.1, "rate of turn, + to starboard"),
    # the deepest lake is 1642 m (Baikal; from memory); 0.0 is what a sounder says when it lost the bottom
    "depth_below_transducer_m": Quantity("m", 0.0, 1700.0, "bottom below transducer", zero_is_none=True),
    "depth_below_surface_m": Quantity("m", 0.0, 1700.0, "bottom below the surface", zero_is_none=True),
    "transducer_offset_m": Quantity("m", -10.0, 10.0, "+ transducer to waterline, - transducer to keel"),
    "water_temp_c": Quantity("degC", -2.0, 40.0, "water temperature at the hull"),
    "lat_deg": Quantity("deg", -90.0, 90.0, "latitude, + north"),
    "lon_deg": Quantity("deg", -180.0, 180.0, "longitude, + east"),
    "apparent_wind_angle_rad": _direction("from the bow, clockwise, felt on board"),
    "apparent_wind_speed_mps": Quantity("m/s", 0.0, 75.0, "felt on board"),
    "true_wind_angle_rad": _direction("from the bow, clockwise, boat's motion taken out"),
    "true_wind_speed_mps": Quantity("m/s", 0.0, 75.0, "boat's motion taken out"),
    "set_rad": _direction("the water moves TOWARD this, from true north"),
    "drift_mps": Quantity("m/s", 0.0, 5.0, "speed of the current"),
    # of named transducers; the name stands after '#' in Reading.source
    "xdr_temp_c": Quantity("degC", -40.0, 60.0, "temperature of a named transducer"),
    "xdr_depth_m": Quantity("m", -5.0, 1700.0, "depth of a named transducer"),
    "xdr_force_n": Quantity("N", -100.0, 20000.0, "force of a named transducer"),
    "xdr_angle_rad": Quantity("rad", -TAU, TAU, "angle of a named transducer"),
    "xdr_plain": Quantity("", -1e6, 1e6, "number of a named transducer whose type says no unit"),
    # on or below a rod: see below.py
    "ball_speed_mps": Quantity("m/s", 0.0, 5.0, "speed through the water at the downrigger ball"),
    "ball_temp_c": Quantity("degC", -2.0, 40.0, "water temperature at the downrigger ball"),
    "pull_n": Quantity("N", 0.0, 2000.0, "pull at the rod, of a load cell"),
    "logged_depth_m": Quantity("m", 0.0, 600.0, "depth of a depth logger on the line"),
    "lean_rad": Quantity("rad", 0.0, math.pi / 2.0, "of the cable from the vertical"),
}
"""Reading quantity -> unit, range, meaning."""
