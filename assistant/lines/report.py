"""From numbers to LineStates: bands put around values, states by the weakest input, curves in boat axes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Rod
from assistant.lines.conditions import DOUBTFUL, WIDER, Look, conditions
from assistant.lines.limits import SPEED
from assistant.messages import LINE_QUANTITIES, STATES, BoatState, LineState, Q, RodState, State

Array = NDArray[np.float64]
Curve = tuple[tuple[float, float, float], ...]  # of a line in boat axes [m], rod tip first
Banded = tuple[float, float, float]  # value, low, high

LEAST = np.array([-math.inf, -math.inf, -math.inf, 0.0, 0.0])
"""No band reaches below this, in the order of LINE_QUANTITIES: pull and lure speed are never negative."""

FIRM: tuple[RodState, ...] = ("fishing",)
_UNITS = tuple(LINE_QUANTITIES.values())


@dataclass(frozen=True, slots=True)
class Worth:
    """State, age [s] and source of what all lines hang on: the weaker of water speed and turning.

    A heading that is off by a constant moves no line: what turns them is how it changes, so the rate of turn counts.
    """

    state: State
    age_s: float
    source: str
    speed_source: str


def worth_of(boat: BoatState) -> Worth:
    """The worth of the boat state for the lines."""
    speed, heading, turn = boat.stw_mps, boat.heading_rad, boat.rate_of_turn_radps
    turning = heading if turn.state == "dead" else turn
    return Worth(
        weakest(speed.state, turning.state),
        max(speed.age_s or 0.0, heading.age_s or 0.0),
        f"model: {speed.source}, {heading.source}",
        speed.source,
    )


def weakest(*states: State) -> State:
    """The worst of several states."""
    return max(states, key=STATES.index)


def dead_line(t_s: float, rod: str, rod_state: RodState, cause: str) -> LineState:
    """A line nothing can be said of."""
    m, speed, force = (
        Q(None, None, None, unit, "dead", None, f"none: {cause}") for unit in ("m", "m/s", "N")
    )
    return LineState(t_s, rod, m, m, m, force, speed, conditions=(cause,), rod_state=rod_state)


def line_state(
    t_s: float,
    rod: Rod,
    rod_state: RodState,
    worth: Worth,
    look: Look,
    numbers: Sequence[Banded],
    curve: Curve,
    limits: Mapping[str, str],
) -> LineState:
    """One rod's line.

    Args:
        numbers: in the order of LINE_QUANTITIES; curve: see Curve; limits: see limits.py.
    """
    if rod_state == "aboard":
        return dead_line(t_s, rod.name, rod_state, "aboard")
    depth, swing, setback, pull, speed = numbers
    if not math.isfinite(depth[0] + swing[0] + setback[0] + pull[0] + speed[0]):
        return dead_line(t_s, rod.name, rod_state, "the line model gives no number")
    odd = conditions(look)
    state = worth.state
    if rod_state not in FIRM or any(text in DOUBTFUL for text in odd):
        state = weakest(state, "doubtful")
    if odd:
        factor = max(WIDER.get(text, 1.0) for text in odd)
        depth, swing, setback, pull, speed = _widened(numbers, factor)
    age, source = worth.age_s, worth.source
    return LineState(
        t_s,
        rod.name,
        Q(*depth, _UNITS[0], state, age, source),
        Q(*swing, _UNITS[1], state, age, source),
        Q(*setback, _UNITS[2], state, age, source),
        Q(*pull, _UNITS[3], state, age, source),
        Q(*speed, _UNITS[4], state, age, source),
        odd,
        rod_state,
        curve,
        _named(limits, worth.speed_source) if SPEED in limits.values() else limits,
    )


def _named(limits: Mapping[str, str], speed_source: str) -> dict[str, str]:
    return {name: f"speed: {speed_source}" if word == SPEED else word for name, word in limits.items()}


def _widened(numbers: Sequence[Banded], factor: float) -> list[Banded]:
    return [
        (v, max(v + factor * (low - v), float(least)), v + factor * (high - v))
        for (v, low, high), least in zip(numbers, LEAST, strict=True)
    ]


def banded(seen: Array, low: Array, high: Array) -> list[list[Banded]]:
    """Value, low and high per line and quantity; low <= value <= high.

    Args:
        seen: (R, 5); low, high: (R, 5) relative to it, in the order of LINE_QUANTITIES.
    """
    below = np.maximum(seen + np.minimum(low, 0.0), np.minimum(LEAST, seen))
    table = np.stack([seen, below, seen + np.maximum(high, 0.0)], axis=-1)
    return cast(list[list[Banded]], table.tolist())
