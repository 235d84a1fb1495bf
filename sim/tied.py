"""What is tied into a line, from its table: force laws by kind of body.

planer: A_down = A CL cos(phi), A_side = +-A CL sin(phi) (+ starboard rods), A_drag = A CL / (L/D), phi =
roll x setting or the settings table's angle x roll_factor, none of both: 0; tripped: no lift, drag area
A x tripped_drag_coefficient. sphere: d from mass and density, drag area Cd pi d^2/4, weight in water
m g (1 - rho/rho_b), added mass rho V/2 (Lamb 1932, art. 92). lure, diver: as the table says.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sim.chain import Body, Water
from sim.checked import CheckError, Number, number


@dataclass(frozen=True, slots=True)
class Setting:
    """What a body's force law needs beside its table."""

    water: Water
    side: float
    setting: Any  # as the rig has it
    factor: Mapping[str, float]
    where: str


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises:
        CheckError: it cannot be read.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CheckError(f"{path}: {error}; wanted: a readable TOML file") from error


def coefficients(
    path: Path, keys: tuple[str, ...], optional: Mapping[str, float] | None = None
) -> dict[str, float]:
    """Values of the coefficients of a line or body; those of `optional` have a usual value.

    Raises:
        CheckError: one is missing or no number.
    """
    table = read_toml(path)
    rows = {key: table.get(key, {}) for key in keys}
    rows |= {key: table.get(key, {"value": usual}) for key, usual in (optional or {}).items()}
    return {
        key: number(
            row.get("value") if isinstance(row, dict) else row, Number(f"{key}.value", -1e9, 1e9), f"{path}: "
        )
        for key, row in rows.items()
    }


def _planer(path: Path, at: Setting) -> tuple[Body, Body]:
    c = coefficients(
        path,
        (
            "plate_area_m2",
            "lift_coefficient",
            "lift_to_drag",
            "mass_kg",
            "wet_mass_kg",
            "added_mass_kg",
            "tripped_drag_coefficient",
        ),
        {"roll_per_setting_deg": 0.0, "roll_factor": 1.0},
    )
    lift = c["plate_area_m2"] * c["lift_coefficient"] * at.factor["planer_lift_factor"]
    marks = read_toml(path).get("settings")
    if marks is None:
        dial = number(at.setting, Number("setting", -10.0, 10.0, 0.0), at.where)
        roll = math.radians(c["roll_per_setting_deg"] * dial)
    else:
        label = at.setting if isinstance(at.setting, str) else f"{at.setting or 0:g}"
        if label not in marks:
            raise CheckError(f"{at.where}setting: {label!r}; allowed: {', '.join(marks)}")
        roll = math.radians(c["roll_factor"] * marks[label])
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


def _sphere(path: Path, at: Setting) -> tuple[Body, Body]:
    c = coefficients(path, ("mass_kg", "density_kg_m3", "drag_coefficient"))
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


def _lure(path: Path, at: Setting) -> tuple[Body, Body]:
    c = coefficients(path, ("drag_area_m2", "mass_kg", "wet_mass_kg", "added_mass_kg"))
    body = Body(
        wet_weight_n=c["wet_mass_kg"] * at.water.gravity_m_s2,
        drag_area_m2=c["drag_area_m2"] * at.factor["lure_drag_factor"],
        mass_kg=c["mass_kg"],
        added_mass_kg=c["added_mass_kg"],
    )
    return body, body


def _diver(path: Path, at: Setting) -> tuple[Body, Body]:
    body = replace(_lure(path, at)[0], down_area_m2=coefficients(path, ("down_area_m2",))["down_area_m2"])
    return body, body


KINDS: Mapping[str, Callable[[Path, Setting], tuple[Body, Body]]] = {
    "planer": _planer,
    "sphere": _sphere,
    "lure": _lure,
    "diver": _diver,
}
"""Force law of each kind of body: (as set, once tripped)."""


def body_of(path: Path, at: Setting) -> tuple[Body, Body]:
    """A body as set, and once its planer has tripped.

    Raises:
        CheckError: with file, key, value, allowed.
    """
    kind = str(read_toml(path).get("kind"))
    if kind not in KINDS:
        raise CheckError(f"{path}: kind: {kind!r}; allowed: {', '.join(KINDS)}")
    heavier = at.factor["wet_weight_factor"]
    whole, tripped = KINDS[kind](path, at)
    return (
        replace(whole, wet_weight_n=heavier * whole.wet_weight_n),
        replace(tripped, wet_weight_n=heavier * tripped.wet_weight_n),
    )
