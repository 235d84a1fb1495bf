"""Steering as the answer: which turn would keep every line off the bottom and off the others. Pure; never an order.

Manoeuvres are tried in the model, the largest rate first, one side and then the other, then with more speed; the first
that keeps what is wanted is offered with its margin. Nothing is offered while speed or heading is in doubt, outside the
headings the captain said can be run, or with less than NOTICE_S left; then it is which rod to lift. A line's bottom is
spoken for only where it is known all the way, or where the line is far above all that was sounded around; else what is
offered is about the other lines and the lures, and says so. What is known of the bottom counts against a turn always.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from assistant.ahead import words
from assistant.ahead.manoeuvre import Manoeuvre, planned
from assistant.ahead.offers import Advice, Option, low_of, may_cross, offered
from assistant.ahead.outlook import Forecast
from assistant.configured import AlertLimits
from assistant.messages import BoatState, Estimate, LineState
from assistant.units import TAU, wrap_tau

NOTICE_S = 30.0
RATES_RADPS = tuple(math.radians(rate) for rate in (3.0, 2.0, 1.5, 1.0, 0.7, 0.5, 0.35))
FASTER = (1.15, 1.3)  # of the speed now; tried with the SLOWEST rates only
SLOWEST = 3
MOST_S = 600.0  # judgement: no turn that takes longer is offered
HANGS_MPS = 0.3  # judgement: without a wish of the captain's, the least a lure needs

Forecaster = Callable[[Manoeuvre], Forecast]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The turn that is wanted [rad, + to starboard; rad/s], heading now [rad], speed now [m/s], what is to be kept.

    heading_rad None: not said (at the dock); then headings that can be run are not looked at.
    """

    angle_rad: float
    rate_radps: float
    heading_rad: float | None
    speed_mps: float
    limits: AlertLimits
    units: str = "angler"


class Doubt(NamedTuple):
    """Why nothing may be offered; why nothing may be said of the bottom. "": nothing stands against it."""

    all: str = ""
    bottom: str = ""


NO_DOUBT = Doubt()


def doubt_of(boat: BoatState) -> Doubt:
    """What stands against advice now: speed and heading against any, depth and position against the bottom's."""
    return Doubt(
        _not_ok(boat, (("stw_mps", "speed"), ("heading_rad", "heading"))),
        _not_ok(boat, (("water_depth_m", "depth"), ("lat_deg", "position"))),
    )


def _not_ok(boat: BoatState, named: tuple[tuple[str, str], ...]) -> str:
    for name, what in named:
        estimate: Estimate = getattr(boat, name)
        if estimate.state != "ok":
            return f"{what} {estimate.state}{f' ({estimate.cause})' if estimate.cause else ''}"
    return ""


def advise(
    wanted: Wanted,
    look: Forecaster,
    lines: Mapping[str, LineState],
    now: Forecast | None = None,
    doubt: Doubt = NO_DOUBT,
    bottom: bool = True,
) -> Advice:
    """What would keep every line where it should be through the turn that is wanted.

    Args:
        look: the forecast of a manoeuvre from the lines as they are; lines: as they are.
        now: of what the boat does now, None at the dock.
        bottom: False where none is to be kept off (at the dock, none typed).
    """
    if doubt.all:
        return Advice(why=doubt.all)
    asked = look(planned(wanted.angle_rad, wanted.rate_radps))
    notice_s = math.inf if now is None else min(_trouble(wanted, now, bottom), default=math.inf)
    if notice_s < NOTICE_S:
        why = f"less than {NOTICE_S:.0f} s are left"
        return Advice(lift=_lifts(wanted, now or asked, lines, doubt), why=why)
    sides = _sides(wanted)
    found = (_best(wanted, side, look, bottom, doubt.bottom) for side in sides)
    options = tuple(option for option in found if option is not None)
    if options:
        return Advice(options)
    shut = not any(_open(wanted, side) for side in sides)
    why = "no turn passes only headings that can be run" if shut else "none keeps every line clear"
    why += f", {doubt.bottom}" if doubt.bottom and not shut else ""
    return Advice(lift=_lifts(wanted, asked, lines, doubt), why=why)


def _sides(wanted: Wanted) -> tuple[float, float]:
    """The angles that lead to the same heading, the one asked for first."""
    angle = wanted.angle_rad
    return angle, angle - math.copysign(TAU, angle)


