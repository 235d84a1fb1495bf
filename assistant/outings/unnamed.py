"""A fish that is on while nobody has said on which rod. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.lines.rods import UNCONFIRMED_S
from assistant.messages import Event
from assistant.outings.lull import STRIKE

ENDS = ("landed", "lost")


def fish_on(told: Sequence[Event], t_s: float) -> bool:
    """Whether there is one at t_s [s].

    Args:
        told: events as last corrected, in order of time: one that got its rod is that rod's. After UNCONFIRMED_S
            without another word nobody knows, as of a rod that has a fish.
    """
    for event in reversed(told):
        if event.kind in ENDS or t_s - event.t_s >= UNCONFIRMED_S:
            return False
        if event.kind == STRIKE and event.rod is None:
            return True
    return False
