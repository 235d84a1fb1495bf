"""From what is tied on (config) to what is towed (chain): rigs, body laws by kind, draws of the coefficients.

Rigs run from the reel to the hook; a chain runs from the free end up. A body sits at the lower end of the line part
before it. Adding a line type or a body of a known kind is a TOML file; adding a kind of body is one function and one
row of BODY_LAWS.

The counter counts the first line part and the counted parts right below it (a top shot, lead-core, copper below a
backing). Those go out first: the first part is what is left of the line out, and once it is wound up the next one is.
A planer that slides is, once tripped, an edge-on plate at the next body down the line, from the instant it trips.
Water fleas are taken as as heavy as water: they thicken a line and leave its weight in water as it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.configured import BodyType, Coefficient, Config, LineType, RigPart, Rod
from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.groups import SHORTEST_M
from assistant.lines.refusals import dial_label

Array = NDArray[np.float64]
Draw = Callable[[str, str, Coefficient], float]
"""(name of the type, name of the coefficient, the coefficient) -> the value to use."""

DEG_RAD = math.pi / 180.0
SIDE_SIGN: Mapping[str, float] = {"port": -1.0, "centre": 1.0, "starboard": 1.0}


def nominal(_type: str, _name: str, coefficient: Coefficient) -> float:
    """The draw that takes every coefficient at its value."""
    return coefficient.value


@dataclass(frozen=True, slots=True)
class RodSetting:
    """What is set on a rod now: line out on the counter [m], dial setting (None: as rigged), tripped or not, and how
    long ago water fleas were wiped off the line [h].
    """

    line_out_m: float
    setting: float | str | None = None
    tripped: bool = False
    fouled_h: float = 0.0


Values = Mapping[str, float]


def planer(c: Values, roll_rad: float, side: float, tripped: bool, water: Water) -> Body:
    """Diving planer: lift rolled toward its side; tripped: no lift, edge-on drag.

    Source: line-model equations, flat plate at incidence (Pelletier & Mueller), see configs/bodies/.
    """
    area = c["plate_area_m2"]
    lift = 0.0 if tripped else area * c["lift_coefficient"]
    drag = area * c["tripped_drag_coefficient"] if tripped else lift / c["lift_to_drag"]
    return Body(
        wet_weight_n=c["wet_mass_kg"] * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
        drag_area_m2=drag,
        down_area_m2=lift * np.cos(roll_rad),
        side_area_m2=side * lift * np.sin(roll_rad),
    )


def sphere(c: Values, _roll_rad: float, _side: float, _tripped: bool, water: Water) -> Body:
    """Ball or round weight: size from mass and density; added mass half of the displaced water (Lamb 1932, art. 92)."""
    volume = c["mass_kg"] / c["density_kg_m3"]
    diameter = (6.0 * volume / math.pi) ** (1.0 / 3.0)
    displaced = water.density_kg_m3 * volume
    return Body(
        wet_weight_n=(c["mass_kg"] - displaced) * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=0.5 * displaced,
        drag_area_m2=c["drag_coefficient"] * math.pi * diameter**2 / 4.0,
    )


def lure(c: Values, _roll_rad: float, _side: float, _tripped: bool, water: Water) -> Body:
    """Lure or attractor: drag area and wet mass as given."""
    return Body(
        wet_weight_n=c["wet_mass_kg"] * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
        drag_area_m2=c["drag_area_m2"],
    )


def diver(c: Values, _roll_rad: float, _side: float, _tripped: bool, water: Water) -> Body:
    """Diving plug: a lure whose lip also pulls it down."""
    return Body(
        wet_weight_n=c["wet_mass_kg"] * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
        drag_area_m2=c["drag_area_m2"],
        down_area_m2=c["down_area_m2"],
    )


BODY_LAWS: Mapping[str, Callable[[Values, float, float, bool, Water], Body]] = {
    "planer": planer,
    "sphere": sphere,
    "lure": lure,
    "diver": diver,
}
"""By kind: (coefficients, roll [rad], side, tripped, water) -> Body."""


def towed(config: Config, rod: Rod, now: RodSetting, water: Water, draw: Draw = nominal) -> Towed:
    """The chain of one rod as it is set now.

    Args:
        now: line out already corrected for the counter [m].
        draw: which value of each coefficient to take.
    """
    fixed = counted_m(rod)
    top = above_zero_m(rod)
    lengths, running = parts_out(fixed, now.line_out_m + top)
    thicker = _fleas_m(config, now, draw)
    segments: list[Segment] = []
    bodies: list[Body | None] = []
    slid: Body | None = None
    for part in rod.rig:
        if part.line is not None:
            length = lengths[len(segments)] if len(segments) < len(lengths) else part.length_m
            assert length is not None
            segments.append(_segment(config.lines[part.line], length, thicker, draw))
            bodies.append(None)
        elif part.body is not None:
            kind = config.bodies[part.body]
            body = _body(kind, part.setting, rod, now, water, draw)
            if now.tripped and kind.slides and part is not rod.rig[-1]:
                slid = body
                continue
            bodies[-1] = body if slid is None else together(body, slid)
            slid = None
    shares = (max(rod.line_out_m + top - sum(fixed), SHORTEST_M), *fixed)
    height = rod.tip_height_m if rod.board is None else 0.0
    return Towed(
        tuple(segments[::-1]), tuple(bodies[::-1]), height, shares[::-1], len(segments) - 1 - running
    )


def counted_m(rod: Rod) -> tuple[float, ...]:
    """Lengths [m] of the parts that count within the line out below the first, reel to hook."""
    return tuple(part.length_m for part in rod.rig if part.counted and part.length_m is not None)


def above_zero_m(rod: Rod) -> float:
    """What of the line hangs above the counter's zero [m]."""
    return rod.tip_height_m if rod.counter_zero == "surface" else 0.0


