"""A framed sentence -> readings in SI. Pure; never raises on any text.

What a value has to pass, in this order: the sentence's own status (sentences.py), the form of a plain number
(not nan, inf, 1e9, 1_0 or other alphabets' digits, all of which float() or Decimal would take), its unit
letter, and the range of its quantity (quantities.py). A blank field is no reading and no reject. What fails
is named in `rejects` as "<type> <reason>" with reason one of REJECT_REASONS.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from assistant.messages import Reading, Sentence
from assistant.sensing import dates
from assistant.sensing.placed_rows import PLACED_ROWS, PlacedField, PlacedRow
from assistant.sensing.quantities import QUANTITIES, Quantity
from assistant.sensing.sentences import EAST_WEST, KINDS, TRANSDUCERS, XDR_PART, Scale

__all__ = ["KINDS", "QUANTITIES", "REJECT_REASONS", "Decoded", "decode", "gated", "kind_of", "moment_of"]

REJECT_REASONS = ("void", "number", "unit", "range", "lost bottom", "null position", "time", "date")

_number = re.compile(r"[+-]?(?:\d{1,6}(?:\.\d{0,8})?|\.\d{1,8})", re.ASCII).fullmatch


@dataclass(frozen=True, slots=True)
class Decoded:
    """What one sentence says. `utc` only when it brings its own date; `used` False: a type nobody uses."""

    readings: tuple[Reading, ...] = ()
    utc: str | None = None  # ISO 8601 with Z
    rejects: tuple[str, ...] = ()
    used: bool = True
    time_of_day_s: float | None = None  # [s] after midnight UTC


UNUSED = Decoded(used=False)


def kind_of(text: str) -> str:
    """The three letters of the type, whatever the talker; "" for a proprietary or odd address."""
    if text[:1] != "$" or text[6:7] not in (",", "*") or text[1:2] == "P":
        return ""
    return text[3:6]


def decode(sentence: Sentence) -> Decoded:
    """Read one sentence whose checksum has been verified.

    Returns:
        Decoded: readings with the sentence's t_s and `source` "<source>/<type>" ("#name" added by XDR).
    """
    kind, parts = _split(sentence.text)
    if kind == "XDR":
        return _decode_transducers(sentence, parts)
    row = _row(kind, parts)
    if row is None:
        return UNUSED
    if not _valid(row, parts):
        return Decoded(rejects=(f"{kind} void",))
    rejects: list[str] = []
    values = _values(row, parts, rejects)
    source = f"{sentence.source}/{kind}"
    readings = tuple([Reading(sentence.t_s, quantity, value, source) for quantity, value in values.items()])
    day, time_of_day_s = _time(row, parts, rejects) if row.time else (None, None)
    utc = None if day is None or time_of_day_s is None else dates.iso(day, time_of_day_s)
    return Decoded(readings, utc, tuple([f"{kind} {reason}" for reason in rejects]), True, time_of_day_s)


def moment_of(text: str) -> tuple[int | None, float] | None:
    """(day since 1970-01-01 or None, seconds after midnight) a sentence says it is; None if it says none."""
    kind, parts = _split(text)
    row = _row(kind, parts)
    if row is None or row.time is None or not _valid(row, parts):
        return None
    day, time_of_day_s = _time(row, parts, [])
    return None if time_of_day_s is None else (day, time_of_day_s)


def _split(text: str) -> tuple[str, list[str]]:
    return kind_of(text), text.partition("*")[0].split(",")


def _row(kind: str, parts: list[str]) -> PlacedRow | None:
    return PLACED_ROWS.get((kind, len(parts) - 1)) or PLACED_ROWS.get((kind, None))


def _valid(row: PlacedRow, parts: list[str]) -> bool:
    for at, letters in row.valid:
        letter = (parts[at] if at < len(parts) else "") or "-"
        if len(letter) != 1 or letter not in letters:
            return False
    return True


def _values(row: PlacedRow, parts: list[str], rejects: list[str]) -> dict[str, float]:
    tried: set[str] = set()
    values: dict[str, float] = {}
    count = len(parts)
    for field in row.fields:
        if field.at >= count or not parts[field.at] or field.quantity in tried:
            continue
        if field.when and (field.when[0] >= count or parts[field.when[0]] != field.when[1]):
            continue
        tried.add(field.quantity)
        value, reason = _value(field, parts)
        if reason:
            rejects.append(reason)
        elif value is not None:
            values[field.quantity] = value
    if row.position and ("lat_deg" not in values or "lon_deg" not in values):
        values.pop("lat_deg", None)  # half a position is none
        values.pop("lon_deg", None)
    elif row.position and values["lat_deg"] == 0.0 and values["lon_deg"] == 0.0:
        rejects.append("null position")
        del values["lat_deg"], values["lon_deg"]
    return values


def _value(field: PlacedField, parts: list[str]) -> tuple[float | None, str]:
    """The gated value of a field that is not blank, or the reason against it."""
    text = parts[field.at]
    if not _number(text):
        return None, "number"
    letter = "" if field.by is None else (parts[field.by] if field.by < len(parts) else "")
    scale = field.units.get(letter)
    if scale is None:
        return None, "unit"
    value = float(text)
    if field.ddmm:
        degrees, minutes = divmod(value, 100.0)
        if minutes >= 60.0 or value < 0.0:
            return None, "range"
        value = degrees + minutes / 60.0
    value = value * scale[0] + scale[1]
    if field.second is not None:
        combined = _combine(field, value, scale, parts)
        if combined is None:
            return None, "number"
        value = combined
    return gated(field.gate, value)


def _combine(field: PlacedField, value: float, scale: Scale, parts: list[str]) -> float | None:
    """A value and its second field: along and across (hypot), or with a correction added (sum)."""
    text = parts[field.second] if field.second is not None and field.second < len(parts) else ""
    if not text:
        return value if field.how == "sum" else None
    if not _number(text):
        return None
    if field.how == "hypot":
        return math.hypot(value, float(text) * scale[0])
    side = EAST_WEST.get(parts[field.second_by] if field.second_by and field.second_by < len(parts) else "")
    return None if side is None else (value + float(text) * side[0]) % math.tau


def gated(gate: Quantity, value: float) -> tuple[float | None, str]:
    """A value that can be, a full turn as 0; or None and the reason against it."""
    if not gate.low <= value <= gate.high:  # also false for NaN
        return None, "range"
    if gate.zero_is_none and value == 0.0:
        return None, "lost bottom"
    if gate.turn and value >= math.tau:
        value -= math.tau
    return value, ""


def _time(row: PlacedRow, parts: list[str], rejects: list[str]) -> tuple[int | None, float | None]:
    """Day and time of day, each None where it is blank or no date, no time."""
    count = len(parts)
    text = parts[row.time] if row.time is not None and row.time < count else ""
    if not text:
        return None, None
    time_of_day_s = dates.time_of_day_s(text)
    if time_of_day_s is None:
        rejects.append("time")
        return None, None
    written = [parts[at] if at < count else "" for at in row.date]
    if not any(written):
        return None, time_of_day_s
    day = dates.days_of_ddmmyy(written[0]) if len(written) == 1 else dates.days_of_parts(*written)
    if day is None:
        rejects.append("date")
    return day, time_of_day_s


def _decode_transducers(sentence: Sentence, parts: list[str]) -> Decoded:
    readings: list[Reading] = []
    rejects: list[str] = []
    for start in range(1, len(parts) - XDR_PART + 1, XDR_PART):
        kind, text, unit, name = parts[start : start + XDR_PART]
        found = TRANSDUCERS.get((kind, unit))
        if found is None or not text:
            continue
        if not _number(text):
            rejects.append("XDR number")
            continue
        quantity, scale = found
        value, reason = gated(QUANTITIES[quantity], float(text) * scale[0] + scale[1])
        if value is None:
            rejects.append(f"XDR {reason}")
        else:
            readings.append(Reading(sentence.t_s, quantity, value, f"{sentence.source}/XDR#{name}"))
    return Decoded(tuple(readings), None, tuple(rejects))
