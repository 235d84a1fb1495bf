"""Reads a spread from configs/*.toml and resolves every rod into segments and bodies of the truth model.

Its own reader on purpose: the simulator takes from the tables what the tables say, through no code of the
assistant; force laws are in tied.py.
The first line is what is left of the line out below it: lines with colours (10 yd each) or counted = true.
A planer with slides = true is, once tripped, at the place of the next body.
Not simulated: attached rods, rods on a side board.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from assistant.units import parse_length_m
from sim.chain import Body, Segment, Water
from sim.checked import CheckError, Number, number, numbers
from sim.tied import Setting, body_of, coefficients, read_toml

BOAT = (Number("water_density_kg_m3", 900.0, 1100.0, 999.0), Number("gravity_m_s2", 9.7, 9.9, 9.80665))

SPREAD = (
    Number("counter_factor", 0.3, 2.0, 1.0),  # true line out = factor x counter
    Number("normal_drag_factor", 0.1, 10.0, 1.0),
    Number("lure_drag_factor", 0.0, 20.0, 1.0),
    Number("planer_lift_factor", 0.0, 5.0, 1.0),
    Number("wet_weight_factor", 0.0, 5.0, 1.0),
    Number("tripped_at_s", 0.0, 1e6, 1e6),  # when the planer lets go
    Number("rearmed_at_s", 0.0, 1e6, 1e6),  # and digs again
    Number("towing_from_s", 0.0, 1e6, 1e6),  # a fish towed unnoticed
    Number("towing_to_s", 0.0, 1e6, 1e6),
    Number("towed_area_m2", 0.0, 1.0, 0.008),  # its drag area; judgement, a small one
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
    rearmed_at_s: float
    towing_s: tuple[float, float]
    towed_area_m2: float

    def bodies_at(self, t_s: float) -> tuple[Body | None, ...]:
        """The bodies at a time: the planer has let go or not, a fish hangs on the lure or not."""
        bodies = self.tripped if self.tripped_at_s <= t_s < self.rearmed_at_s else self.bodies
        lure = bodies[0]
        if lure is None or not self.towing_s[0] <= t_s < self.towing_s[1]:
            return bodies
        return replace(lure, drag_area_m2=lure.drag_area_m2 + self.towed_area_m2), *bodies[1:]


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
    path: Path,
    configs: Path,
    water: Water,
    factors: Mapping[str, Mapping[str, float]],
    wanted: Collection[str] | None = None,
) -> list[Rig]:
    """Read and resolve the rods of a spread.

    Args:
        path: the spread's file.
        configs: folder with lines/ and bodies/.
        water: density and gravity.
        factors: by rod, rows of SPREAD that are not 1.
        wanted: names of the rods to resolve; None: all.
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
        if wanted is None or rod.get("name") in wanted
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
    for key in ("attached", "board"):
        if key in rod:
            raise CheckError(f"{where}{key}: not simulated; allowed: rods whose line runs from their own tip")
    out = _length(rod.get("line_out"), f"{where}line_out") * factor["counter_factor"]
    out += height if rod.get("counter_zero", "tip") == "surface" else 0.0
    segments: list[Segment] = []
    bodies: list[_Tied | None] = []
    lengths = _lengths(rod.get("rig", []), out, where)
    for i, part in enumerate(rod.get("rig", [])):
        if "line" in part:
            segments.append(_segment(configs / "lines" / f"{part['line']}.toml", lengths[i], factor))
            bodies.append(None)
        elif "body" in part and bodies and bodies[-1] is None:
            at = Setting(water, SIDES[rod["side"]], part.get("setting"), factor, f"{where}rig[{i}].")
            path = configs / "bodies" / f"{part['body']}.toml"
            bodies[-1] = _Tied(*body_of(path, at), slides=read_toml(path).get("slides") is True)
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
        bodies=tuple(None if b is None else b.whole for b in reversed(bodies)),
        tripped=tuple(reversed(_once_tripped(bodies))),
        tripped_at_s=factor["tripped_at_s"],
        rearmed_at_s=factor["rearmed_at_s"],
        towing_s=(factor["towing_from_s"], factor["towing_to_s"]),
        towed_area_m2=factor["towed_area_m2"],
    )


@dataclass(frozen=True, slots=True)
class _Tied:
    whole: Body
    tripped: Body
    slides: bool


def _lengths(rig: Any, out_m: float, where: str) -> dict[int, float]:
    """Length of each line of a rig: what is counted comes off the line out, the first line is what is left."""
    lengths: dict[int, float] = {}
    left = out_m
    lines = [(i, part) for i, part in enumerate(rig) if "line" in part]
    for i, part in lines[1:]:
        if "colours" in part:
            colours = number(part["colours"], Number("colours", 0.0, 100.0), f"{where}rig[{i}].")
            lengths[i] = colours * 30.0 * 0.3048
        else:
            lengths[i] = _length(part.get("length"), f"{where}rig[{i}].length")
        if part.get("counted", "colours" in part):
            left -= lengths[i]
    if left <= 0.0:
        raise CheckError(
            f"{where}line_out: {out_m:g} m; allowed: more than what it counts below the first line"
        )
    return lengths | {i: left for i, _ in lines[:1]}


def _once_tripped(bodies: list[_Tied | None]) -> list[Body | None]:
    """Bodies, reel to hook, once the planer has let go: one that slides joins the next."""
    done: list[Body | None] = []
    sliding: list[Body] = []
    for k, tied in enumerate(bodies):
        if tied is None or (tied.slides and k < len(bodies) - 1):
            sliding += [] if tied is None else [tied.tripped]
            done.append(None)
            continue
        done.append(_sum([tied.tripped, *sliding]))
        sliding = []
    return done


def _sum(bodies: list[Body]) -> Body:
    return Body(**{f.name: sum(getattr(b, f.name) for b in bodies) for f in fields(Body)})


def _segment(path: Path, length_m: float, factor: Mapping[str, float]) -> Segment:
    c = coefficients(
        path,
        ("diameter_m", "mass_kg_m", "normal_drag", "tangential_drag", "stiffness_n"),
        {"strumming": 1.0},
    )
    c["normal_drag"] *= factor["normal_drag_factor"] * c.pop("strumming")
    return Segment(length_m=length_m, **c)
