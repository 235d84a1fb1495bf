"""Quantities as people type them: a number with its unit, within what may be asked."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from assistant.errors import OptionError
from assistant.units import ANGLES_RAD, FORCES_N, LENGTHS_M, SPEEDS_MPS, TEMPERATURES_C, split_quantity

Scale = Mapping[str, tuple[float, float]]
"""Unit -> (factor, offset): SI = (typed - offset) x factor."""


def _plain(units: Mapping[str, float]) -> Scale:
    return {unit: (factor, 0.0) for unit, factor in units.items()}


SCALES: Mapping[str, Scale] = {
    "m": _plain(LENGTHS_M),
    "m/s": _plain(SPEEDS_MPS),
    "degC": TEMPERATURES_C,
    "N": _plain(FORCES_N),
    "rad": _plain(ANGLES_RAD),
}
"""What each SI unit may be typed in."""


def json_object(body: bytes, most: int, example: str) -> dict[str, object]:
    """A body as a JSON object of modest size.

    Args:
        most: bytes allowed; example: what is wanted, for the error.
    Raises:
        OptionError: too long, not readable, or no object.
    """
    if len(body) > most:
        raise OptionError(f"body: {len(body)} bytes, want at most {most}")
    try:
        asked = json.loads(body, parse_constant=lambda word: math.nan)
    except (ValueError, RecursionError):
        raise OptionError("body: not readable as JSON") from None
    if not isinstance(asked, dict):
        raise OptionError(f"body {short(asked)}: want an object such as {example}")
    return asked


def short(value: object) -> str:
    """A value as JSON, cut to a length fit for a message."""
    try:
        text = json.dumps(value)
    except ValueError:  # a whole number too long to be written
        text = "a number that long"
    return text if len(text) <= 60 else text[:57] + "..."


def quantity(what: str, typed: str, scale: Scale, usual: str, limits: tuple[float, float]) -> float:
    """A typed quantity in SI.

    Args:
        what: an option or a name, for the error; usual: the unit that errors speak in when none was understood.
        limits: least and most in SI.
    Raises:
        OptionError: no number with one of the units, or out of range; says the range.
    """
    unit, value = usual, math.nan
    try:
        number, unit = split_quantity(typed, scale)
        value = (number - scale[unit][1]) * scale[unit][0]
    except ValueError:
        pass  # said below, with the range
    if limits[0] <= value <= limits[1]:
        return value
    shown = typed if len(typed) <= 60 else typed[:57] + "..."
    raise OptionError(f"{what} {shown!r}: want {allowed(scale, unit, limits)}")


def allowed(scale: Scale, unit: str, limits: tuple[float, float]) -> str:
    """The range `limits` [SI] said in `unit`, and the units that may be used."""
    factor, offset = scale[unit]
    least, most = (
        _within(edge / factor + offset, inward) for edge, inward in zip(limits, (1, -1), strict=True)
    )
    return f"{least}..{most} {unit} (units: {', '.join(scale)})"


def _within(edge: float, inward: int) -> str:
    """An edge of a range to four digits, rounded into the range: what is shown as allowed is."""
    unit = 10.0 ** (math.floor(math.log10(abs(edge))) - 3) if edge else 1.0
    return f"{inward * math.ceil(round(inward * edge / unit, 6)) * unit:.4g}"
