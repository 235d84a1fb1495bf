"""What if: a manoeuvre as it is typed or tapped, checked, as data. Pure.

{"side": "port", "degrees": 90, "rate": 2}     rate in degrees a second, or "radius" such as "120ft"
{"side": "straight", "speed": "1.8mph"}        another speed; with a turn as well
{"side": "fish"}                               slow down for a fish, with way on
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from assistant.ahead.following import Question, stop_for_fish
from assistant.ahead.forecast import AFTER_S, MOST_S
from assistant.ahead.manoeuvre import STRAIGHT_ON, planned, slowed
from assistant.units import LENGTHS_M, SPEEDS_MPS, split_quantity

SIDES = {"port": -1.0, "starboard": 1.0}
WORDS = (*SIDES, "straight", "fish")
MOST_DEG = 360.0
RATES_DEG_S = (0.1, 20.0)
USUAL_DEG_S = 2.0
RADII_M = (3.0, 1000.0)
SPEED_RANGE_MPS = (0.2, 4.0)
DEG = math.pi / 180.0


class Unclear(ValueError):
    """What was asked makes no sense; says what is wanted."""


def question(
    side: str,
    degrees: float | None = None,
    rate_deg_s: float | None = None,
    radius_m: float | None = None,
    speed_mps: float | None = None,
    *,
    now_mps: float,
    fish_speed_mps: float,
) -> Question:
    """The manoeuvre that was asked for.

    Args:
        side: one of WORDS; radius_m: in place of a rate; speed_mps: through the water, to change to.
        now_mps: speed through the water now; fish_speed_mps: to stop for a fish at, if no other speed is given.
    Raises:
        Unclear: no such side, a number out of range, or one too many.
    """
    if side not in WORDS:
        raise Unclear(f"{side[:60]!r}: want one of {', '.join(WORDS)}")
    if speed_mps is not None:
        _within("speed", speed_mps, SPEED_RANGE_MPS, "m/s")
    if side not in SIDES:
        return _straight(side, degrees, rate_deg_s, radius_m, speed_mps, fish_speed_mps)
    if degrees is None:
        raise Unclear(f"degrees: want a number above 0, up to {MOST_DEG:g}")
    _within("degrees", degrees, (1.0, MOST_DEG), "")
    rate = _rate(rate_deg_s, radius_m, now_mps if speed_mps is None else speed_mps)
    if degrees / rate + AFTER_S > MOST_S:
        raise Unclear(
            f"{degrees:g} degrees would take {degrees / rate:.0f} s: want {MOST_S - AFTER_S:.0f} s at most"
        )
    about = f"{degrees:g}° to {side}, {rate:.2g}°/s"
    return Question("turn", planned(SIDES[side] * degrees * DEG, rate * DEG, speed_mps, about))


def _straight(
    side: str,
    degrees: float | None,
    rate_deg_s: float | None,
    radius_m: float | None,
    speed_mps: float | None,
    fish_speed_mps: float,
) -> Question:
    """Straight on: as it goes, at another speed, or stopping for a fish."""
    given = {"degrees": degrees, "rate": rate_deg_s, "radius": radius_m}
    odd = [name for name, value in given.items() if value is not None]
    if odd:
        raise Unclear(f"{', '.join(odd)}: want none of it with {side}")
    if side == "fish":
        return Question("fish", stop_for_fish(fish_speed_mps if speed_mps is None else speed_mps))
    if speed_mps is None:
        return Question("straight", STRAIGHT_ON)
    return Question("speed", slowed(speed_mps, "straight on at another speed"))


def _rate(rate_deg_s: float | None, radius_m: float | None, speed_mps: float) -> float:
    """Degrees a second, from either."""
    if radius_m is None:
        rate = USUAL_DEG_S if rate_deg_s is None else rate_deg_s
        _within("rate", rate, RATES_DEG_S, "degrees a second")
        return rate
    if rate_deg_s is not None:
        raise Unclear("radius: want none of it with a rate")
    _within("radius", radius_m, RADII_M, "m")
    rate = speed_mps / radius_m / DEG
    if not RATES_DEG_S[0] <= rate <= RATES_DEG_S[1]:
        raise Unclear(f"radius {radius_m:.0f} m: at {speed_mps:.2f} m/s that is {rate:.2f} degrees a second")
    return rate


def _within(name: str, value: float, limits: tuple[float, float], unit: str) -> None:
    if not limits[0] <= value <= limits[1]:
        raise Unclear(f"{name} {value:g}: want {limits[0]:g} to {limits[1]:g} {unit}".rstrip())


def of_query(asked: Mapping[str, str], now_mps: float, fish_speed_mps: float) -> Question:
    """The manoeuvre that a query asks for, by names as above; a radius and a speed are texts with their units.

    Raises:
        Unclear: anything wrong with it.
    """
    if odd := set(asked) - {"side", "degrees", "rate", "radius", "speed"}:
        raise Unclear(f"{sorted(odd)[0][:60]!r}: want side, degrees, rate, radius, speed")
    return question(
        asked.get("side", ""),
        _number(asked, "degrees"),
        _number(asked, "rate"),
        _quantity(asked, "radius", LENGTHS_M),
        _quantity(asked, "speed", SPEEDS_MPS),
        now_mps=now_mps,
        fish_speed_mps=fish_speed_mps,
    )


def _number(asked: Mapping[str, str], name: str) -> float | None:
    """A plain number of a query; None where it is not given."""
    text = asked.get(name, "")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise Unclear(f"{name} {text[:60]!r}: want a number") from None


def _quantity(asked: Mapping[str, str], name: str, units: Mapping[str, float]) -> float | None:
    """A number with its unit, in SI; None where it is not given."""
    text = asked.get(name, "")
    if not text:
        return None
    try:
        number, unit = split_quantity(text[:60], units)
    except ValueError:
        raise Unclear(f"{name} {text[:60]!r}: want a number with its unit ({', '.join(units)})") from None
    return number * units[unit]
