"""What is odd about a line, in words: each row of CONDITIONS is (text, test), tested on a Look."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DIG_MPS = 0.54  # common practice, no source: below about 1.2 mph a planer stops digging
TESTED_MPS = (0.3, 2.0)  # trolling speeds the checks cover [m/s]
TESTED_OUT_M = 150.0
FOLD_COS = 0.0  # a line that turns back by more than 90 degrees from one segment to the next


@dataclass(frozen=True, slots=True)
class Look:
    """What the tests look at; points_m (N, 3) rod tip first, z below the surface."""

    points_m: Array
    tripped: bool
    planer: bool
    speed_mps: float
    line_out_m: float
    unconverged: bool


def folding(points_m: Array) -> bool:
    """Whether the wet line turns back on itself between two neighbouring segments."""
    step = np.diff(points_m, axis=0)
    unit = step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9)
    bend = np.einsum("ij,ij->i", unit[1:], unit[:-1])
    return bool(np.any((bend < FOLD_COS) & (points_m[1:-1, 2] > 0.0)))


CONDITIONS: tuple[tuple[str, Callable[[Look], bool]], ...] = (
    ("tripped", lambda look: look.tripped),
    ("not digging", lambda look: look.planer and not look.tripped and look.speed_mps < DIG_MPS),
    ("line folding", lambda look: folding(look.points_m)),
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
