"""From numbers to a LineState: bands put around values, states by the weakest input, the curve in boat axes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from assistant.lines.conditions import DOUBTFUL, WIDER, Look, conditions
from assistant.lines.motion import Motion
from assistant.messages import LINE_QUANTITIES, STATES, BoatState, LineState, Q, Rod, RodState, State

Array = NDArray[np.float64]

NEVER_NEGATIVE = ("tension_n", "lure_speed_mps")
FIRM: tuple[RodState, ...] = ("fishing",)


def weakest(*states: State) -> State:
    """The worst of several states."""
    return max(states, key=STATES.index)


def dead_line(t_s: float, rod: str, rod_state: RodState, cause: str) -> LineState:
    """A line nothing can be said of."""
    unknown = {
        name: Q(None, None, None, unit, "dead", None, f"none: {cause}") for name, unit in LINE_QUANTITIES.items()
    }
    return LineState(t_s, rod, **unknown, conditions=(cause,), rod_state=rod_state)


def line_state(
    t_s: float,
    rod: Rod,
    rod_state: RodState,
    boat: BoatState,
    motion: Motion,
    seen: Array,
    low: Array,
    high: Array,
    points_m: Array,
    *,
    tripped: bool,
    planer: bool,
    line_out_m: float,
    unconverged: bool,
) -> LineState:
    """One rod's line.

    Args:
        seen: (5,) in the order of LINE_QUANTITIES; low, high: (5,) band relative to it; points_m: (N, 3) north, east,
        down, rod tip first.
    """
    if rod_state == "aboard":
        return dead_line(t_s, rod.name, rod_state, "aboard")
    if not np.all(np.isfinite(seen)):
        return dead_line(t_s, rod.name, rod_state, "the line model gives no number")
    look = Look(points_m, tripped, planer, motion.speed_mps, line_out_m, unconverged)
    odd = conditions(look)
    wider = max((WIDER.get(text, 1.0) for text in odd), default=1.0)
    state = weakest(boat.stw_mps.state, boat.heading_rad.state)
    if rod_state not in FIRM or any(text in DOUBTFUL for text in odd):
        state = weakest(state, "doubtful")
    age = max(boat.stw_mps.age_s or 0.0, boat.heading_rad.age_s or 0.0)
    source = f"model: {boat.stw_mps.source}, {boat.heading_rad.source}"
    made = {}
    for k, (name, unit) in enumerate(LINE_QUANTITIES.items()):
        value = float(seen[k])
        bottom = 0.0 if name in NEVER_NEGATIVE else -math.inf
        made[name] = Q(
            value,
            max(min(value, value + wider * float(low[k])), bottom),
            max(value, value + wider * float(high[k])),
            unit,
            state,
            age,
            source,
        )
    return LineState(
        t_s, rod.name, **made, conditions=odd, rod_state=rod_state, shape_m=_curve(points_m, rod, motion)
    )


def _curve(points_m: Array, rod: Rod, motion: Motion) -> tuple[tuple[float, float, float], ...]:
    """(N, 3) x forward, y starboard, z down, from the boat's reference point on the surface."""
    c, s = math.cos(motion.heading_rad), math.sin(motion.heading_rad)
    north = points_m[:, 0] - points_m[0, 0]
    east = points_m[:, 1] - points_m[0, 1]
    axes = np.column_stack(
        [rod.tip_forward_m + c * north + s * east, rod.tip_starboard_m + c * east - s * north, points_m[:, 2]]
    )
    return tuple((x, y, z) for x, y, z in np.round(axes, 3).tolist())
