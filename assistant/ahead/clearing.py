"""In which order lines come in and go out, one rod at a time, from where they are and the wind. Pure.

A line that is wound in comes past every line that hangs nearer to the boat, and one that hangs nearer past none behind
it: so the nearest comes in first, and the farthest goes out first. Of two about as far off the one downwind, which the
boat drifts onto, comes in first. With a fish on, the lines nearest to the fish's come in first. What hangs on another
line comes in before it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from assistant.ahead.pairs import closest, first_nodes
from assistant.configured import Config, Rod
from assistant.messages import LineState, RodState
from assistant.units import wrap_pi, wrap_tau

ALIKE_M = 5.0  # judgement: lines this little apart in reach are about as far off
NEAR_M = 3.0  # likewise of their distance to a fish's line
WIND_MPS = 0.7
HANDLE_S = 45.0
"""Judgement: line wound in by hand, and what unclipping, landing and stowing takes; eight lines then take the 10-15 min
that common practice gives (no source).
"""
OUT: tuple[RodState, ...] = ("fishing", "going out", "coming in", "unknown")


@dataclass(frozen=True, slots=True)
class Step:
    """One rod's turn: how long it takes [s], and when it is done from the beginning on [s]."""

    rod: str
    takes_s: float
    done_s: float


@dataclass(frozen=True, slots=True)
class Clearing:
    """The order, the heading to hold [rad] and why; None: as it is."""

    steps: tuple[Step, ...]
    heading_rad: float | None
    why: str

    @property
    def lasts_s(self) -> float:
        """Until the last one is done [s]."""
        return self.steps[-1].done_s if self.steps else 0.0


@dataclass(frozen=True, slots=True)
class Weather:
    """Heading now [rad], where the wind comes from [rad], both if known, and the headings that can be run."""

    heading_rad: float | None = None
    wind_from_rad: float | None = None
    headings_rad: tuple[tuple[float, float], ...] = ()


def heading_to_hold(weather: Weather) -> tuple[float | None, str]:
    """Into the wind, or as near to it as can be run; without a word on the wind as it is."""
    wanted, why = weather.wind_from_rad, "into the wind: lines trail straight and the boat drifts onto none"
    if wanted is None:
        return weather.heading_rad, "straight on: nobody said where the wind is"
    if not weather.headings_rad or any(
        wrap_tau(wanted - a) <= wrap_tau(b - a) for a, b in weather.headings_rad
    ):
        return wanted, why
    ends = [end for pair in weather.headings_rad for end in pair]
    return min(ends, key=lambda end: abs(wrap_pi(end - wanted))), "the nearest to the wind that can be run"


def clearing(
    config: Config, lines: Mapping[str, LineState], weather: Weather = Weather(), fish: str | None = None
) -> Clearing:
    """The order in which lines come in.

    Args:
        lines: as they are; those aboard are left out. fish: the rod with a fish on, which stays out.
    Raises:
        KeyError: no such rod.
    """
    heading, why = heading_to_hold(weather)
    out = [rod for rod in config.rods if lines[rod.name].rod_state in OUT and rod.name != fish]
    near = _near_fish(out, lines, fish)
    wind = _downwind(weather.wind_from_rad, heading)
    order = sorted(
        out, key=lambda rod: (near.get(rod.name, 0), _band(rod, lines), -wind * _side(rod), rod.name)
    )
    return Clearing(_timed(_hung_first(order), lines), heading, why)


def setting_out(config: Config, lines: Mapping[str, LineState], weather: Weather = Weather()) -> Clearing:
    """The order in which lines go out: as they would come in, the last one first; rods aboard count as rigged."""
    heading, why = heading_to_hold(weather)
    wind = _downwind(weather.wind_from_rad, heading)
    order = sorted(config.rods, key=lambda rod: (_band(rod, lines), -wind * _side(rod), rod.name))
    return Clearing(_timed(_hung_first(order)[::-1], lines), heading, why)


def _band(rod: Rod, lines: Mapping[str, LineState]) -> int:
    """How far astern its lure is, in steps of ALIKE_M; where that is not known, by its line out."""
    astern = lines[rod.name].setback_m.value
    return round((rod.line_out_m if astern is None else astern) / ALIKE_M)


def _side(rod: Rod) -> float:
    return {"port": -1.0, "centre": 0.0, "starboard": 1.0}[rod.side]


def _downwind(wind_from_rad: float | None, heading_rad: float | None) -> float:
    """+1 where the boat drifts to starboard, -1 to port, 0 where neither."""
    if wind_from_rad is None or heading_rad is None:
        return 0.0
    across = -math.sin(wrap_pi(wind_from_rad - heading_rad))
    return 0.0 if abs(across) < 0.2 else math.copysign(1.0, across)


def _near_fish(rods: Sequence[Rod], lines: Mapping[str, LineState], fish: str | None) -> dict[str, int]:
    """How near each line comes to the fish's, in steps of NEAR_M."""
    if fish is None:
        return {}
    shapes = [np.array(lines[name].shape_m) for name in (fish, *(rod.name for rod in rods))]
    if (
        any(shape.shape != shapes[0].shape or not np.isfinite(shape).all() for shape in shapes)
        or shapes[0].ndim != 2
    ):
        return {}
    points = np.stack(shapes)[None]
    found = closest(points, first_nodes(points[0]), np.zeros((len(shapes), len(shapes)), np.bool_))
    return {rod.name: round(float(found.by_pair_m[0, 1 + k]) / NEAR_M) for k, rod in enumerate(rods)}


def _hung_first(order: Sequence[Rod]) -> list[Rod]:
    """The same with what hangs on a line before that line."""
    out: list[Rod] = []
    for rod in order:
        hung = [one for one in order if one.attached is not None and one.attached.rod == rod.name]
        out += [one for one in (*hung, rod) if one not in out]
    return out


def _timed(order: Sequence[Rod], lines: Mapping[str, LineState]) -> tuple[Step, ...]:
    steps, done_s = [], 0.0
    for rod in order:
        line = lines[rod.name]
        lengths = (line.depth_m.value, line.setback_m.value, line.swing_m.value)
        known = [length for length in lengths if length is not None]
        length = math.hypot(*known) if len(known) == len(lengths) else rod.line_out_m
        takes_s = HANDLE_S + length / WIND_MPS
        done_s += takes_s
        steps.append(Step(rod.name, takes_s, done_s))
    return tuple(steps)
