"""SI <-> what anglers and sentences use. The only place where units are converted, used only at the edges."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

FOOT_M = 0.3048  # exact, international yard and pound agreement 1959
FATHOM_M = 6 * FOOT_M
MILE_M = 1609.344  # exact, statute mile
KNOT_MPS = 1852.0 / 3600.0  # exact, international nautical mile
MPH_MPS = MILE_M / 3600.0
KMH_MPS = 1.0 / 3.6
POUND_KG = 0.45359237  # exact
OUNCE_KG = POUND_KG / 16.0
GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
POUND_FORCE_N = POUND_KG * GRAVITY_M_S2
TAU = 2.0 * math.pi


def wrap_tau(angle_rad: float) -> float:
    """Wrap an angle [rad] into [0, 2 pi)."""
    wrapped = math.fmod(angle_rad, TAU)
    if wrapped < 0.0:
        wrapped += TAU
    return 0.0 if wrapped >= TAU else wrapped


def wrap_pi(angle_rad: float) -> float:
    """Wrap an angle [rad] into [-pi, pi)."""
    return wrap_tau(angle_rad + math.pi) - math.pi


def c_to_f(temp_c: float) -> float:
    """Degrees Celsius to Fahrenheit."""
    return temp_c * 9.0 / 5.0 + 32.0


def f_to_c(temp_f: float) -> float:
    """Degrees Fahrenheit to Celsius."""
    return (temp_f - 32.0) * 5.0 / 9.0


@dataclass(frozen=True, slots=True)
class DisplayUnit:
    """How an SI value is shown: shown = value * scale + offset, with `digits` decimals and `label`."""

    scale: float
    offset: float
    digits: int
    label: str


DISPLAY_UNITS: Mapping[str, Mapping[str, DisplayUnit]] = {
    "angler": {
        "m": DisplayUnit(1.0 / FOOT_M, 0.0, 0, "ft"),
        "m/s": DisplayUnit(1.0 / MPH_MPS, 0.0, 1, "mph"),
        "N": DisplayUnit(1.0 / POUND_FORCE_N, 0.0, 1, "lb"),
        "degC": DisplayUnit(9.0 / 5.0, 32.0, 0, "F"),
        "rad": DisplayUnit(360.0 / TAU, 0.0, 0, "°"),
        "rad/s": DisplayUnit(360.0 / TAU, 0.0, 1, "°/s"),
        "deg": DisplayUnit(1.0, 0.0, 5, "°"),
    },
    "metric": {
        "m": DisplayUnit(1.0, 0.0, 1, "m"),
        "m/s": DisplayUnit(1.0, 0.0, 2, "m/s"),
        "N": DisplayUnit(1.0, 0.0, 1, "N"),
        "degC": DisplayUnit(1.0, 0.0, 1, "C"),
        "rad": DisplayUnit(360.0 / TAU, 0.0, 0, "°"),
        "rad/s": DisplayUnit(360.0 / TAU, 0.0, 1, "°/s"),
        "deg": DisplayUnit(1.0, 0.0, 5, "°"),
    },
}
"""Display unit by system and SI unit."""

LENGTHS_M: Mapping[str, float] = {"m": 1.0, "ft": FOOT_M, "yd": 3 * FOOT_M, "in": FOOT_M / 12}
"""Units a length may be typed in."""


def parse_length_m(text: str | float) -> float:
    """Read a length such as "175 ft", "10ft", "53 m" or a plain number of metres.

    Raises:
        ValueError: not a finite number with one of the units of LENGTHS_M.
    """
    if isinstance(text, int | float):
        value, unit = float(text), "m"
    else:
        number = text.strip().rstrip("abcdefghijklmnopqrstuvwxyz").strip()
        unit = text.strip()[len(text.strip().rstrip("abcdefghijklmnopqrstuvwxyz")) :] or "m"
        value = float(number)
    if unit not in LENGTHS_M or not math.isfinite(value):
        raise ValueError(f"length {text!r}: want a number and one of {', '.join(LENGTHS_M)}")
    return value * LENGTHS_M[unit]


SPEEDS_MPS: Mapping[str, float] = {"m/s": 1.0, "mph": MPH_MPS, "kn": KNOT_MPS, "km/h": KMH_MPS}
"""Units a speed may be typed in."""
FORCES_N: Mapping[str, float] = {
    "lb": POUND_FORCE_N,
    "N": 1.0,
    "kg": GRAVITY_M_S2,
    "oz": POUND_FORCE_N / 16.0,
}
"""Units a pull may be typed in: what a spring scale shows."""
ANGLES_RAD: Mapping[str, float] = {"deg": TAU / 360.0}
"""Units an angle may be typed in."""
TEMPERATURES_C: Mapping[str, tuple[float, float]] = {"C": (1.0, 0.0), "F": (5.0 / 9.0, 32.0)}
"""Units a temperature may be typed in: degrees Celsius = (typed - second) x first."""


def split_quantity(text: str, units: Iterable[str]) -> tuple[float, str]:
    """The number and the unit of a typed quantity such as "2.4mph", "2.4 MPH" or "50 F".

    Args:
        units: their names as returned; upper and lower case are the same here.
    Raises:
        ValueError: not a finite number with one of the units.
    """
    names = {name.casefold(): name for name in units}
    match = re.fullmatch(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(\D+?)\s*", text, re.ASCII)
    unit = match and names.get(match[2].casefold().replace("°", ""))
    if not match or unit is None or not math.isfinite(float(match[1])):
        raise ValueError(f"{text!r}: want a number and one of {', '.join(names.values())}")
    return float(match[1]), unit
