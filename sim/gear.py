"""Reads a spread from configs/*.toml and resolves every rod into segments and bodies of the truth model.

Its own reader on purpose: the simulator takes from the tables what the tables say, through no code of the
assistant. Force laws by kind of body:
planer: A_down = A CL cos(phi), A_side = +-A CL sin(phi) (+ starboard rods), A_drag = A CL / (L/D), phi =
roll x setting; tripped: no lift, drag area A x tripped_drag_coefficient. sphere: d from mass and density,
drag area Cd pi d^2/4, weight in water m g (1 - rho/rho_b), added mass rho V/2 (Lamb 1932, art. 92). lure: as
the table says.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from assistant.units import parse_length_m
from sim.chain import Body, Segment, Water
from sim.checked import CheckError, Number, number, numbers

BOAT = (Number("water_density_kg_m3", 900.0, 1100.0, 999.0), Number("gravity_m_s2", 9.7, 9.9, 9.80665))

SPREAD = (
    Number("counter_factor", 0.3, 2.0, 1.0),  # true line out = factor x counter
    Number("normal_drag_factor", 0.1, 10.0, 1.0),
    Number("lure_drag_factor", 0.0, 20.0, 1.0),
    Number("planer_lift_factor", 0.0, 5.0, 1.0),
    Number("wet_weight_factor", 0.0, 5.0, 1.0),
    Number("tripped_at_s", 0.0, 1e6, 1e6),  # when the planer lets go
)
"""Keys of a scenario's [[rods]] rows, beside `rod`: how the truth of one rod departs from its table."""

SIDES: Mapping[str, float] = {"port": -1.0, "centre": 0.0, "starboard": 1.0}


@dataclass(frozen=True, slots=True)
class Rig:
    """One rod resolved, from the free end up; `tripped` holds the bodies once its planer has let go."""

    rod: str
    tip_forward_m: float
    tip_starboard_m: float
    tip_height_m: float
    segments: tuple[Segment, ...]
    bodies: tuple[Body | None, ...]
    tripped: tuple[Body | None, ...]
    tripped_at_s: float


@dataclass(frozen=True, slots=True)
class _Setting:
    """What a body's force law needs beside its table."""

    water: Water
    side: float
    setting: float
    factor: Mapping[str, float]


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises:
        CheckError: it cannot be read.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CheckError(f"{path}: {error}; wanted: a readable TOML file") from error


def _coefficients(path: Path, keys: tuple[str, ...]) -> dict[str, float]:
    table = read_toml(path)
    rows = {key: table.get(key, {}) for key in keys}
    return {
        key: number(
            row.get("value") if isinstance(row, dict) else row, Number(f"{key}.value", -1e9, 1e9), f"{path}: "
        )
        for key, row in rows.items()
    }


def _planer(path: Path, at: _Setting) -> tuple[Body, Body]:
    c = _coefficients(
        path,
        (
            "plate_area_m2",
            "lift_coefficient",
            "lift_to_drag",
            "roll_per_setting_deg",
            "mass_kg",
            "wet_mass_kg",
            "added_mass_kg",
            "tripped_drag_coefficient",
        ),
    )
    lift = c["plate_area_m2"] * c["lift_coefficient"] * at.factor["planer_lift_factor"]
    roll = math.radians(c["roll_per_setting_deg"]) * at.setting
    digging = Body(
        wet_weight_n=c["wet_mass_kg"] * at.water.gravity_m_s2,
        drag_area_m2=lift / c["lift_to_drag"],
        down_area_m2=lift * math.cos(roll),
        side_area_m2=at.side * lift * math.sin(roll),
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
    )
    edge_on = c["plate_area_m2"] * c["tripped_drag_coefficient"]
    return digging, replace(digging, drag_area_m2=edge_on, down_area_m2=0.0, side_area_m2=0.0)


def _sphere(path: Path, at: _Setting) -> tuple[Body, Body]:
    c = _coefficients(path, ("mass_kg", "density_kg_m3", "drag_coefficient"))
    volume = c["mass_kg"] / c["density_kg_m3"]
    diameter = (6.0 * volume / math.pi) ** (1.0 / 3.0)
    rho = at.water.density_kg_m3
    body = Body(
        wet_weight_n=c["mass_kg"] * at.water.gravity_m_s2 * (1.0 - rho / c["density_kg_m3"]),
        drag_area_m2=c["drag_coefficient"] * math.pi * diameter**2 / 4.0,
        mass_kg=c["mass_kg"],
        added_mass_kg=0.5 * rho * volume,
    )
    return body, body


def _lure(path: Path, at: _Setting) -> tuple[Body, Body]:
    c = _coefficients(path, ("drag_area_m2", "mass_kg", "wet_mass_kg", "added_mass_kg"))
    body = Body(
        wet_weight_n=c["wet_mass_kg"] * at.water.gravity_m_s2,
        drag_area_m2=c["drag_area_m2"] * at.factor["lure_drag_factor"],
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
    )
    return body, body


