"""Rules on what the newest forecast says will be. Pure.

A forecast that is old, or rests on what is in doubt, is not believed as one that is neither: the first says nothing,
the second only cautions. A turn that is being steered may be one of deliberate curves until it has gone further than
those do; until then of bottom and crossing only what is rather sure is told, and of depth and speed nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.ahead import words
from assistant.ahead.manoeuvre import STOPS, Manoeuvre
from assistant.ahead.outlook import Forecast, LineAhead, PairAhead
from assistant.alerts.engine import UNSURE, Finding
from assistant.alerts.look import Evidence, Look, Rule
from assistant.messages import Priority
from assistant.units import FOOT_M

OLD_S = 20.0
"""An older forecast says nothing: four times the period at which it is made."""
ACT_S = 20.0
"""Sooner than this there is time for one thing only: an alarm."""
CURVES_RAD = math.radians(65.0)
"""Judgement: deliberate curves go 20-30 degrees to either side, so from one to the next 60."""
TOUCH_M, CROSS_M = 0.0, 0.6
"""Judgement: a gap no larger is a touch; lines within half a metre catch each other, their lures being as long, and
between the instants a forecast looks at they come a little nearer.
"""
SLOWED = "slowed"
"""The rule that tells, with a fish on, what `bottom` tells once the boat has slowed: one cause, heard once."""
NEAR_M = 1.0
"""Lines that will pass so near may cross, as far as anybody knows their lines: shown, without a sound."""
LIKELY, LIKELY_IN_CURVES = 0.05, 0.5
"""A gap is called gone by its value and this share of the way to its 90 % quantile: in a turn that may still be one of
deliberate curves three times of four.
"""
GOES_ON, LAG_S = 0.7, 15.0
"""A turn that is being steered must go on so far with this chance, by where turns stop, for what it does to be called:
until LAG_S before, as a line answers so late (judgement: half the time a weight's takes).
"""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ahead:
    """A forecast that may be judged: how old it is [s], whether the turn may still be one of deliberate curves."""

    told: Forecast
    age_s: float
    weaving: bool

    def priority(self, urgent: Priority) -> Priority:
        """As urgent as that, or a caution where the forecast rests on what is in doubt."""
        return urgent if self.told.state == "ok" else "caution"

    def goes_on(self, in_s: float, held: bool = False) -> bool:
        """Whether the turn that is being steered is likely to go on as far as what comes in in_s [s] takes.

        Args:
            held: it was told already; the same until the forecast says otherwise.
        """
        turn = self.told.manoeuvre
        if held or not turn.under_way:
            return True
        needed = min(turn.rate_radps * max(in_s - LAG_S, 0.0), abs(turn.angle_rad()))
        weights = [(stop.weight, abs(stop.angle_rad) >= needed) for stop in turn.stops]
        return sum(w for w, far in weights if far) >= GOES_ON * sum(w for w, _ in weights)

    def first_s(self, excess: Array) -> float | None:
        """Time from now at which something is first above 0 [s], 0 when it is; None: it never is."""
        times = self.told.times_s
        now = max(int(np.searchsorted(times, self.age_s, side="right")) - 1, 0)
        rows = now + np.flatnonzero(excess[now:] > 0.0)
        if not len(rows):
            return None
        k = int(rows[0])
        if k == now:
            return 0.0
        before, after = float(excess[k - 1]), float(excess[k])
        share = before / (before - after) if math.isfinite(before) else 1.0
        return max(float(times[k - 1] + share * (times[k] - times[k - 1])) - self.age_s, 0.0)

    def lasts_s(self, excess: Array) -> float:
        """For how long it is so without a break, at the longest [s]."""
        beyond, longest, run = excess > 0.0, 0.0, 0.0
        for k in range(1, len(beyond)):
            run = (
                run + float(self.told.times_s[k] - self.told.times_s[k - 1])
                if beyond[k - 1] and beyond[k]
                else 0.0
            )
            longest = max(longest, run)
        return longest

    def least(self, value: Array, high: Array) -> Array:
        """What is compared with a lower limit."""
        return np.where(
            np.isnan(high), value, value + (LIKELY_IN_CURVES if self.weaving else LIKELY) * (high - value)
        )

    def low_side(self, rows: Array) -> Array:
        """The same of (K, 3) value, low, high."""
        return self.least(rows[:, 0], rows[:, 2])

    def below_s(self, rows: Array, limit: float, held: bool = False) -> float | None:
        """Time from now at which the value is first below a limit [s], where that is likely; None: it is not."""
        if self.first_s(limit - self.low_side(rows)) is None:
            return None
        in_s = self.first_s(limit - rows[:, 0])
        return in_s if in_s is not None and self.goes_on(in_s, held) else None


def ahead_of(look: Look) -> Ahead | None:
    """The forecast, if it may be judged."""
    return None if look.outlook is None else judged(look.outlook, look.t_s - look.outlook.t_s)


def judged(told: Forecast, age_s: float) -> Ahead | None:
    """A forecast of that age [s] as one to judge; None if it is too old, or rests on nothing."""
    if not 0.0 <= age_s <= OLD_S or told.state not in ("ok", "doubtful"):
        return None
    weaving = told.manoeuvre.under_way and _turned_rad(told.manoeuvre) < CURVES_RAD
    return Ahead(told, age_s, weaving)


def _turned_rad(steered: Manoeuvre) -> float:
    """How far the turn being steered has gone: what its last stop is short of where that was."""
    return math.radians(STOPS[-1][0]) - abs(steered.stops[-1].angle_rad)


@dataclass(frozen=True, slots=True)
class Touch:
    """A line that will be on the bottom in so many seconds; least_m: its least gap, below 0."""

    line: LineAhead
    in_s: float
    least_m: float


def touches(look: Look, ahead: Ahead, held: str) -> list[Touch]:
    """Lines that will touch, the first one first; before it one told already, under `held` and its rod."""
    found = []
    for line in ahead.told.lines.values():
        if not line.firm or line.bottom is None:
            continue
        stands = f"{held} {line.rod}" in look.held
        in_s = touches_in(ahead, line, TOUCH_M + FOOT_M * stands, stands)
        if in_s is not None:
            found.append(Touch(line, in_s, float(np.nanmin(line.bottom.gap_m[:, 0]))))
    return sorted(found, key=lambda one: (f"{held} {one.line.rod}" not in look.held, one.in_s))


def touches_in(ahead: Ahead, line: LineAhead, limit_m: float, held: bool = False) -> float | None:
    """Time until the gap under a line is less than that [s]; None: it is not, or nothing is known of the bottom."""
    return None if line.bottom is None else ahead.below_s(line.bottom.gap_m, limit_m, held)


def bottom(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lines that will touch the bottom or are on it: one situation, told by the first of them."""
    ahead = ahead_of(look)
    if ahead is None or ahead.told.kind == "fish":
        return
    found = touches(look, ahead, rule.name)
    if not found:
        return
    first, rod = found[0], found[0].line.rod
    units = look.config.boat.units
    lift = _lift(look, first)
    remedy = f": lift {words.shown(lift, 'm', units)}" if lift is not None else ""
    say = f", lift {words.spoken(lift, 'm', units)}" if lift is not None else ""
    if first.in_s <= 0.0:
        text, said = f"{rod} on the bottom now{remedy}", f"{rod} on bottom{say}"
    else:
        seconds = f"{words.when(first.in_s):.0f}"
        turn = " in this turn" if ahead.told.kind == "turn" else ""
        text, said = (
            f"{rod} on the bottom in {seconds} s{turn}{remedy}",
            f"{rod} bottom in {seconds} seconds{say}",
        )
    if others := [one.line.rod for one in found[1:]]:
        text += f"; then {', '.join(others)}"
    yield rule.finding(
        text,
        tuple(one.line.rod for one in found),
        f"{rule.name} {rod}",
        said=said,
        priority=ahead.priority("alarm" if first.in_s <= ACT_S else "warning"),
        evidence=_gap_evidence(look, ahead, first),
        same=(f"{SLOWED} {rod}",),
    )


def _lift(look: Look, touch: Touch) -> float | None:
    up_m = look.config.alerts.off_bottom_m - touch.least_m
    return words.lift_m(look.lines[touch.line.rod], up_m, look.config.boat.units)


def _gap_evidence(look: Look, ahead: Ahead, touch: Touch) -> Evidence:
    assert touch.line.bottom is not None
    least = touch.line.bottom.least
    return {
        "value": least.value, "low": least.low, "high": least.high, "limit": TOUCH_M, "unit": "m",
        "in_s": touch.in_s, "age_s": ahead.age_s, "source": f"forecast: {ahead.told.manoeuvre.about}",
        "cause": ahead.told.cause or touch.line.bottom.cause,
    }  # fmt: skip


def slowed(look: Look, rule: Rule) -> Iterator[Finding]:
    """With a fish on: what slowing down for it puts on the bottom, with the speed that would not."""
    ahead = ahead_of(look)
    if ahead is None or ahead.told.kind != "fish":
        return
    found = touches(look, ahead, rule.name)
    if not found:
        return
    first, rod, units = found[0], found[0].line.rod, look.config.boat.units
    lift, hold = _lift(look, first), _hold(look, ahead, first)
    shown = [f"lift {rod} {words.shown(lift, 'm', units)}"] if lift is not None else []
    shown += [f"hold {words.shown(hold, 'm/s', units)}"] if hold is not None else []
    heard = "lift" + (
        f" or hold {words.shown(hold, 'm/s', units).partition(' ')[0]}" if hold is not None else ""
    )
    seconds = f"{words.when(first.in_s):.0f}"
    now = first.in_s <= 0.0
    text = f"{rod} on the bottom {'now' if now else f'in {seconds} s'}: {' or '.join(shown) or 'clear it'}"
    order = ", ".join(one.line.rod for one in found)
    yield rule.finding(
        f"{text}; clear first: {order}" if len(found) > 1 else text,
        tuple(one.line.rod for one in found),
        f"{rule.name} {rod}",
        said=f"{rod} {'on bottom now' if now else f'bottom {seconds} seconds'}, {heard}",
        priority=ahead.priority("alarm" if first.in_s <= ACT_S else "warning"),
        evidence=_gap_evidence(look, ahead, first),
    )


def _hold(look: Look, ahead: Ahead, touch: Touch) -> float | None:
    """A speed that keeps the line off the bottom it would touch."""
    now_mps, then_mps = look.boat.stw_mps.value, ahead.told.manoeuvre.speed_mps
    if now_mps is None or then_mps is None:
        return None
    depths = touch.line.depth_m[:, 0]
    deepest = float(np.nanmax(depths))
    most_m = deepest + touch.least_m - look.config.alerts.off_bottom_m
    return words.hold_mps(now_mps, then_mps, float(depths[0]), deepest, most_m, look.config.boat.units)


def cross(look: Look, rule: Rule) -> Iterator[Finding]:
    """Two lines that will come so near that they catch: one situation, told by the pair that does so first."""
    ahead = ahead_of(look)
    if ahead is None:
        return
    found = [pair for pair in ahead.told.pairs if _crosses(look, ahead, pair, rule.name, CROSS_M)]
    near = not found
    found = found or [pair for pair in ahead.told.pairs if _crosses(look, ahead, pair, rule.name, NEAR_M)]
    if not found:
        return
    first = min(found, key=lambda pair: (_pair_key(rule.name, pair) not in look.held, pair.gap.at_s))
    one, other = first.rods
    in_s = max(first.gap.at_s - ahead.age_s, 0.0)
    seconds = f"{words.when(in_s):.0f}"
    turn = ahead.told.kind == "turn"
    does = f"pass within {look.shown(NEAR_M, 'm')}" if near else "cross"
    text = f"{one} and {other} {does} in {seconds} s, {look.shown(first.place_m[2], 'm')} down"
    text += ": easing the turn may keep them apart" if turn else ": look at both lines"
    if others := [" and ".join(pair.rods) for pair in found if pair is not first]:
        text += f"; also {', '.join(others)}"
    finding = rule.finding(
        text,
        first.rods,
        _pair_key(rule.name, first),
        said=f"{one} and {other} {'near' if near else 'cross'} in {seconds} seconds",
        priority="caution" if near else ahead.priority("alarm" if in_s <= ACT_S else "warning"),
        evidence={
            "value": first.gap.value, "low": first.gap.low, "high": first.gap.high, "limit": CROSS_M, "unit": "m",
            "in_s": in_s, "age_s": ahead.age_s, "source": f"forecast: {ahead.told.manoeuvre.about}",
            "cause": ahead.told.cause,
        },
    )  # fmt: skip
    yield replace(finding, silent=UNSURE) if near else finding


def _pair_key(name: str, pair: PairAhead) -> str:
    return f"{name} {pair.rods[0]} {pair.rods[1]}"


def _crosses(look: Look, ahead: Ahead, pair: PairAhead, name: str, limit_m: float) -> bool:
    """Whether both fish and will come so near."""
    held = _pair_key(name, pair) in look.held
    firm = all(ahead.told.lines[rod].firm for rod in pair.rods)
    return firm and crosses(ahead, pair, limit_m + FOOT_M * (held and limit_m == NEAR_M), held)


def crosses(ahead: Ahead, pair: PairAhead, limit_m: float, held: bool = False) -> bool:
    """Whether two lines will come so near; of lines that are nearest now the forecast says nothing new."""
    gap = ahead.least(np.array(pair.gap.value), np.array(pair.gap.high))
    in_s = pair.gap.at_s - ahead.age_s
    return bool(gap < limit_m) and in_s > 0.0 and ahead.goes_on(in_s, held)
