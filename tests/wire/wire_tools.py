"""Sentences for tests, with the checksum worked out here and not by the code under test."""

from __future__ import annotations

from functools import reduce
from operator import xor

from assistant.messages import Sentence
from assistant.sensing.nmea import Decoded, decode


def summed(body: str) -> str:
    """`$body*hh`."""
    return f"${body}*{reduce(xor, body.encode('ascii'), 0):02X}"


def decoded(text: str) -> Decoded:
    """What one sentence says, as if from udp:10110 at 1.5 s."""
    return decode(Sentence(1.5, "udp:10110", text))


def values(text: str) -> dict[str, float]:
    """Quantity -> value of one sentence."""
    return {reading.quantity: reading.value for reading in decoded(text).readings}