KINDS: Mapping[str, Callable[[Path, _Setting], tuple[Body, Body]]] = {
    "planer": _planer,
    "sphere": _sphere,
    "lure": _lure,
}
"""Force law of each kind of body: (as set, once tripped)."""


def _body(path: Path, at: _Setting) -> tuple[Body, Body]:
    kind = str(read_toml(path).get("kind"))
    if kind not in KINDS:
        raise CheckError(f"{path}: kind: {kind!r}; allowed: {', '.join(KINDS)}")
    heavier = at.factor["wet_weight_factor"]
    whole, tripped = KINDS[kind](path, at)
    return (
        replace(whole, wet_weight_n=heavier * whole.wet_weight_n),
        replace(tripped, wet_weight_n=heavier * tripped.wet_weight_n),
    )


def _length(value: Any, where: str, low: float = 0.0, high: float = 2000.0) -> float:
    try:
        return number(parse_length_m(value), Number("length", low, high))
    except (ValueError, TypeError, AttributeError) as error:
        raise CheckError(
            f"{where}: {value!r}; allowed: {low:g} to {high:g} m, a number or with m, ft, yd, in"
        ) from error


def read_water(configs: Path) -> Water:
    """Density and gravity of the boat's water, without any current."""
    values = numbers(read_toml(configs / "boat.toml"), BOAT, f"{configs / 'boat.toml'}: ")
    return Water(values["water_density_kg_m3"], values["gravity_m_s2"])


def read_spread(
    path: Path, configs: Path, water: Water, factors: Mapping[str, Mapping[str, float]]
) -> list[Rig]:
    """Read and resolve all rods of a spread.

    Args:
        path: the spread's file.
        configs: folder with lines/ and bodies/.
        water: density and gravity.
        factors: by rod, rows of SPREAD that are not 1.
    Raises:
        CheckError: with file, key, value, allowed.
    """
    rods = read_toml(path).get("rod")
    if not isinstance(rods, list) or not rods:
        raise CheckError(f"{path}: rod: {rods!r}; allowed: one or more [[rod]] tables")
    names = [rod.get("name") for rod in rods]
    for name in factors:
        if name not in names:
            raise CheckError(f"rods: {name!r} is not in {path}; allowed: {', '.join(map(str, names))}")
    plain = {row.key: float(row.default or 0.0) for row in SPREAD}
    return [
        _rig(rod, configs, water, {**plain, **factors.get(str(rod.get("name")), {})}, str(path))
        for rod in rods
    ]


def _rig(rod: Mapping[str, Any], configs: Path, water: Water, factor: Mapping[str, float], file: str) -> Rig:
    where = f"{file}: rod {rod.get('name')!r}: "
    if rod.get("side") not in SIDES:
        raise CheckError(f"{where}side: {rod.get('side')!r}; allowed: {', '.join(SIDES)}")
    tip = rod.get("tip", {})
    forward, starboard = (
        _length(tip.get(k), f"{where}tip.{k}", -50.0, 50.0) for k in ("forward", "starboard")
    )
    height = _length(tip.get("height"), f"{where}tip.height")
    out = _length(rod.get("line_out"), f"{where}line_out") * factor["counter_factor"]
    main = out + (height if rod.get("counter_zero", "tip") == "surface" else 0.0)
    segments: list[Segment] = []
    bodies: list[tuple[Body, Body] | None] = []
    for i, part in enumerate(rod.get("rig", [])):
        if "line" in part:
            length = _length(part.get("length"), f"{where}rig[{i}].length") if segments else main
            segments.append(_segment(configs / "lines" / f"{part['line']}.toml", length, factor))
            bodies.append(None)
        elif "body" in part and bodies and bodies[-1] is None:
            setting = number(part.get("setting"), Number("setting", -10.0, 10.0, 0.0), f"{where}rig[{i}].")
            at = _Setting(water, SIDES[rod["side"]], setting, factor)
            bodies[-1] = _body(configs / "bodies" / f"{part['body']}.toml", at)
        else:
            raise CheckError(f"{where}rig[{i}]: {part!r}; allowed: a line, or a body at the end of a line")
    if not segments:
        raise CheckError(f"{where}rig: empty; allowed: parts from the reel to the hook, a line first")
    return Rig(
        rod=str(rod["name"]),
        tip_forward_m=forward,
        tip_starboard_m=starboard,
        tip_height_m=height,
        segments=tuple(reversed(segments)),
        bodies=tuple(None if b is None else b[0] for b in reversed(bodies)),
        tripped=tuple(None if b is None else b[1] for b in reversed(bodies)),
        tripped_at_s=factor["tripped_at_s"],
    )


def _segment(path: Path, length_m: float, factor: Mapping[str, float]) -> Segment:
    c = _coefficients(path, ("diameter_m", "mass_kg_m", "normal_drag", "tangential_drag", "stiffness_n"))
    c["normal_drag"] *= factor["normal_drag_factor"]
    return Segment(length_m=length_m, **c)
