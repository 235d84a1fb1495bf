"""Rods of the example spreads and rods made up for one check, in steady straight tow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from assistant import config
from assistant.configured import Config, RigPart, Rod
from assistant.lines.chain import Towed, Water
from assistant.lines.gear import RodSetting, towed
from assistant.lines.steady import straight

HERE = Path(__file__).resolve().parent
SPREADS = ("every_rig", "more_rigs")
WATER = Water(999.0, 9.80665)
FT, MPH, LB = 0.3048, 0.44704, 4.4482216


@dataclass(frozen=True)
class Tow:
    """Steady tow seen from the rod tip: depth below the surface, swing (+ starboard), setback [m], pull [N]."""

    depth_m: float
    swing_m: float
    setback_m: float
    pull_n: float


@cache
def spread(name: str) -> Config:
    """One of the example spreads."""
    return config.load(HERE / name)


def every_rod() -> list[tuple[Config, Rod]]:
    """All rods of the example spreads whose line runs from its own tip."""
    loaded = [spread(name) for name in SPREADS]
    return [(c, rod) for c in loaded for rod in c.rods if rod.attached is None]


def made_up(*rig: RigPart, side: str = "starboard", out_ft: float = 100.0, **other: object) -> Rod:
    """A rod for one check: its tip 1 m above the water, nothing else on it."""
    place = {"tip_forward_m": 0.0, "tip_starboard_m": 0.0, "tip_height_m": 1.0}
    fields = {"name": "x", "side": side, "about": "x", **place, "line_out_m": out_ft * FT, "rig": rig}
    return Rod(**(fields | other))  # type: ignore[arg-type]


def line(name: str, length_ft: float | None = None, counted: bool = False) -> RigPart:
    """A piece of line."""
    return RigPart(line=name, length_m=None if length_ft is None else length_ft * FT, counted=counted)


def body(name: str, setting: float | str | None = None) -> RigPart:
    """A body."""
    return RigPart(body=name, setting=setting)


def steady(chain: Towed, mph: float) -> Tow:
    """A chain in still water, towed north."""
    shape = straight(chain, WATER, mph * MPH, relative=1e-7)
    end = shape.points_m[0]
    return Tow(float(end[2]), float(end[1]), float(-end[0]), float(shape.tension_n[-1]))


def tow(rod: Rod, mph: float, loaded: Config | None = None, **setting: object) -> Tow:
    """A rod as set, with every coefficient at its value."""
    now = replace(RodSetting(rod.line_out_m), **setting)  # type: ignore[arg-type]
    return steady(towed(loaded or spread("every_rig"), rod, now, WATER), mph)
