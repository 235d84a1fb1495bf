"""Faults of instruments, as rows: what can go wrong with a value or a sentence, and when it does.

A scenario names them: {kind, quantity or sentence, start_s, stop_s, size, share}. A value fault acts before
the sentences are made, so every sentence with that quantity shows it; a sentence fault acts on the finished
text.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from sim.checked import Number

FAULT_NUMBERS = (
    Number("start_s", 0.0, 1e6),
    Number("stop_s", 0.0, 1e6, 1e6),
    Number("size", -1e6, 1e6, 0.0),  # what it means: see the kind's row
    Number("share", 0.0, 1.0, 1.0),  # of the values or sentences it strikes
)
"""Keys of a scenario's [[faults]] rows beside kind, quantity, sentence."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One row of a scenario. Exactly one of quantity and sentence is named ("*" = all sentences)."""

    kind: str
    quantity: str | None
    sentence: str | None
    start_s: float
    stop_s: float
    size: float
    share: float

    def strikes(self, t_s: float, rng: np.random.Generator) -> bool:
        """Whether it acts now; `share` < 1 is drawn anew each time."""
        return self.start_s <= t_s < self.stop_s and (self.share >= 1.0 or float(rng.random()) < self.share)


@dataclass(frozen=True, slots=True)
class Sending:
    """A sentence on its way: when it leaves [s] and its text."""

    t_s: float
    text: str


# value faults: (value now, last value before the fault, size) -> value; None = the instrument says nothing
VALUE_FAULTS: Mapping[str, Callable[[float | None, float | None, float], float | None]] = {
    "freeze": lambda now, before, size: before,
    "offset": lambda now, before, size: None if now is None else now + size,  # size in the quantity's SI unit
    "spike": lambda now, before, size: None if now is None else now + size,  # meant with share < 1
    "scale": lambda now, before, size: None if now is None else now * size,
    "stuck": lambda now, before, size: size,  # at this value, e.g. 0
    "blank": lambda now, before, size: None,  # empty field, or a void fix
}


def _wrong_sum(text: str) -> str:
    body, _, given = text.rpartition("*")
    return f"{body}*{int(given, 16) ^ 0x15:02X}"


# sentence faults: (sentence, size) -> sentence, or None when it is never sent
SENTENCE_FAULTS: Mapping[str, Callable[[Sending, float], Sending | None]] = {
    "drop": lambda sending, size: None,
    "late": lambda sending, size: Sending(sending.t_s + abs(size), sending.text),  # size = seconds
    "bad checksum": lambda sending, size: Sending(sending.t_s, _wrong_sum(sending.text)),
    "no checksum": lambda sending, size: Sending(sending.t_s, sending.text.rpartition("*")[0]),
    "cut": lambda sending, size: Sending(sending.t_s, sending.text[: len(sending.text) // 2]),
    "noise": lambda sending, size: Sending(sending.t_s, "\x07\x1b" + sending.text[1:]),
}

FAULTS: Mapping[str, str] = {
    **dict.fromkeys(VALUE_FAULTS, "quantity"),
    **dict.fromkeys(SENTENCE_FAULTS, "sentence"),
}
"""Every kind of fault and the key that names what it strikes."""
