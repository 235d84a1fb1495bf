"""Where a line will run, asked at the dock: steady tow at one speed, with the bands of the live lines. Pure.

The same draws as in ensemble.py, each as a steady shape of its own. Speed and line out are as asked; uncertain are the
coefficients, the counter, and the deep layer nobody sees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Config, Rod
from assistant.lines.chain import Towed, Water
from assistant.lines.conditions import Look
from assistant.lines.depth_curve import DepthCurve, depth_curve
from assistant.lines.draws import MEMBERS, weibull_quantiles
from assistant.lines.ensemble import EACH, Unknowns, unknowns
from assistant.lines.facts import CONTRADICTION, joint
from assistant.lines.gear import RodSetting, above_zero_m, has_planer, towed
from assistant.lines.kernel import current_at
from assistant.lines.limits import Suspects, suspects
from assistant.lines.reels import Curve
from assistant.lines.report import Worth, banded, dead_line, line_state
from assistant.lines.steady import NoSteadyShape, straight
from assistant.messages import LineState, Q

Array = NDArray[np.float64]

RELATIVE = 1e-7  # error per step of a steady integration
LEAST_MEMBERS = MEMBERS // 2  # fewer steady shapes than this make no band
CARD_PIECES = 96  # of a line, along which its card looks for a depth
SOURCE = "steady model"


@dataclass(frozen=True, slots=True)
class Dock:
    """A configuration with all it does not know, drawn once."""

    config: Config
    unknowns: Unknowns
    suspects: Suspects
    refused: str = ""  # what of the configuration is not used, in words

    def rod(self, k: int) -> Rod:
        """Rod number k."""
        return self.config.rods[k]

    def counter(self, k: int) -> Curve:
        """What the counter of rod number k means."""
        return self.unknowns.counter.curves[k]


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked of a rod: line out on its counter [m], dial (None: as rigged), speed [m/s], water."""

    line_out_m: float
    setting: float | str | None
    speed_mps: float
    water: Water


def at_dock(config: Config, seed: int = 0) -> Dock:
    """A configuration ready to be asked; the same seed draws the same.

    No heading is asked, so a configured deep layer may run any way: its drift is a part of what is uncertain.
    """
    sigma = math.hypot(config.boat.deep_layer_sigma_mps, config.boat.deep_layer_drift_mps / math.sqrt(2.0))
    config = replace(config, boat=replace(config.boat, deep_layer_drift_mps=0.0, deep_layer_sigma_mps=sigma))
    refused = "" if joint(config, seed).agrees() else CONTRADICTION
    return Dock(config, unknowns(config, seed), suspects(config, seed), refused)


def line_at(dock: Dock, k: int, ask: Ask) -> LineState:
    """Rod number k as asked: every number with its band, what limits it, and what is odd."""
    rod = dock.rod(k)
    try:
        seen = _member(dock, k, ask, 0)
    except NoSteadyShape as error:
        return dead_line(0.0, rod.name, "fishing", str(error))
    table = np.array([row for m in range(1, EACH) if (row := _member_or_none(dock, k, ask, m)) is not None])
    if len(table) < LEAST_MEMBERS:
        return dead_line(
            0.0, rod.name, "fishing", f"{EACH - 1 - len(table)} of {EACH - 1} draws have no shape"
        )
    low, high = weibull_quantiles(table.T)
    numbers = banded(seen[None, :], (low - seen)[None, :], (high - seen)[None, :])[0]
    limits: dict[str, str] = {}
    if len(table) == MEMBERS:
        limits = dock.suspects.of_rod(k).worst(table[None])[0]
    look = Look(
        folding=False,
        tripped=False,
        planer=has_planer(dock.config, rod),
        speed_mps=ask.speed_mps,
        lure_speed_mps=float(seen[4]),
        line_out_m=ask.line_out_m,
        unconverged=False,
    )
    worth = Worth("ok", 0.0, SOURCE, "as asked")
    return line_state(0.0, rod, "fishing", worth, look, numbers, (), limits)


def _member_or_none(dock: Dock, k: int, ask: Ask, member: int) -> Array | None:
    try:
        return _member(dock, k, ask, member)
    except NoSteadyShape:
        return None


def _member(dock: Dock, k: int, ask: Ask, member: int) -> Array:
    """(5,) one member as seen from the boat, ordered as LINE_QUANTITIES."""
    water = dock.unknowns.water(k * EACH + member, ask.water)
    chain = chain_of(dock, k, ask, member)
    north, east = 0.0, 0.0
    if dock.rod(k).attached is not None:
        north, east, down = _on_host(dock, k, ask, member, water)
        chain = replace(chain, tow_height_m=-down)
    shape = straight(chain, water, ask.speed_mps, relative=RELATIVE)
    end, pull = shape.points_m[0], float(shape.tension_n[-1])
    aft, out = _board(dock, k * EACH + member, pull)
    wn, we, _, _ = current_at(water.profile_array(), float(end[2]))
    lure = math.hypot(ask.speed_mps - wn, we)
    return np.array([end[2], east + end[1] + out, aft - north - end[0], pull, lure])


