"""From what is tied on (config) to what is towed (chain): rigs, body laws by kind, draws of the coefficients.

Rigs run from the reel to the hook; a chain runs from the free end up. A body sits at the lower end of the line part
before it. Adding a line type or a body of a known kind is a TOML file; adding a kind of body is one function and one
row of BODY_LAWS.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.messages import BodyType, Coefficient, Config, LineType, Rod

Draw = Callable[[str, str, Coefficient], float]
"""(name of the type, name of the coefficient, the coefficient) -> the value to use."""

SIDE_SIGN: Mapping[str, float] = {"port": -1.0, "centre": 1.0, "starboard": 1.0}


def nominal(_type: str, _name: str, coefficient: Coefficient) -> float:
    """The draw that takes every coefficient at its value."""
    return coefficient.value


@dataclass(frozen=True, slots=True)
class RodSetting:
    """What is set on a rod now: line out on the counter [m], dial setting (None: as rigged), tripped or not."""

    line_out_m: float
    setting: float | None = None
    tripped: bool = False


Values = Mapping[str, float]


def planer(c: Values, setting: float, side: float, tripped: bool, water: Water) -> Body:
    """Diving planer: lift rolled by the setting toward its side; tripped: no lift, edge-on drag.

    Source: line-model equations, flat plate at incidence (Pelletier & Mueller), see configs/bodies/.
    """
    area = c["plate_area_m2"]
    lift = 0.0 if tripped else area * c["lift_coefficient"]
    drag = area * c["tripped_drag_coefficient"] if tripped else lift / c["lift_to_drag"]
    roll = math.radians(c["roll_per_setting_deg"] * setting)
    return Body(
        wet_weight_n=c["wet_mass_kg"] * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
        drag_area_m2=drag,
        down_area_m2=lift * math.cos(roll),
        side_area_m2=side * lift * math.sin(roll),
    )


def sphere(c: Values, _setting: float, _side: float, _tripped: bool, water: Water) -> Body:
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


def lure(c: Values, _setting: float, _side: float, _tripped: bool, water: Water) -> Body:
    """Lure or attractor: drag area and wet mass as given."""
    return Body(
        wet_weight_n=c["wet_mass_kg"] * water.gravity_m_s2,
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
        drag_area_m2=c["drag_area_m2"],
    )


BODY_LAWS: Mapping[str, Callable[[Values, float, float, bool, Water], Body]] = {
    "planer": planer,
    "sphere": sphere,
    "lure": lure,
}


def towed(config: Config, rod: Rod, now: RodSetting, water: Water, draw: Draw = nominal) -> Towed:
    """The chain of one rod as it is set now.

    Args:
        now: line out already corrected for the counter [m].
        draw: which value of each coefficient to take.
    """
    top = now.line_out_m + (rod.tip_height_m if rod.counter_zero == "surface" else 0.0)
    segments: list[Segment] = []
    bodies: list[Body | None] = []
    for part in rod.rig:
        if part.line is not None:
            length = top if part.length_m is None else part.length_m
            segments.append(_segment(config.lines[part.line], length, draw))
            bodies.append(None)
        elif part.body is not None:
            bodies[-1] = _body(config.bodies[part.body], part.setting, rod, now, water, draw)
    return Towed(tuple(segments[::-1]), tuple(bodies[::-1]), rod.tip_height_m)


def _segment(kind: LineType, length_m: float, draw: Draw) -> Segment:
    c = {name: draw(kind.name, name, value) for name, value in kind.coefficients.items()}
    return Segment(
        length_m=length_m,
        diameter_m=c["diameter_m"],
        mass_kg_m=c["mass_kg_m"],
        normal_drag=c["normal_drag"],
        tangential_drag=c["tangential_drag"],
        stiffness_n=c["stiffness_n"],
    )


def _body(kind: BodyType, rigged: float | None, rod: Rod, now: RodSetting, water: Water, draw: Draw) -> Body:
    c = {name: draw(kind.name, name, value) for name, value in kind.coefficients.items()}
    setting = now.setting if now.setting is not None else rigged
    return BODY_LAWS[kind.kind](c, setting or 0.0, SIDE_SIGN[rod.side], now.tripped, water)


def has_planer(config: Config, rod: Rod) -> bool:
    """Whether a planer is tied into the rod's rig."""
    return any(p.body is not None and config.bodies[p.body].kind == "planer" for p in rod.rig)
