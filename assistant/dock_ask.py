"""Questions typed at the dock, understood: quantities with their units, within what may be asked."""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.configured import BodyType, Config, Rod
from assistant.errors import OptionError
from assistant.lines.chain import Water
from assistant.lines.dock import Ask
from assistant.lines.water import COLDEST_C, WARMEST_C, density_kg_m3
from assistant.typed import SCALES, quantity
from assistant.units import DISPLAY_UNITS, MPH_MPS

USUAL_MPS = 2.4 * MPH_MPS  # common practice, no source: an ordinary trolling speed
SPEEDS = (0.2, 4.0)  # [m/s] that may be asked for
LENGTHS = (0.5, 600.0)  # [m], as of line_out in spread.toml
FRESHEST_KG_M3, SAME_C = 1005.0, 15.0  # denser water at this temperature is salt


@dataclass(frozen=True, slots=True)
class Question:
    """What was typed, None where nothing was."""

    out: str | None = None
    setting: str | None = None
    speed: str | None = None
    water: str | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """A question understood: number of the rod, what the model is asked, dial as set or rigged, water [degC]."""

    k: int
    ask: Ask
    dial: float | str | None
    water_temp_c: float | None
    typed: Question


def asked(config: Config, name: str, question: Question) -> Asked:
    """What a question means for a configuration.

    Raises:
        OptionError: no such rod, or a quantity that is none or out of range.
    """
    names = [rod.name for rod in config.rods]
    if name not in names:
        raise OptionError(f"{name!r}: no such rod; the configuration has {', '.join(names)}")
    rod = config.rods[names.index(name)]
    first = {unit: shown.label for unit, shown in DISPLAY_UNITS[config.boat.units].items()}
    out_m, speed_mps, temp_c, dial = rod.line_out_m, USUAL_MPS, None, None
    if question.out is not None:
        out_m = quantity("--out", question.out, SCALES["m"], first["m"], LENGTHS)
    if question.speed is not None:
        speed_mps = quantity("--speed", question.speed, SCALES["m/s"], first["m/s"], SPEEDS)
    if question.water is not None:
        temp_c = quantity("--water", question.water, SCALES["degC"], first["degC"], (COLDEST_C, WARMEST_C))
    if question.setting is not None:
        dial = _dial(config, rod, question.setting)
    ask = Ask(out_m, dial, speed_mps, water_at(config, temp_c))
    return Asked(names.index(name), ask, rigged_dial(rod) if dial is None else dial, temp_c, question)


def water_at(config: Config, temp_c: float | None) -> Water:
    """The boat's water, at a temperature [degC] if one is given; the sea keeps its salt."""
    density = config.boat.water_density_kg_m3
    if temp_c is not None:
        salt = density - density_kg_m3(SAME_C) if density > FRESHEST_KG_M3 else 0.0
        density = density_kg_m3(temp_c) + salt
    return Water(density, config.boat.gravity_m_s2)


def rigged_dial(rod: Rod) -> float | str | None:
    """The setting in the rod's rig, if its planer has one."""
    return next((part.setting for part in rod.rig if part.setting is not None), None)


def _dial(config: Config, rod: Rod, typed: str) -> float | str:
    """A typed setting as the rod's planer has it on its dial."""
    bodies = [config.bodies[part.body] for part in rod.rig if part.body is not None]
    body = next((body for body in bodies if _has_dial(body)), None)
    if body is None:
        raise OptionError(f"--setting {typed!r}: {rod.name} has no planer with a dial; leave it away")
    on_dial = f"on the dial of {body.name}"
    if body.settings is not None:
        if typed not in body.settings:
            raise OptionError(f"--setting {typed!r}: want one of {', '.join(body.settings)} {on_dial}")
        return typed
    low, high = body.setting_min or 0.0, body.setting_max or 0.0
    try:
        number = float(typed)
    except ValueError:
        number = math.nan
    if not low <= number <= high:
        raise OptionError(f"--setting {typed!r}: want {low:g}..{high:g} {on_dial}")
    if number != 0.0 and rod.side == "centre":
        raise OptionError(
            f"--setting {typed!r}: {rod.name} is amidships, its planer must run straight: want 0"
        )
    return number


def _has_dial(body: BodyType) -> bool:
    return body.settings is not None or body.setting_max is not None