def _open(wanted: Wanted, angle_rad: float) -> bool:
    """Whether every heading that a turn passes may be run, as far as the captain has said."""
    if not wanted.limits.headings_rad or wanted.heading_rad is None:
        return True
    steps = max(math.ceil(abs(angle_rad) / math.radians(5.0)), 1)
    passed = [wrap_tau(wanted.heading_rad + angle_rad * k / steps) for k in range(1, steps + 1)]
    return all(any(wrap_tau(h - a) <= wrap_tau(b - a) for a, b in wanted.limits.headings_rad) for h in passed)


def _best(
    wanted: Wanted, angle_rad: float, look: Forecaster, bottom: bool, bottom_doubt: str
) -> Option | None:
    """The largest rate to that side at the speed now, or with as little more as does.

    Where lines may cross at any of them, it is the first at which they do not if all is as expected.
    """
    if not _open(wanted, angle_rad):
        return None
    rates = [wanted.rate_radps, *(rate for rate in RATES_RADPS if rate < wanted.rate_radps)]
    rates = [rate for rate in rates if abs(angle_rad) / rate <= MOST_S]
    tries: list[tuple[float, float | None]] = [(rate, None) for rate in rates]
    tries += [(rate, faster * wanted.speed_mps) for faster in FASTER for rate in rates[-SLOWEST:]]
    second: Option | None = None
    for rate, speed in tries:
        told = look(planned(angle_rad, rate, speed))
        if next(_trouble(wanted, told, bottom), None) is None:
            turn = _option(wanted, angle_rad, rate, speed)
            option = offered(turn, told, wanted.units, bottom, bottom_doubt)
            if not any(may_cross(pair) for pair in told.pairs):
                return option
            second = second or option
    return second


def _trouble(wanted: Wanted, told: Forecast, bottom: bool) -> Iterator[float]:
    """When each thing that is not kept goes wrong [s]; lines nearer now than wanted need only not come nearer."""
    limits = wanted.limits
    slow = HANGS_MPS if limits.lure_slow_mps is None else limits.lure_slow_mps
    for line in told.lines.values():
        if bottom and line.bottom is not None and low_of(line.bottom.least) < 0.0:
            yield line.bottom.least.at_s
        if bottom and line.bottom is not None and line.bottom.least.value < limits.off_bottom_m:
            yield line.bottom.least.at_s
        if line.slowest.value < min(slow, float(line.lure_speed_mps[0, 0])):
            yield line.slowest.at_s
    for pair in told.pairs:
        if pair.gap.value < limits.apart_m and pair.gap.at_s > 0.0:
            yield pair.gap.at_s


def _option(wanted: Wanted, angle_rad: float, rate: float, speed: float | None) -> Option:
    """A turn in words, without what it would keep."""
    units = wanted.units
    side = "port" if angle_rad < 0.0 else "starboard"
    radius = (speed or wanted.speed_mps) / rate
    at = f" and {words.shown(speed, 'm/s', units)}" if speed is not None else ""
    degrees = f"{math.degrees(abs(angle_rad)):.0f} degrees to {side} at {math.degrees(rate):g} deg/s"
    how = f"{degrees} (radius {words.shown(radius, 'm', units)}){at}"
    return Option(side, abs(angle_rad), rate, radius, speed, how)


def _lifts(wanted: Wanted, asked: Forecast, lines: Mapping[str, LineState], doubt: Doubt) -> tuple[str, ...]:
    """Which rods to lift, by how much and by when, the first first; none over a bottom in doubt."""
    if doubt.bottom:
        return ()
    found = []
    for name, line in asked.lines.items():
        if (
            line.bottom is None
            or not line.bottom.least.value < wanted.limits.off_bottom_m
            or name not in lines
        ):
            continue
        up_m = wanted.limits.off_bottom_m - line.bottom.least.value
        lift = words.lift_m(lines[name], up_m, wanted.units)
        gaps = line.bottom.gap_m[:, 0]
        under = np.flatnonzero(gaps < wanted.limits.off_bottom_m)
        at_s = float(asked.times_s[int(under[0])]) if len(under) else line.bottom.least.at_s
        if lift is not None:
            within = f"within {words.when(at_s):.0f} s" if at_s > 0.0 else "now"
            found.append((at_s, f"Lift {name} {words.shown(lift, 'm', wanted.units)} {within}."))
    return tuple(text for _, text in sorted(found))
