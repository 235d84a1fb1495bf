"""Is the boat in a turn, since when, how far and how fast: from the heading alone, four times a second. Pure.

A turn is seen when, within one of the windows of DEPARTED, the heading has gone further from its mean before it than a
boat wanders on a straight course; further where waves make the bow swing, with both halves of the window going the same
way, and beyond where the bow swung before, as the swing of waves does not. Short windows see fast turns, long ones slow
turns. It is over when the bow goes at less than STILL_SHARE of the turn's mean rate. Valid: turns of 0.3 to 20 deg/s,
headings without gaps of more than GAP_S.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, replace

from assistant.ahead.manoeuvre import STRAIGHT_ON, Manoeuvre, steered
from assistant.messages import Estimate
from assistant.units import wrap_pi

DEG = math.pi / 180.0
DEPARTED: tuple[tuple[float, float], ...] = (
    (1.5, 2.4 * DEG),
    (2.0, 2.6 * DEG),
    (4.0, 3.5 * DEG),
    (6.0, 3.15 * DEG),
    (8.0, 3.3 * DEG),
    (12.0, 3.9 * DEG),
    (16.0, 4.2 * DEG),
    (26.0, 5.0 * DEG),
)
"""Windows [s] and how far the heading must have gone within each: more than it went in 5 h on a straight course of the
simulator in its usual waves (0.2 deg/s of yaw), by way of the estimate; the long ones are for a boat that nobody holds
on its course. A helm put over for 3 deg/s makes 4.3 degrees in its 3 s. tests/campaigns/turn_recognition.py measures
both, with other seeds.
"""
SHORT_S, SWUNG_S = 8.0, 8.0
BEYOND = 0.5
"""Within short windows, those of waves, at least this share of it must lie beyond where the bow swung in the SWUNG_S
before; in long ones a swing is over.
"""
BEFORE_S = 1.0  # the heading before a window is the mean over this long
USUAL_RAD = 0.85 * DEG
"""The wander in those waves; where there is more of it, so much further must the heading go."""
WANDER_UP_S, WANDER_DOWN_S = 30.0, 180.0  # how soon more of it is believed, and less
WANDER_OVER_S = 2.5
LEAST_HALF = 0.2  # of the way, in either half of a window
STILL_S, STILL_RAD = 4.0, 3.0 * DEG  # a turn is judged over so long at least, and what would make so much
STILL_SHARE = 0.4  # less than this share of what it would make: over
GAP_S = 2.0
KEEP_S = 28.0
FRESH = ("ok", "doubtful")


@dataclass(frozen=True, slots=True)
class Helm:
    """Headings of the last KEEP_S (t_s [s], unwrapped [rad]), wander [rad] of straight courses, the turn, if any."""

    past: tuple[tuple[float, float], ...] = ()
    wander_rad: float = 0.0
    side: int = 0  # -1 port, +1 starboard, 0 no turn
    began_rad: float = 0.0  # heading where the turn began
    began_s: float = 0.0

    @property
    def turned_rad(self) -> float:
        """How far the boat has turned, + to starboard; 0 when it does not."""
        return self.past[-1][1] - self.began_rad if self.side else 0.0


def watched(old: Helm, t_s: float, heading: Estimate) -> Helm:
    """One heading later; a heading that is not known, or comes after a gap, begins anew."""
    if heading.value is None or heading.state not in FRESH:
        return Helm(wander_rad=old.wander_rad)
    if not old.past or not 0.0 < t_s - old.past[-1][0] <= GAP_S:
        return Helm(((t_s, heading.value),), old.wander_rad)
    unwrapped = old.past[-1][1] + wrap_pi(heading.value - old.past[-1][1])
    past = (*(row for row in old.past if row[0] >= t_s - KEEP_S), (t_s, unwrapped))
    now = replace(old, past=past)
    if now.side:
        return Helm(past[-1:], now.wander_rad) if _over(now) else now
    seen = _departure(now)
    if seen is None:
        return replace(now, wander_rad=_wander(now, t_s - old.past[-1][0]))
    (began_s, began_rad), side = seen
    return replace(now, side=side, began_s=began_s, began_rad=began_rad)


def manoeuvre_of(steering: Helm, rate_of_turn: Estimate) -> Manoeuvre:
    """What the boat is doing: straight on, or the turn it is in with all the places where it may stop.

    Args:
        rate_of_turn: now [rad/s]; where unknown, or to the other side, the mean rate of the turn so far stands in.
    """
    if not steering.side:
        return STRAIGHT_ON
    lasted_s = max(steering.past[-1][0] - steering.began_s, 1.0)
    rate, sigma = steering.turned_rad / lasted_s, 0.0
    if rate_of_turn.value is not None and rate_of_turn.value * steering.side > 0.0:
        rate, sigma = rate_of_turn.value, rate_of_turn.sigma or 0.0
    return steered(steering.turned_rad, math.copysign(abs(rate), steering.side), sigma)


def _at(past: tuple[tuple[float, float], ...], t_s: float) -> float | None:
    """The heading at a time, None before the first."""
    k = bisect_right(past, (t_s + 1e-9, math.inf))
    return past[k - 1][1] if k else None


def _before(past: tuple[tuple[float, float], ...], t_s: float) -> float | None:
    """The mean heading over BEFORE_S up to a time, None where they do not go back so far."""
    if past[0][0] > t_s - BEFORE_S + 1e-9:
        return None
    first, last = (bisect_right(past, (at_s + 1e-9, math.inf)) for at_s in (t_s - BEFORE_S, t_s))
    if first == last:  # a gap
        return past[last - 1][1]
    return sum(rad for _, rad in past[first:last]) / (last - first)


def _departure(now: Helm) -> tuple[tuple[float, float], int] | None:
    """Where and to which side a turn began, if there is one."""
    t_s, heading = now.past[-1]
    rough = max(now.wander_rad / USUAL_RAD, 1.0)
    for window, departed in DEPARTED:
        start, middle = _before(now.past, t_s - window), _at(now.past, t_s - 0.5 * window)
        if start is None or middle is None:
            return None
        gone, least = heading - start, rough * departed
        if abs(gone) < least or any(
            half * gone < LEAST_HALF * gone * gone for half in (middle - start, heading - middle)
        ):
            continue
        side = 1 if gone > 0.0 else -1
        if window > SHORT_S or side * heading - _swung(now.past, t_s - window, side) >= BEYOND * least:
            return (t_s - window, start), side
    return None


def _swung(past: tuple[tuple[float, float], ...], t_s: float, side: int) -> float:
    """How far to a side the bow was in the SWUNG_S up to a time."""
    first, last = (bisect_right(past, (at_s + 1e-9, math.inf)) for at_s in (t_s - SWUNG_S, t_s))
    return max(side * rad for _, rad in past[first:last])


def _wander(now: Helm, dt: float) -> float:
    """The wander [rad], rms of what the heading goes within WANDER_OVER_S, with one more look."""
    t_s, heading = now.past[-1]
    before = _at(now.past, t_s - WANDER_OVER_S)
    if before is None:
        return now.wander_rad
    square = (heading - before) ** 2
    gain = dt / ((WANDER_UP_S if square > now.wander_rad**2 else WANDER_DOWN_S) + dt)
    return math.sqrt((1.0 - gain) * now.wander_rad**2 + gain * square)


def _over(now: Helm) -> bool:
    """Whether the bow has stopped going round, or has come back past where the turn began."""
    t_s, heading = now.past[-1]
    turned = now.turned_rad * now.side
    if turned < 0.0:
        return True
    rate = turned / max(t_s - now.began_s, 1.0)
    over_s = min(max(STILL_S, STILL_RAD / max(rate, 1e-6)), KEEP_S - 1.0)
    before = _at(now.past, t_s - over_s)
    return before is not None and (heading - before) * now.side < STILL_SHARE * rate * over_s
