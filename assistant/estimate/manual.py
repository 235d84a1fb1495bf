"""What the crew says of an instrument: a fouled wheel is not believed until it is said to be clear. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from assistant.messages import Event

FOULED, CLEAR, WITHDRAWN = "wheel fouled", "wheel clear", "withdrawn"
"""Kinds of Event; the same words as in outings.happenings."""


class Manual(NamedTuple):
    """A word that stands: why the speed log is not believed, and the number of the event that said so."""

    why: str
    number: int | None = None


def heard(old: Manual | None, events: Sequence[Event], utc: str | None) -> Manual | None:
    """What stands after these events of one instant; `utc`: ISO 8601 of it, for the time that is shown."""
    stands = old
    for event in events:
        if event.kind == FOULED:
            at = f", {utc[11:16]} UTC" if utc is not None else ""
            stands = Manual(f"wheel fouled (manual{at})", event.number)
        elif event.kind == CLEAR or _withdrawn(stands, event):
            stands = None
    return stands


def _withdrawn(stands: Manual | None, event: Event) -> bool:
    """Whether an event takes back the one that stands: it was withdrawn, or was another kind."""
    return stands is not None and event.corrects is not None and event.corrects == stands.number