def parts_out(fixed_m: Sequence[float], total_m: float) -> tuple[tuple[float, ...], int]:
    """Lengths [m] of the parts within the line out, reel to hook, and which of them runs.

    Args:
        fixed_m: see counted_m; total_m: length of all of them together.
    """
    for wound in range(len(fixed_m) + 1):
        below = tuple(fixed_m[wound:])
        rest = total_m - wound * SHORTEST_M - sum(below)
        if rest >= SHORTEST_M or not below:
            return (*[SHORTEST_M] * wound, max(rest, 0.0), *below), wound
    raise AssertionError("the last part always runs")


def mains_m(fixed_m: Mapping[int, Sequence[float]], totals_m: Array) -> tuple[Array, dict[int, int]]:
    """Length [m] of what runs in each line, and which part that is where it is not always the first.

    Args:
        fixed_m: by line, see counted_m, of those that have any; totals_m: (n,) all that is out.
    """
    mains, runs = totals_m.copy(), {}
    for line, fixed in fixed_m.items():
        lengths, runs[line] = parts_out(fixed, float(totals_m[line]))
        mains[line] = lengths[runs[line]]
    return mains, runs


def together(one: Body, other: Body) -> Body:
    """Two bodies at one place."""
    return Body(
        one.wet_weight_n + other.wet_weight_n,
        one.mass_kg + other.mass_kg,
        one.added_mass_kg + other.added_mass_kg,
        one.drag_area_m2 + other.drag_area_m2,
        one.down_area_m2 + other.down_area_m2,
        one.side_area_m2 + other.side_area_m2,
    )


def _fleas_m(config: Config, now: RodSetting, draw: Draw) -> float:
    fleas = config.boat.fleas_mm_per_hour
    return 0.0 if fleas is None else now.fouled_h * draw("boat", "fleas_mm_per_hour", fleas) * 1e-3


FLEAS_KG_M3 = 1000.0  # neither sink nor float


def _segment(kind: LineType, length_m: float, thicker_m: float, draw: Draw) -> Segment:
    c = {name: draw(kind.name, name, value) for name, value in kind.coefficients.items()}
    bare = c["diameter_m"]
    grown = bare + thicker_m
    return Segment(
        length_m=length_m,
        diameter_m=grown,
        mass_kg_m=c["mass_kg_m"] + FLEAS_KG_M3 * math.pi / 4.0 * (grown**2 - bare**2),
        normal_drag=c["normal_drag"] * c.get("strumming", 1.0),
        tangential_drag=c["tangential_drag"],
        stiffness_n=c["stiffness_n"],
    )


def _body(
    kind: BodyType, rigged: float | str | None, rod: Rod, now: RodSetting, water: Water, draw: Draw
) -> Body:
    c = {name: draw(kind.name, name, value) for name, value in kind.coefficients.items()}
    roll = _roll_rad(kind, c, rigged if now.setting is None else now.setting)
    return BODY_LAWS[kind.kind](c, roll, SIDE_SIGN[rod.side], now.tripped, water)


def _roll_rad(kind: BodyType, c: Values, setting: float | str | None) -> float:
    """How far a planer's lift leans to its side: by its table of labels, or by so much for each mark of the dial."""
    if setting is None or kind.kind != "planer":
        return 0.0
    if kind.settings is not None:
        return DEG_RAD * kind.settings[dial_label(setting)] * c["roll_factor"]
    return DEG_RAD * c.get("roll_per_setting_deg", 0.0) * float(setting)


def has_planer(config: Config, rod: Rod) -> bool:
    """Whether a planer is tied into the rod's rig."""
    return any(_is_planer(config, part) for part in rod.rig)


def _is_planer(config: Config, part: RigPart) -> bool:
    return part.body is not None and config.bodies[part.body].kind == "planer"
