"""What sensors on or below a rod measure and what the crew sees there: newest word by rod and kind. Pure.

A new kind is one row of KINDS; one with numbers also needs its limits in quality.py and quantities.py. What an
instrument sends passes the gate like any reading; what a person typed is taken as it is, within the same range.
Of two sources of one kind at one rod the latest word counts, with its own age: nothing here is averaged.

Sigmas and times are judgement: a paddle wheel on a ball, a spring scale, a cheap logger; a crew's word holds
until boat or water have had time to change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from assistant.configured import Transducer
from assistant.messages import Z90, Note, Q, Reading, Seen, State
from assistant.sensing import quality
from assistant.sensing.quality import GateState

TYPED = "typed"
"""Source of what a person said; every other source is an instrument."""

DEG = math.pi / 180.0


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing noted at a rod, by its published name. `unit` is SI; "" for what is said in words."""

    word: str  # how it is called and typed
    unit: str
    sigma: float | None
    typed_stale_s: float
    typed_dead_s: float
    xdr: str = ""  # quantity of an XDR transducer that measures it
    words: Mapping[str, float] = field(default_factory=dict)  # word -> its place in their order


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "ball_speed_mps": Kind("speed", "m/s", 0.05, 120.0, 900.0, xdr="xdr_plain"),
        "ball_temp_c": Kind("temperature", "degC", 0.3, 600.0, 3600.0, xdr="xdr_temp_c"),
        "pull_n": Kind("pull", "N", 2.0, 120.0, 900.0, xdr="xdr_force_n"),
        "logged_depth_m": Kind("depth", "m", 0.3, 600.0, 3600.0, xdr="xdr_depth_m"),
        "lean_rad": Kind("lean", "rad", 5 * DEG, 300.0, 1800.0, xdr="xdr_angle_rad"),
        "lean": Kind(
            "lean", "", None, 300.0, 1800.0, words={"straight": -1.0, "usual": 0.0, "far back": 1.0}
        ),
        "bend": Kind("bend", "", None, 300.0, 1800.0, words={"soft": -1.0, "usual": 0.0, "hard": 1.0}),
        "touch": Kind("touch", "", None, 60.0, 1800.0, words={"bottom": 1.0}),
    }
)
"""Everything that may be noted at a rod, by published name."""

_OF_XDR = {kind.xdr: name for name, kind in KINDS.items() if kind.xdr}
_GENERIC = "xdr_plain"


class Word(NamedTuple):
    """The newest word on one kind at one rod."""

    t_s: float
    value: float
    word: str | None
    sigma: float | None
    depth_m: float | None
    source: str
    stale_after_s: float
    dead_after_s: float
    unproven: int = 0


Words = Mapping[tuple[str, str], Word]
"""By (rod, kind). Never changed in place."""


def of_transducer(
    reading: Reading, transducers: Mapping[str, Transducer]
) -> tuple[Transducer, Reading] | None:
    """What an XDR reading says of the rod its transducer is on; None where it is on none."""
    kind = _OF_XDR.get(reading.quantity)
    place = kind and transducers.get(reading.source.partition("#")[2])
    if not kind or not place:
        return None
    value = reading.value * (place.speed_unit_mps if reading.quantity == _GENERIC else 1.0)
    return place, Reading(reading.t_s, kind, value, reading.source)


def heard(
    words: Words,
    gate: GateState,
    rod: str,
    reading: Reading,
    sigma: float | None = None,
    depth_m: float | None = None,
) -> tuple[Words, GateState, str | None]:
    """Take in what an instrument at `rod` sent, if the gate lets it pass; else the reason of the refusal.

    Args:
        reading: its quantity is one of KINDS; channels are told apart by its source.
        sigma: 1 sigma in its unit, None for the usual one; depth_m: where it was measured, if known.
    """
    gate, good, reason = quality.gate(gate, reading)
    if good is None:
        return words, gate, reason
    sigma = KINDS[reading.quantity].sigma if sigma is None else sigma
    word = Word(
        reading.t_s, reading.value, None, sigma, depth_m, reading.source,
        good.stale_after_s, good.dead_after_s, good.unproven,
    )  # fmt: skip
    return {**words, (rod, reading.quantity): word}, gate, None


def noted(words: Words, gate: GateState, note: Note) -> tuple[Words, GateState, str | None]:
    """Take in a note, or say why not. Never raises on any note."""
    kind = KINDS.get(note.kind)
    if kind is None:
        return words, gate, "unknown kind"
    if isinstance(note.value, str) or kind.words:
        value = kind.words.get(str(note.value))
        if value is None:
            return words, gate, "unknown word"
        word: str | None = str(note.value)
    else:
        limits = quality.TABLE[note.kind]
        if not limits.low <= note.value <= limits.high:  # also false for NaN; a whole number may be too long
            return words, gate, "out of range"
        value, word = float(note.value), None
        if note.source != TYPED:
            reading = Reading(note.t_s, note.kind, value, f"{note.source}/{note.rod}")
            return heard(words, gate, note.rod, reading, note.sigma, note.depth_m)
    sigma = kind.sigma if note.sigma is None else note.sigma
    new = Word(note.t_s, value, word, sigma, note.depth_m, note.source, kind.typed_stale_s, kind.typed_dead_s)
    return {**words, (note.rod, note.kind): new}, gate, None


def seen(words: Words, t_s: float) -> dict[str, dict[str, Seen]]:
    """Everything noted, by rod and kind, with its age and state at t_s [s]."""
    found: dict[str, dict[str, Seen]] = {}
    for (rod, kind), word in sorted(words.items()):
        found.setdefault(rod, {})[kind] = _seen(kind, word, t_s)
    return found


def _seen(kind: str, word: Word, t_s: float) -> Seen:
    age_s = max(0.0, t_s - word.t_s)
    state: State = "doubtful" if word.unproven else "ok"
    if age_s > word.stale_after_s:
        state = "stale"
    unit = KINDS[kind].unit
    if age_s > word.dead_after_s:
        return Seen(Q(None, None, None, unit, "dead", age_s, word.source))
    if word.sigma is None:
        low, high = None, None
    else:
        low, high = word.value - Z90 * word.sigma, word.value + Z90 * word.sigma
        if kind in quality.TABLE:  # no band reaches beyond what can be
            low, high = max(low, quality.TABLE[kind].low), min(high, quality.TABLE[kind].high)
    return Seen(Q(word.value, low, high, unit, state, age_s, word.source), word.word, word.depth_m)
