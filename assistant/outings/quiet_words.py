"""Differences and answers of the quiet-spell judge in words, in the units of the captain."""

from __future__ import annotations

import cmath
import math
from typing import Literal

from assistant.outings.causes import Difference
from assistant.outings.quantities import QUANTITIES
from assistant.units import DISPLAY_UNITS, wrap_tau

Units = Literal["angler", "metric"]

CREW: dict[str, dict[int, str]] = {
    "rod_bend": {-1: "soft", 0: "usual", 1: "hard"},
    "cable_lean_word": {-1: "straight", 0: "usual", 1: "far back"},
}
"""What the crew's words are entered as."""


def shown(value: float, unit: str, units: Units, change: bool = False) -> str:
    """A number with its unit as the captain reads it; `change`: a difference, so no zero point is added."""
    row = DISPLAY_UNITS[units].get(unit)
    if row is None:
        return f"{value:.1f} {unit}"
    number = value * row.scale + (0.0 if change else row.offset)
    gap = "" if row.label.startswith("°") else " "
    return f"{number:.{row.digits}f}{gap}{row.label}"


def bearing_deg(direction: complex, step: int = 10) -> int:
    """A direction in degrees, 1 to 360, to the nearest `step`."""
    degrees = math.degrees(wrap_tau(cmath.phase(direction)))
    return (round(degrees / step) * step - 1) % 360 + 1


def value_words(quantity: str, value: complex, units: Units) -> str:
    """One value of a quantity, given as effort.plot makes it."""
    row = QUANTITIES[quantity]
    if quantity in CREW:
        return CREW[quantity][max(-1, min(1, round(value.real)))]
    match row.kind:
        case "ratio":
            return shown(math.exp(value.real), row.unit, units)
        case "direction":
            return f"{bearing_deg(value):03d}" if abs(value) > CONCENTRATED else "every way"
        case "current":
            return f"{shown(abs(value), row.unit, units)} toward {bearing_deg(value):03d}"
        case "plain":
            return shown(value.real, row.unit, units)


CONCENTRATED = 0.7  # length of the mean of unit vectors; below, the headings go too far apart to name one


def difference_words(difference: Difference, units: Units = "angler") -> str:
    """One line: what it was before the strikes, what it is now, how far out that is, and who says so."""
    row = QUANTITIES[difference.quantity]
    rod = f" on {difference.rod}" if difference.rod else ""
    then, now = (value_words(difference.quantity, v, units) for v in (difference.then, difference.now))
    rods = f"; {difference.rods_differ} of {difference.rods_seen} rods" if difference.rods_seen > 1 else ""
    size = f"{difference.sigmas:.1f} sigma" + (
        "" if difference.differs else ", no more than its usual scatter"
    )
    source = f"{difference.origin}: {difference.where}"
    return f"{row.words}{rod}: {then} before the strikes, {now} now ({size}{rods}; {source})"


def hint_words(difference: Difference, units: Units = "angler") -> str:
    """The same for a glance: what, where, from what to what."""
    row = QUANTITIES[difference.quantity]
    rod = f" on {difference.rod}" if difference.rod else ""
    then, now = (value_words(difference.quantity, v, units) for v in (difference.then, difference.now))
    return f"{row.words}{rod}: {then} at the strikes, {now} now"
