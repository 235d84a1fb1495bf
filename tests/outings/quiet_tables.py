"""Tables of minutes for the quiet-spell judge: a plain day to which a test adds what it is about."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from assistant.messages import RodState
from assistant.outings.effort import Minute, Observed, RodMinute, Strike

RODS = ("P1", "P2", "R1", "C", "W", "R2", "S2", "S1")  # port to starboard, the demo day's
DEGREE = math.pi / 180.0


def measured(
    value: float, sigma: float, where: str = "a sensor", toward_rad: float | None = None
) -> Observed:
    """A measured value."""
    return Observed(value, sigma, "measured", where, toward_rad)


def entered(value: float, where: str, sigma: float = 0.4) -> Observed:
    """What the crew said."""
    return Observed(value, sigma, "entered", where)


def day(
    minutes: int,
    boat: Callable[[int], Mapping[str, Observed]] = lambda m: {},
    rod: Callable[[int, str], Mapping[str, Observed]] = lambda m, r: {},
    state: Callable[[int, str], RodState] = lambda m, r: "fishing",
    rods: tuple[str, ...] = RODS,
) -> list[Minute]:
    """`minutes` rows, every line at its band and speed unless told otherwise."""
    return [
        Minute(60.0 * m, tuple(RodMinute(r, state(m, r), True, True, seen=rod(m, r)) for r in rods), boat(m))
        for m in range(minutes)
    ]


def strikes(*minutes: float, rods: tuple[str, ...] = RODS) -> list[Strike]:
    """One strike at each minute, going round the rods."""
    return [Strike(60.0 * m, rods[i % len(rods)]) for i, m in enumerate(minutes)]


def ripple(m: int, size: float) -> float:
    """A small variation without a trend, the same every time."""
    return size * math.sin(2.4 * m)


# The demo day, minutes from 06:10: eight strikes by 08:24, a pair within 40 s; 08:35 the turn to 030.
DEMO_STRIKES = strikes(12, 31, 44, 44.6, 73, 90, 117, 134)
DEMO_TURN = 145
DEMO_ENTRIES = 158  # 08:48


def clock(hours: int, minutes: int) -> float:
    """Seconds from 06:10."""
    return 60.0 * (60 * (hours - 6) + minutes - 10)


def demo_heading(m: int) -> float:
    """S-curves about 200, then about 030 [rad]."""
    return (200.0 if m < DEMO_TURN else 30.0) * DEGREE + ripple(m, 25.0 * DEGREE)


def demo_day(helpers: bool, minutes: int = 250) -> list[Minute]:
    """The demo day as its table of minutes; `helpers`: load cells on three rods, and two words at 08:48."""

    def boat(m: int) -> Mapping[str, Observed]:
        seen = {
            "heading_rad": measured(demo_heading(m), 3.0 * DEGREE, "compass"),
            "bottom_depth_m": measured(39.0 + ripple(m, 1.5), 0.3, "sounder"),
        }
        if helpers and m == DEMO_ENTRIES:
            seen["cable_lean_word"] = entered(-1.0, "page 08:48")
        return seen

    def rod(m: int, name: str) -> Mapping[str, Observed]:
        if not (helpers and name in ("P1", "S1", "S2")):
            return {}
        pull = (60.0 if m < DEMO_TURN + 3 else 38.0) + ripple(m, 3.0)
        seen = {"pull_n": measured(pull, 2.0, f"load cell {name}")}
        if m == DEMO_ENTRIES and name != "S2":
            seen["rod_bend"] = entered(-1.0, "page 08:48")
        return seen

    return day(minutes, boat, rod)
