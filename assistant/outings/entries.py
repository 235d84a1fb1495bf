"""What the records of an outing say: one type and one kind of record each, as JSON, deflated. Pure.

A new kind of entry is one type and one row of KINDS. A kind or version that this program does not know is passed over
and counted, never guessed at.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from assistant.configured import Config
from assistant.messages import Event, Inputs, Mode
from assistant.outings.plain import from_plain, to_plain
from assistant.outings.records import MAX_BODY_BYTES, VERSION, framed

MAX_TEXT_BYTES = 16 << 20
"""Most that a body may inflate to."""


@dataclass(frozen=True, slots=True)
class Opening:
    """At the head of every file of an outing: all that a replay needs besides what came in."""

    outing: str  # its id
    program: str  # version of spreadwatch
    mode: Mode
    seed: int
    config: Config
    clock: str | None = None  # UTC of the machine's own clock at the start, right or wrong; ISO 8601


@dataclass(frozen=True, slots=True)
class Step:
    """What one step of the flow took in, and whether a Frame was made of it."""

    inputs: Inputs
    framed: bool


@dataclass(frozen=True, slots=True)
class Told:
    """An event, with how the rod's line ran before it."""

    event: Event
    line: Mapping[str, float] = field(default_factory=dict)  # means over the time before, by quantity


@dataclass(frozen=True, slots=True)
class Mark:
    """At the head of what is written at once: what was on the disk by then."""

    saved: int  # every entry up to this number, less those thrown away
    dropped: int  # so many were thrown away so far, as they could not be kept in memory any longer


@dataclass(frozen=True, slots=True)
class Closing:
    """The end of an outing that ended in order."""

    t_s: float
    dropped: int


Entry = Opening | Step | Told | Mark | Closing


class Kind(NamedTuple):
    """One kind of record: its type, and whether it leaves out what equals its default."""

    type: type[Opening] | type[Step] | type[Told] | type[Mark] | type[Closing]
    sparse: bool
    numbered: bool


KINDS: dict[int, Kind] = {
    1: Kind(Opening, sparse=False, numbered=False),
    2: Kind(Step, sparse=True, numbered=True),
    3: Kind(Mark, sparse=False, numbered=False),
    4: Kind(Closing, sparse=False, numbered=True),
    5: Kind(Told, sparse=True, numbered=True),
}
"""Number of each kind of record. A number once given is never used for anything else."""

_NUMBERS = {row.type: number for number, row in KINDS.items()}


def encoded(entry: Entry, number: int = 0) -> bytes:
    """An entry as a whole record; `number` is its place in the outing, 0 for what has none.

    Raises:
        ValueError: it is too large.
        TypeError: it holds something that has no plain form.
    """
    kind = _NUMBERS[type(entry)]
    plain = to_plain(entry, KINDS[kind].sparse)
    text = json.dumps(plain, allow_nan=False, separators=(",", ":")).encode("ascii")
    deflate = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)
    return framed(kind, number, deflate.compress(text) + deflate.flush())


def decoded(version: int, kind: int, body: bytes) -> Entry | None:
    """The entry of a good record; None when this program cannot read it. Never raises."""
    if version > VERSION or kind not in KINDS or len(body) > MAX_BODY_BYTES:
        return None
    try:
        text = zlib.decompressobj(-zlib.MAX_WBITS).decompress(body, MAX_TEXT_BYTES)
        return from_plain(KINDS[kind].type, json.loads(text))
    except (ValueError, zlib.error, RecursionError):
        return None