def chain_of(dock: Dock, k: int, ask: Ask, member: int = 0) -> Towed:
    """What is towed on rod number k as asked, by one member (0: nominal)."""
    out = dock.unknowns.counter.out_m(k * EACH + member, ask.line_out_m)
    now = RodSetting(out, ask.setting)
    return towed(dock.config, dock.rod(k), now, ask.water, dock.unknowns.draws[member])


def _board(dock: Dock, line: int, pull_n: float) -> tuple[float, float]:
    """How far aft and to starboard of the rod tip the line is towed from [m]."""
    points = dock.unknowns.points
    forward, starboard, _ = points.places_m[line] - points.rod_tips_m[line]
    sag = min(points.sag_m_per_n[line] * pull_n, points.sag_most_m[line])
    return float(sag - forward), float(starboard)


def _on_host(dock: Dock, k: int, ask: Ask, member: int, water: Water) -> tuple[float, float, float]:
    """North, east from its tow point, and depth [m] of the point of another rod's line from which this one hangs."""
    attached = dock.rod(k).attached
    assert attached is not None
    host = next(i for i, rod in enumerate(dock.config.rods) if rod.name == attached.rod)
    now = replace(ask, line_out_m=dock.rod(host).line_out_m, setting=None)
    line = chain_of(dock, host, now, member)
    cut, node = _cut(line, attached.above_m)
    point = straight(cut, water, ask.speed_mps, relative=RELATIVE).points_m[node]
    return float(point[0]), float(point[1]), float(point[2])


def _cut(line: Towed, above_m: float | None) -> tuple[Towed, int]:
    """A line with a joint so far above the end of its line out (None: half way up), and the joint's number."""
    first = len(line.segments) - len(line.shares)
    left = 0.5 * sum(s.length_m for s in line.segments[first:]) if above_m is None else above_m
    bodies = [*line.bodies, *[None] * (len(line.segments) - len(line.bodies))]
    for i in range(first, len(line.segments)):
        segment = line.segments[i]
        if left < segment.length_m:
            halves = (replace(segment, length_m=left), replace(segment, length_m=segment.length_m - left))
            segments = (*line.segments[:i], *halves, *line.segments[i + 1 :])
            return replace(line, segments=segments, bodies=(*bodies[: i + 1], None, *bodies[i + 1 :])), i + 1
        left -= segment.length_m
    return line, len(line.segments)


@dataclass(frozen=True, slots=True)
class CardRow:
    """A wanted depth [m], the number on the counter [m] that gives it, and the lure's depth there with its band."""

    wanted_m: float
    line_out_m: float
    depth_m: Q


@dataclass(frozen=True, slots=True)
class Card:
    """One rod's line-out card: rows by depth, and how far its line reaches (nominal) within the line out asked for.

    shallowest, deepest: (depth [m], line out on the counter [m]).
    rises: beyond the deepest place more line takes the lure no deeper.
    """

    rows: tuple[CardRow, ...]
    shallowest: tuple[float, float]
    deepest: tuple[float, float]
    rises: bool


def card(
    dock: Dock,
    k: int,
    ask: Ask,
    depths: Callable[[float], Sequence[float]],
    mark_m: float,
) -> Card:
    """The line-out card of rod number k, up to the line out asked for.

    Args:
        depths: the deepest reach [m] -> wanted depths [m], rising; mark_m: the counter's finest mark [m].
    Raises:
        NoSteadyShape: no line out has a steady shape.
        ValueError: the rod hangs on another rod's line.
    """
    rod = dock.rod(k)
    if rod.attached is not None:
        raise ValueError(
            f"{rod.name} hangs on the line of {rod.attached.rod}: that line's length sets its depth"
        )
    chain = chain_of(dock, k, ask)
    longest = sum(segment.length_m for segment in chain.segments[-len(chain.shares) :])
    curve = depth_curve(chain, ask.water, ask.speed_mps, CARD_PIECES).up_to(longest)
    deepest = int(curve.depth_m.argmax())
    rows = []
    for wanted in depths(float(curve.depth_m[deepest])):
        total = curve.least_line_m(wanted)
        if total is None:
            continue
        counter = round(_reading(dock, k, total) / mark_m) * mark_m
        rows.append(CardRow(wanted, counter, line_at(dock, k, replace(ask, line_out_m=counter)).depth_m))
    return Card(
        tuple(rows),
        _place(dock, k, curve, 0),
        _place(dock, k, curve, deepest),
        curve.surfaces or deepest < len(curve.depth_m) - 1,
    )


def _place(dock: Dock, k: int, curve: DepthCurve, j: int) -> tuple[float, float]:
    return float(curve.depth_m[j]), _reading(dock, k, float(curve.line_out_m[j]))


def _reading(dock: Dock, k: int, line_out_m: float) -> float:
    """What the counter shows [m] with so much line from the tow point [m]."""
    true_m = line_out_m - above_zero_m(dock.rod(k))
    return max(dock.counter(k).counter_m(true_m), 0.0)
