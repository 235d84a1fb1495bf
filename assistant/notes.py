"""Notes as they come in: what a sensor at a rod sent over MQTT, or a person typed. Pure.

    {"rod": "R1", "kind": "speed", "value": "1.9 mph", "depth": "70 ft"}

`kind` is a word or a published name of sensing.below.KINDS. `value` is one of the kind's words, a text with its
unit, or a number: in `unit` if that is given, else in SI. `depth` (where it holds) and `sigma` likewise.
"""

from __future__ import annotations

from collections.abc import Collection

from assistant.errors import OptionError
from assistant.messages import Note
from assistant.sensing.below import KINDS
from assistant.sensing.quality import TABLE
from assistant.typed import SCALES, Scale, allowed, json_object, quantity, short
from assistant.units import DISPLAY_UNITS

MAX_BYTES = 1024
EXAMPLE = '{"rod": "R1", "kind": "speed", "value": "1.9 mph"}'
FIELDS = ("rod", "kind", "value", "unit", "depth", "sigma")
DEPTHS_M = (0.0, 600.0)


def parse_note(body: bytes, rods: Collection[str], t_s: float, source: str) -> Note:
    """Read one note.

    Args:
        rods: names of the rods there are; t_s: when it came [s]; source: "typed" or the way it came.
    Raises:
        OptionError: anything wrong with it; says field, value and what is allowed. Nothing of it is to be used then.
    """
    asked = json_object(body, MAX_BYTES, EXAMPLE)
    unknown = [name for name in asked if name not in FIELDS]
    if unknown:
        raise OptionError(f"field {short(unknown[0])}: want some of {', '.join(FIELDS)}")
    rod, unit = asked.get("rod"), asked.get("unit")
    if not isinstance(rod, str) or rod not in rods:
        raise OptionError(f"rod {short(rod)}: want one of {', '.join(rods)}")
    kind, value = _value(asked.get("kind"), asked.get("value"), unit)
    depth_m = sigma = None
    if asked.get("depth") is not None:
        depth_m = _amount("depth", asked["depth"], None, "m", SCALES["m"], DEPTHS_M)
    if asked.get("sigma") is not None:
        if isinstance(value, str):
            raise OptionError(
                f"sigma {short(asked['sigma'])}: {KINDS[kind].word} is said in words; leave it away"
            )
        si, limits = KINDS[kind].unit, TABLE[kind]
        spans = {name: (factor, 0.0) for name, (factor, _) in SCALES[si].items()}
        sigma = _amount("sigma", asked["sigma"], unit, si, spans, (0.0, limits.high - limits.low))
    return Note(t_s, rod, kind, value, source, sigma, depth_m)


def _value(kind: object, value: object, unit: object) -> tuple[str, float | str]:
    """The published kind and the value, a word of it or in SI."""
    named = [name for name, row in KINDS.items() if kind in (row.word, name)]
    if not named:
        raise OptionError(f"kind {short(kind)}: want one of {', '.join(kinds())}")
    for name in named:
        if isinstance(value, str) and value.strip() in KINDS[name].words and unit is None:
            return name, value.strip()
    words = [word for name in named for word in KINDS[name].words]
    numeric = next((name for name in named if KINDS[name].unit), None)
    if numeric is None:
        raise OptionError(f"{kind} {short(value)}: want one of {', '.join(words)}")
    si, limits = KINDS[numeric].unit, TABLE[numeric]
    try:
        return numeric, _amount(str(kind), value, unit, si, SCALES[si], (limits.low, limits.high))
    except OptionError as error:
        also = f"; or one of {', '.join(words)}" if words else ""
        raise OptionError(f"{error}{also}") from None


def _amount(
    name: str, raw: object, unit: object, si: str, scale: Scale, limits: tuple[float, float]
) -> float:
    """A number in `unit` (None: SI), or a text with its unit, in SI and within `limits`."""
    usual = DISPLAY_UNITS["angler"][si].label
    usual = usual if usual in scale else next(iter(scale))
    number = isinstance(raw, int | float) and not isinstance(raw, bool)
    if unit is not None and (number or isinstance(raw, str)):
        return quantity(
            name, f"{short(raw) if number else raw} {short(unit).strip(chr(34))}", scale, usual, limits
        )
    if isinstance(raw, str):
        return quantity(name, raw, scale, usual, limits)
    if number and limits[0] <= raw <= limits[1]:  # type: ignore[operator]  # a number; one too long is refused
        return float(raw)  # type: ignore[arg-type]
    raise OptionError(
        f"{name} {short(raw)}: want a number {limits[0]:.4g}..{limits[1]:.4g} {si}, or a text "
        f"{allowed(scale, usual, limits)}"
    )


def kinds() -> list[str]:
    """The words for what may be noted."""
    return list(dict.fromkeys(row.word for row in KINDS.values()))


def offered() -> dict[str, object]:
    """What a form may offer: by word, the words that may be said and the SI unit of a number ("" for none)."""
    return {
        word: {
            "words": [said for row in KINDS.values() if row.word == word for said in row.words],
            "unit": next((row.unit for row in KINDS.values() if row.word == word and row.unit), ""),
        }
        for word in kinds()
    }
