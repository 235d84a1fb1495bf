"""Two GPS receivers on one wire, told apart by their talkers ("GP" and "GL"). Pure.

A multiplexer passes the sentences of both on, and read as one source they jump from one antenna to the other. One
receiver may change its talker as well, when it hears another satellite system, but it does not go back and forth: only
a wire on which the same type of sentence comes by turns from two talkers has two receivers. From then on each has a
source of its own, "<wire>#<talker>".
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from assistant.messages import Sentence

KINDS = ("RMC", "VTG", "GGA", "GLL")
BY_TURNS_S = 3.0  # a receiver speaks every second or two
TURNS = 6  # changes of talker, each soon after the other: no receiver changes satellites like that


class Wire(NamedTuple):
    """What is known of the talkers of one wire; newest talker by type of sentence."""

    newest: Mapping[str, str]
    changes: int = 0
    changed_s: float = 0.0

    @property
    def two(self) -> bool:
        """Whether two receivers speak here."""
        return self.changes >= TURNS


Wires = Mapping[str, Wire]
"""By source. Never changed in place."""


def apart(wires: Wires, sentence: Sentence) -> tuple[Wires, Sentence]:
    """The sentence with a source of its own where its wire has two receivers; and what is now known of the wires."""
    text = sentence.text
    kind, talker = text[3:6], text[1:3]
    if kind not in KINDS or text[6:7] != "," or text[:1] != "$":
        return wires, sentence
    wire = wires.get(sentence.source)
    before = wire.newest.get(kind) if wire is not None else None
    if wire is None:
        wire = Wire({kind: talker})
        wires = {**wires, sentence.source: wire}
    elif before != talker:
        wire = _changed(wire, kind, talker, sentence.t_s, first=before is None)
        wires = {**wires, sentence.source: wire}
    if not wire.two:
        return wires, sentence
    return wires, Sentence(sentence.t_s, f"{sentence.source}#{talker}", text)


def _changed(wire: Wire, kind: str, talker: str, t_s: float, first: bool) -> Wire:
    newest = {**wire.newest, kind: talker}
    if first or wire.two:
        return wire._replace(newest=newest)
    soon = t_s - wire.changed_s <= BY_TURNS_S
    return Wire(newest, wire.changes + 1 if soon else 1, t_s)
