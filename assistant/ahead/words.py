"""How a forecast is put into words: shown, and spoken in few words. Pure."""

from __future__ import annotations

import math

from assistant.messages import LineState
from assistant.units import DISPLAY_UNITS, FOOT_M, MPH_MPS

SPOKEN = {"ft": "feet", "m": "metres", "mph": "miles an hour", "m/s": "metres a second"}
STEP_M = {"angler": 5.0 * FOOT_M, "metric": 1.0}  # of line to wind in
STEP_MPS = {"angler": 0.1 * MPH_MPS, "metric": 0.05}  # of a speed to hold
MOST_LIFTED = 0.8  # of a line's length: more is no lift but the line coming in


def when(seconds: float) -> float:
    """A time ahead [s] as it is said: to 5 s below a minute, to 10 s above, never 0."""
    step = 5.0 if seconds < 60.0 else 10.0
    return max(step * math.floor(seconds / step), 5.0)


def shown(value: float, unit: str, units: str) -> str:
    """A value in SI with its unit as the crew reads it."""
    row = DISPLAY_UNITS[units][unit]
    return f"{value * row.scale + row.offset:.{row.digits}f} {row.label}"


def spoken(value: float, unit: str, units: str) -> str:
    """The same as it is spoken: the unit as a word."""
    number, _, label = shown(value, unit, units).partition(" ")
    return f"{number} {SPOKEN.get(label, label)}"


def lift_m(line: LineState, up_m: float, units: str) -> float | None:
    """How much line to wind in so that a lure comes up by up_m [m], rounded up; None where its shape is not known.

    A line towed at one speed keeps its shape nearly, so depth goes with its length (exactly so for a straight one).
    """
    depth, astern, swing = line.depth_m.value, line.setback_m.value, line.swing_m.value
    if depth is None or astern is None or swing is None or depth <= 0.0:
        return None
    length = math.hypot(depth, astern, swing)
    step = STEP_M[units]
    wanted = step * math.ceil(up_m * length / depth / step - 1e-9)
    return min(max(wanted, step), step * math.floor(MOST_LIFTED * length / step))


def hold_mps(
    now_mps: float, then_mps: float, now_m: float, then_m: float, most_m: float, units: str
) -> float | None:
    """A speed at which a line that sinks as the boat slows keeps above most_m [m]; None where none below now's does.

    Args:
        now_mps, then_mps: speed now and after slowing; now_m, then_m: deepest of the line at either.
    A straight line between both: depth falls off ever less with speed, so the true depth there is smaller.
    """
    if not then_m > most_m > now_m or not now_mps > then_mps:
        return None
    step = STEP_MPS[units]
    exact = then_mps + (now_mps - then_mps) * (then_m - most_m) / (then_m - now_m)
    rounded = step * math.ceil(exact / step - 1e-9)
    return rounded if rounded < now_mps else None
