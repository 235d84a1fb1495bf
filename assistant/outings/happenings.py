"""What the crew tells of a day: strikes, trips, what was seen and changed; and how a line ran before it. Pure.

    {"rod": "S2", "kind": "fish on"}    {"kind": "fish on"}    {"rod": "P1", "kind": "line out", "value": "180 ft"}

A new kind is one row of KINDS. What a sensor showed or was seen at a rod (speed, touch ...): see notes.py.
"""

from __future__ import annotations

import contextlib
import json
import math
from collections import deque
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from assistant.errors import OptionError
from assistant.messages import LINE_QUANTITIES, Event, Frame
from assistant.typed import SCALES, json_object, quantity, short

MAX_BYTES = 1024
EXAMPLE = '{"rod": "S2", "kind": "fish on"}'
LINE_OUT_MAX_M = 600.0
FIELDS = ("rod", "kind", "value", "corrects")
BEFORE_S = 45.0
"""So long before an event a line's state is averaged: longer than a wave, shorter than a turn."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One kind of event: what it sets on the rod, and whether it must have a rod or a value."""

    sets: Mapping[str, object] = field(default_factory=dict)  # fields of LineSetting
    rod: bool = True
    value_of: str = ""  # the field of LineSetting that its value is


KINDS: Mapping[str, Happening] = {
    "fish on": Happening({"rod_state": "fish on"}, rod=False),
    "hook-up": Happening(rod=False),
    "landed": Happening({"rod_state": "aboard"}, rod=False),
    "lost": Happening({"rod_state": "unknown"}, rod=False),  # nobody knows how the lure hangs now
    "trip": Happening({"tripped": True}),
    "re-armed": Happening({"tripped": False}),
    "checked": Happening(),
    "cleaned": Happening({"cleaned": True}),
    "back as it was": Happening({"rod_state": "fishing", "tripped": False}),
    "line out": Happening(value_of="line_out_m"),
    "setting": Happening(value_of="setting"),
    "rod state": Happening(value_of="rod_state"),
    "wheel fouled": Happening(rod=False),  # the log's: speed from GPS until clear (estimate/manual.py)
    "wheel clear": Happening(rod=False),
    "withdrawn": Happening(rod=False),  # the event it corrects did not happen
}
"""Everything that may happen, by the word for it."""


@dataclass(frozen=True, slots=True)
class Asked:
    """An event, read and checked but for what its value means on the rod: `setting` as the page would send it."""

    event: Event
    setting: Mapping[str, object] = field(default_factory=dict)
    note: Mapping[str, object] | None = None  # it is a note of this kind


def parse_event(body: bytes, rods: Collection[str], notes: Collection[str], t_s: float, source: str) -> Asked:
    """Read one event.

    Args:
        rods: names of the rods there are; notes: words for what may be noted; t_s: when it came [s]; source: which way.

    Raises:
        OptionError: anything wrong with it; says field, value and what is allowed.
    """
    asked = json_object(body, MAX_BYTES, EXAMPLE)
    unknown = [name for name in asked if name not in FIELDS]
    if unknown:
        raise OptionError(f"field {short(unknown[0])}: want some of {', '.join(FIELDS)}")
    rod, kind, value, corrects = (asked.get(name) for name in FIELDS)
    if not isinstance(kind, str) or (kind not in KINDS and kind not in notes):
        raise OptionError(f"kind {short(kind)}: want one of {', '.join([*KINDS, *notes])}")
    if rod is not None and (not isinstance(rod, str) or rod not in rods):
        raise OptionError(f"rod {short(rod)}: want one of {', '.join(rods)}")
    row = KINDS.get(kind, Happening())
    if rod is None and row.rod:
        raise OptionError(f"{kind}: at which rod? want one of {', '.join(rods)}")
    number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not (value is None or number or (isinstance(value, str) and len(value) <= 60)):
        raise OptionError(f"value {short(value)}: want a number or a short text")
    if corrects is not None and (isinstance(corrects, bool) or not isinstance(corrects, int) or corrects < 1):
        raise OptionError(f"corrects {short(corrects)}: want the number of an event of this outing")
    if kind == "withdrawn" and corrects is None:
        raise OptionError("withdrawn: which event? want its number as corrects")
    event = Event(t_s, kind, rod, value, source, corrects)  # type: ignore[arg-type]  # checked above
    if kind not in KINDS:
        return Asked(event, note={"rod": rod, "kind": kind, "value": value})
    if row.value_of and value is None:
        raise OptionError(f"{kind}: want a value")
    sets = {row.value_of: _set_value(kind, value)} if row.value_of else dict(row.sets)
    return Asked(event, {"rod": rod, **sets} if rod is not None and sets else {})


def _set_value(kind: str, value: object) -> object:
    """What an event's value means as a setting: a length has its unit or is in m, a dial has a number or a label."""
    if kind == "line out" and isinstance(value, str):
        return quantity(kind, value, SCALES["m"], "ft", (0.0, LINE_OUT_MAX_M))
    if kind == "setting" and isinstance(value, str):
        with contextlib.suppress(ValueError):
            return float(value)
    return value


def from_words(words: Sequence[str], notes: Collection[str]) -> dict[str, object]:
    """`[ROD] KIND [VALUE]` as typed, KIND of one or several words, as an object for `parse_event`.

    Raises:
        OptionError: no kind is in it.
    """
    known = sorted([*KINDS, *notes], key=lambda kind: -len(kind.split()))
    for skipped in (0, 1):
        rest = list(words[skipped:])
        for kind in known:
            size = len(kind.split())
            if " ".join(rest[:size]) == kind:
                said: dict[str, object] = {"kind": kind}
                value = " ".join(rest[size:])
                return {
                    **({"rod": words[0]} if skipped else {}),
                    **said,
                    **({"value": value} if value else {}),
                }
    raise OptionError(
        f"{' '.join(words)[:60]!r}: want [ROD] KIND [VALUE], KIND one of {', '.join([*KINDS, *notes])}"
    )


class Before:
    """How every line ran in the last BEFORE_S: fed with Frames, asked at an event."""

    def __init__(self) -> None:
        self._frames: deque[Frame] = deque()

    def add(self, frame: Frame) -> None:
        """Take a newer Frame."""
        self._frames.append(frame)
        while frame.t_s - self._frames[0].t_s > BEFORE_S:
            self._frames.popleft()

    def means(self, rod: str | None) -> dict[str, float]:
        """Mean of each quantity of a rod's line that was known at all; nothing without a rod."""
        lines = [frame.lines[rod] for frame in self._frames if rod is not None and rod in frame.lines]
        found: dict[str, float] = {}
        for name in LINE_QUANTITIES:
            known = [
                q.value
                for line in lines
                for q in [getattr(line, name)]
                if q.value is not None and q.state != "dead"
            ]
            if known:
                found[name] = math.fsum(known) / len(known)
        return found

    def of_all(self) -> dict[str, dict[str, float]]:
        """`means` of every rod there is."""
        rods = self._frames[-1].lines if self._frames else {}
        return {rod: self.means(rod) for rod in rods}


def settings_of(asked: Asked) -> bytes:
    """The body of the setting that an event makes, as the page would post it."""
    return json.dumps(dict(asked.setting)).encode()
