"""Deltas for tests, made here and not by the code under test."""

from __future__ import annotations

import json

from assistant.messages import Sentence
from assistant.sensing.signalk import NEW, Said, Stream, decode

WIRE = "signalk-ws:127.0.0.1:3000"
URN = "vessels.urn:mrn:signalk:uuid:705f5f1a-efaf-44aa-9cb8-a0fd6305567c"
HELLO = json.dumps({"name": "x", "version": "1.8.2", "self": URN, "roles": ["master", "main"]})
STAMP = "2026-07-18T12:00:00.500Z"


def delta(
    values: dict[str, object], source: str | None = "gps.1", stamp: object = STAMP, context: object = None
) -> str:
    """One delta with one update."""
    update: dict[str, object] = {"values": [{"path": path, "value": value} for path, value in values.items()]}
    update |= {} if source is None else {"$source": source}
    update |= {} if stamp is None else {"timestamp": stamp}
    return json.dumps({**({} if context is None else {"context": context}), "updates": [update]})


def said(text: str, stream: Stream = NEW) -> Said:
    """What one line says, as if from WIRE at 1.5 s."""
    return decode(stream, Sentence(1.5, WIRE, text))[1]


def values(text: str, stream: Stream = NEW) -> dict[str, float]:
    """Quantity -> value of one line."""
    return {reading.quantity: reading.value for reading in said(text, stream).readings}


def after(*texts: str) -> Stream:
    """What a stream remembers after these lines."""
    stream = NEW
    for text in texts:
        stream, _ = decode(stream, Sentence(1.0, WIRE, text))
    return stream
