"""What is offered, in words: a turn that would do, what it keeps, what is not known of it. Pure; never an order."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from assistant.ahead import words
from assistant.ahead.headline import CROSS_M
from assistant.ahead.outlook import Forecast, LineAhead, PairAhead, Worst

LOOK_AROUND = "look around first"


@dataclass(frozen=True, slots=True)
class Option:
    """One turn that would do."""

    side: str  # "port", "starboard"
    angle_rad: float  # >= 0
    rate_radps: float
    radius_m: float
    speed_mps: float | None  # through the water, to change to; None: as it is
    text: str
    unknown: tuple[str, ...] = ()  # rods of whose bottom nothing is promised


@dataclass(frozen=True, slots=True)
class Advice:
    """At most one option each side; lift: what to wind in where no steering does; why: that nothing is offered."""

    options: tuple[Option, ...] = ()
    lift: tuple[str, ...] = ()
    why: str = ""

    def lines(self) -> tuple[str, ...]:
        """In words, one a line."""
        if self.options:
            return (*(option.text for option in self.options), f"{LOOK_AROUND[:1].upper()}{LOOK_AROUND[1:]}.")
        return (*self.lift, *([f"No steering is offered: {self.why}."] if self.why else []))


def offered(turn: Option, told: Forecast, units: str, bottom: bool, doubt: str) -> Option:
    """The turn with what it would keep.

    Args:
        turn: its text says how to turn; bottom: whether any is to be kept off; doubt: why none may be spoken of.
    """
    unknown = _unknown(told, doubt) if bottom else {}
    margins = ", ".join(_margins(told, units, bottom, unknown))
    text = f"{turn.text} would keep {margins}{_unsaid(unknown)}."
    return replace(turn, text=text, unknown=tuple(unknown))


def _unknown(told: Forecast, doubt: str) -> dict[str, str]:
    """Rods of whose bottom nothing may be promised, and why."""
    found = {}
    for rod, line in told.lines.items():
        if line.bottom is None:
            found[rod] = doubt or "no soundings"
        elif doubt or line.bottom.until_s < math.inf:
            found[rod] = doubt or line.bottom.cause
    return found


def _unsaid(unknown: Mapping[str, str]) -> str:
    """What the offer says nothing of, in words."""
    if not unknown:
        return ""
    why = "; ".join(dict.fromkeys(unknown.values()))
    rods = list(unknown)
    named = " and ".join([", ".join(rods[:-1]), rods[-1]] if len(rods) > 1 else rods)
    return f"; whether {named} keep{'s' if len(rods) == 1 else ''} off the bottom is not known: {why}"


def _margins(told: Forecast, units: str, bottom: bool, unknown: Collection[str]) -> Iterator[str]:
    """What is nearest to going wrong, with its band."""
    over = [
        line
        for line in told.lines.values()
        if line.bottom is not None and line.bottom.known and line.rod not in unknown
    ]
    if bottom and over:
        line = min(over, key=_gap)
        assert line.bottom is not None
        yield f"{line.rod} {_band(line.bottom.least, 'm', units)} off the bottom"
    if told.pairs:
        pair = min(told.pairs, key=lambda one: (not may_cross(one), one.gap.value))
        crossing = " (they may cross)" if may_cross(pair) else ""
        yield f"{' and '.join(pair.rods)} {_band(pair.gap, 'm', units)} apart{crossing}"
    slowest = min(told.lines.values(), key=lambda line: line.slowest.value)
    yield f"every lure at {_band(slowest.slowest, 'm/s', units)} or more"


def may_cross(pair: PairAhead) -> bool:
    """Whether two lines come so near that they catch each other more often than once in ten times."""
    return pair.gap.at_s > 0.0 and low_of(pair.gap) < CROSS_M


def _gap(line: LineAhead) -> float:
    assert line.bottom is not None
    return low_of(line.bottom.least)


def _band(worst: Worst, unit: str, units: str) -> str:
    if math.isnan(worst.low) or math.isnan(worst.high):
        return words.shown(worst.value, unit, units)
    low, high = words.shown(worst.low, unit, units).partition(" ")[0], words.shown(worst.high, unit, units)
    return high if low == high.partition(" ")[0] else f"{low}-{high}"


def low_of(worst: Worst) -> float:
    """The low end of its band, its value where there is none."""
    return worst.value if math.isnan(worst.low) else worst.low
