"""What the page may set on a rod, checked field by field: one row of FIELDS each. Pure."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import get_args

from assistant.configured import BodyType, Rod
from assistant.messages import LineSetting, RodState

MAX_BODY_BYTES = 4096
LINE_OUT_MAX_M = 600.0  # more than a reel of this trade holds


class Refused(Exception):
    """What was asked for cannot be: an HTTP status and a text naming field, value and what is allowed."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status


def short(value: object) -> str:
    """A value as it came, cut to a length fit for a message."""
    text = json.dumps(value)
    return text if len(text) <= 60 else text[:57] + "..."


def number_within(low: float, high: float) -> Callable[[str, object], float]:
    """A check: a finite number from `low` to `high`."""

    def check(name: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise Refused(422, f"{name} {short(value)}: want a number from {low:g} to {high:g}")
        return float(value)

    return check


def rod_state(name: str, value: object) -> RodState:
    """A check: one of the rod states."""
    allowed: tuple[RodState, ...] = get_args(RodState)
    for state in allowed:
        if value == state:
            return state
    raise Refused(422, f"{name} {short(value)}: want one of {', '.join(allowed)}")


def yes_or_no(name: str, value: object) -> bool:
    """A check: true or false."""
    if not isinstance(value, bool):
        raise Refused(422, f"{name} {short(value)}: want true or false")
    return value


@dataclass(frozen=True, slots=True)
class RodLimits:
    """What may be set on one rod: its planer's dial, from..to or by labels; None without one."""

    dial: tuple[float, float] | None
    labels: tuple[str, ...] | None = None


def limits_of(rod: Rod, bodies: Mapping[str, BodyType]) -> RodLimits:
    """The limits of one rod from the bodies of its rig."""
    for part in rod.rig:
        body = bodies.get(part.body or "")
        if body is not None and body.settings is not None:
            return RodLimits(None, tuple(body.settings))
        if body is not None and body.setting_min is not None and body.setting_max is not None:
            return RodLimits((body.setting_min, body.setting_max))
    return RodLimits(None)


def labelled(labels: tuple[str, ...], name: str, value: object) -> str:
    """A check: one of the labels; 1 and 1.0 are the label "1"."""
    for label in labels:
        if value == label:
            return label
        if (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and label == repr(value).removesuffix(".0")
        ):
            return label
    raise Refused(422, f"{name} {short(value)}: want one of {', '.join(labels)}")


def dial_setting(limits: RodLimits, name: str, value: object) -> float | str:
    """A check: on the dial of this rod's planer."""
    if limits.labels is not None:
        return labelled(limits.labels, name, value)
    if limits.dial is None:
        raise Refused(422, f"{name} {short(value)}: this rod has no planer with a dial")
    return number_within(*limits.dial)(name, value)


FIELDS: Mapping[str, Callable[[RodLimits, str, object], object]] = {
    "line_out_m": lambda _, name, value: number_within(0.0, LINE_OUT_MAX_M)(name, value),  # on the counter
    "setting": dial_setting,
    "rod_state": lambda _, name, value: rod_state(name, value),
    "tripped": lambda _, name, value: yes_or_no(name, value),  # the planer has let go
    "cleaned": lambda _, name, value: yes_or_no(name, value),  # true: water fleas were wiped off just now
}
"""Check of each field of a LineSetting that may be set."""


def parse_setting(body: bytes, rods: Mapping[str, RodLimits], t_s: float) -> LineSetting:
    """Read `{"rod": NAME, FIELD: VALUE, ...}` into a LineSetting of the time `t_s`.

    Raises:
        Refused: anything wrong with it; nothing of it is to be used then.
    """
    try:
        asked = json.loads(body, parse_constant=lambda word: math.nan)
    except (ValueError, RecursionError):
        raise Refused(400, "body: not readable as JSON") from None
    if not isinstance(asked, dict):
        raise Refused(400, f'body {short(asked)}: want an object such as {{"rod": "P1", "line_out_m": 53.3}}')
    rod = asked.pop("rod", None)
    if not isinstance(rod, str) or rod not in rods:
        raise Refused(422, f"rod {short(rod)}: want one of {', '.join(rods)}")
    unknown = [name for name in asked if name not in FIELDS]
    if unknown or not asked:
        raise Refused(
            422, f"field {short(unknown[0] if unknown else None)}: want some of {', '.join(FIELDS)}"
        )
    checked = {name: FIELDS[name](rods[rod], name, value) for name, value in asked.items()}
    return LineSetting(t_s, rod, **checked)  # type: ignore[arg-type]  # each check gives its field's type
