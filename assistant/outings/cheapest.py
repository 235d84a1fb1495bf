"""The cheapest single test of a quiet spell: what to do for a few minutes, and what should be seen if it was that.

What should be seen is physical wherever something physical was seen to differ: a quarter of an hour without a strike
proves nothing, a cable that leans back again does. Every number comes from a difference that was measured or entered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assistant.outings.causes import Difference, stands_for
from assistant.outings.quantities import CAUSES, QUANTITIES, SOMETHING_ELSE
from assistant.outings.quiet_words import CONCENTRATED, Units, bearing_deg, shown, value_words

LOOK_MIN, LOOK_SETTLES = 5.0, 0.15  # one line brought in and looked at: judgement


@dataclass(frozen=True, slots=True)
class Trial:
    """One test."""

    cause: str  # what it tests; "something else" when nothing known differs
    do: str
    expect: str
    minutes: float


def cheapest(
    found: Sequence[Difference],
    shares: Mapping[str, float],
    units: Units = "angler",
    deep: complex | None = None,
) -> Trial:
    """The test most likely to settle the matter for each minute it takes.

    Args:
        found: differences, largest first.
        shares: beliefs (causes.beliefs).
        deep: the deep current now [m/s], north + i east; None: not known well enough to steer by.
    """
    best, worth = LOOK, shares.get(SOMETHING_ELSE, 0.0) * LOOK_SETTLES / LOOK_MIN
    for name, cause in CAUSES.items():
        value = shares.get(name, 0.0) * cause.settles / cause.minutes
        if value > worth:
            best, worth = _trial(name, found, units, deep), value
    return best


LOOK = Trial(
    SOMETHING_ELSE,
    "bring in one line and look at it",
    "a clean lure, a sharp hook, the counter right",
    LOOK_MIN,
)


def _trial(name: str, found: Sequence[Difference], units: Units, deep: complex | None) -> Trial:
    """The test of one cause, in words, from its largest difference."""
    cause = CAUSES[name]
    difference = stands_for(found, name)
    assert difference is not None  # else it had no belief
    then = value_words(difference.quantity, difference.then, units)
    match name:
        case "lure speed":
            fill = _water(found, difference, units, deep)
        case "lure depth":
            fill = _deeper(difference, units)
        case "fouled lines":
            fill = difference.rod or "one line"
        case "turn side":
            fill = "starboard" if difference.then.real > difference.now.real else "port"
        case _:
            fill = then
    return Trial(name, cause.steer.format(fill), _expect(difference, units), cause.minutes)


def _water(found: Sequence[Difference], difference: Difference, units: Units, deep: complex | None) -> str:
    """How to give the lures their speed back: against a known deep current, the old heading, or the throttle."""
    minutes = f"for {CAUSES['lure speed'].minutes:.0f} min"
    heading = next((d for d in found if d.quantity == "heading_rad"), None)
    slower = _slower(difference)
    if deep is not None and slower:
        return f"hold {bearing_deg(-deep):03d} {minutes}"
    if heading and heading.differs and abs(heading.then) > CONCENTRATED:
        return f"hold {bearing_deg(heading.then):03d} {minutes}"
    way = "faster" if slower else "slower"
    if difference.quantity == "lure_speed_mps":
        return f"run {shown(abs(difference.now - difference.then), 'm/s', units, True)} {way} {minutes}"
    return f"run a little {way} {minutes}"


def _slower(difference: Difference) -> bool:
    """Whether the lures lost speed: all that shows it falls with it, and only a current has no such sign."""
    return difference.quantity == "deep_current" or difference.now.real < difference.then.real


def _deeper(difference: Difference, units: Units) -> str:
    """By how much to move the lures back to where they were struck."""
    change = (difference.then - difference.now).real
    return f"{shown(abs(change), 'm', units, True)} {'deeper' if change > 0.0 else 'shallower'}"


def _expect(difference: Difference, units: Units) -> str:
    """What should be seen if the test undoes the difference."""
    change = (difference.then - difference.now).real
    rod = f" on {difference.rod}" if difference.rod else ""
    match difference.quantity:
        case "cable_lean_rad":
            amount = f"{abs(math.degrees(change)):.0f} degrees"
            return f"cables should lean back {amount} {'more' if change > 0.0 else 'less'}"
        case "touch_m":
            return f"{difference.rod or 'the line'} should be clear of the bottom where it touched"
        case "rod_bend" | "cable_lean_word":
            return f"{QUANTITIES[difference.quantity].words}{rod} should be as usual again"
        case "fouling_min":
            return "weed or fleas on the line, or none"
        case _:
            then = value_words(difference.quantity, difference.then, units)
            return f"{QUANTITIES[difference.quantity].words}{rod} back at {then}"
