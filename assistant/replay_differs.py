"""What differs between two configurations that could move a number, in words. Pure."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping

from assistant.configured import BodyType, Coefficient, Config, LineType, Rod

Part = Rod | LineType | BodyType
NOT_COMPARED = (
    "origin",
    "sources",
    "broker",
    "page_port",
    "outings",
    "speak",
    "signalk",
    "signalk_port",
    "signalk_vessel",
)
"""Fields of Config that move no number."""
SAID_MOST = 40  # differences of two configurations that are named one by one


def differing(then: Config, now: Config) -> list[str]:
    """What differs between two configurations, a line each, in SI; what is on no rod is not told of."""
    rods = {rod.name: rod for rod in then.rods}, {rod.name: rod for rod in now.rods}
    parts = [part for rod in (*then.rods, *now.rods) for part in rod.rig]
    found = [f"boat: {words}" for words in _fields(then.boat, now.boat)]
    found += _parts("rod", *rods, {*rods[0], *rods[1]})
    found += _parts("line", then.lines, now.lines, {part.line for part in parts})
    found += _parts("body", then.bodies, now.bodies, {part.body for part in parts})
    found += [
        f"{row.name}: differ"
        for row in dataclasses.fields(Config)
        if row.name not in (*NOT_COMPARED, "boat", "rods", "lines", "bodies")
        and getattr(then, row.name) != getattr(now, row.name)
    ]
    more = len(found) - SAID_MOST
    return found if more <= 0 else [*found[:SAID_MOST], f"and {more} more"]


def _parts(
    what: str,
    then: Mapping[str, Part],
    now: Mapping[str, Part],
    names: Iterable[str | None],
) -> list[str]:
    return [
        f"{what} {name}: {words}"
        for name in sorted(name for name in names if name)
        for words in _part(then.get(name), now.get(name))
    ]


def _part(then: Part | None, now: Part | None) -> list[str]:
    """What differs of a rod, a line or a body; None: there is none of that name."""
    if then is None or now is None:
        return ["only now" if then is None else "only then"]
    if isinstance(then, Rod) or isinstance(now, Rod):
        return _fields(then, now)
    pairs = {name: (then.coefficients.get(name), now.coefficients.get(name)) for name in then.coefficients}
    words = [_said(name, old, new) for name, (old, new) in sorted(pairs.items()) if old != new]
    return words or ([] if then == now else ["described otherwise"])


def _fields(then: object, now: object) -> list[str]:
    """Fields of two dataclasses of one kind that differ."""
    names = [row.name for row in dataclasses.fields(then)]  # type: ignore[arg-type]
    pairs = ((name, getattr(then, name), getattr(now, name)) for name in names)
    return [_said(name, old, new) for name, old, new in pairs if old != new]


def _said(name: str, old: object, new: object) -> str:
    """Two short values, or that they differ."""
    if isinstance(old, Coefficient) and isinstance(new, Coefficient):
        if old.value == new.value:
            return f"{name} of another band"
        old, new = old.value, new.value
    plain = all(one is None or isinstance(one, int | float | str) for one in (old, new))
    return f"{name} {old} then, {new} now" if plain else f"{name} differs"
