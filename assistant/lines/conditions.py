"""What is odd about a line, in words: each row of CONDITIONS is (text, test), tested on a Look."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

DIG_MPS = 0.54
"""Common practice, no source: a planer stops digging below about 1.2 mph, or at a quarter of its usual pull. Pull goes
with the square of the speed through the water down there, and half of a usual 2.4 mph is both.
"""
TESTED_MPS = (0.3, 2.0)  # trolling speeds the checks cover [m/s]
TESTED_OUT_M = 150.0


class Look(NamedTuple):
    """What the tests look at."""

    folding: bool
    tripped: bool
    planer: bool
    speed_mps: float
    lure_speed_mps: float
    line_out_m: float
    unconverged: bool


CONDITIONS: tuple[tuple[str, Callable[[Look], bool]], ...] = (
    ("tripped", lambda look: look.tripped),
    ("not digging", lambda look: look.planer and not look.tripped and look.lure_speed_mps < DIG_MPS),
    ("line folding", lambda look: look.folding),
    (
        "outside tested range",
        lambda look: not TESTED_MPS[0] <= look.speed_mps <= TESTED_MPS[1] or look.line_out_m > TESTED_OUT_M,
    ),
    ("model settling anew", lambda look: look.unconverged),
)

WIDER: dict[str, float] = {"line folding": 2.0, "not digging": 2.0, "model settling anew": 2.0}
"""How much wider the band is drawn while a condition lasts (judgement)."""

DOUBTFUL = ("line folding", "not digging", "outside tested range", "model settling anew")


def conditions(look: Look) -> tuple[str, ...]:
    """The texts of all rows that hold."""
    return tuple(text for text, test in CONDITIONS if test(look))
