"""Dock answers and line-out cards in plain words, in the configured units; each fits on one screen."""

from __future__ import annotations

import math
import textwrap

from assistant.configured import Config
from assistant.dock_ask import Asked
from assistant.lines.dock import Card
from assistant.lines.reels import Curve
from assistant.messages import LineState, Q
from assistant.units import DISPLAY_UNITS

WIDTH = 78
NAMES = {
    "depth_m": "depth",
    "swing_m": "swing",
    "setback_m": "astern",
    "tension_n": "pull",
    "lure_speed_mps": "lure speed",
}
BAND = "8 times out of 10"


def answer_text(config: Config, wanted: Asked, state: LineState, counter: Curve) -> str:
    """One rod's answer."""
    rod, units = config.rods[wanted.k], config.boat.units
    lines = [
        f"{rod.name}  {rod.about}",
        *_asked(config, wanted, f"{_number(wanted.ask.line_out_m, 'm', units)} out"),
    ]
    lines += ["", f"  {'':<11}{'expected':>16}   {BAND}"]
    for name, word in NAMES.items():
        q: Q = getattr(state, name)
        limit = state.limited_by.get(name)
        lines.append(f"  {word:<11}{_row(name, q, units)}" + (f"   widest by {limit}" if limit else ""))
    lines.append("")
    if state.conditions:
        lines += _wrapped("Note: " + ", ".join(state.conditions) + ".")
    factor = counter.factor(wanted.ask.line_out_m)
    true = [
        _number(f * wanted.ask.line_out_m, "m", units, unit=False)
        for f in (factor.value, factor.low, factor.high)
    ]
    label = DISPLAY_UNITS[units]["m"].label
    lines += _wrapped(
        f"Line really out: {true[0]} {label} ({true[1]} to {true[2]}). Counter: {counter.evidence}."
    )
    return "\n".join([*lines, *_wrapped(ALLOWS)])


ALLOWS = (
    "Steady, straight ahead, at this speed through the surface water. The band allows for what is not known of gear, "
    "counter and deep current."
)


def card_text(config: Config, wanted: Asked, card: Card, counter: Curve) -> str:
    """One rod's line-out card."""
    rod, units = config.rods[wanted.k], config.boat.units
    lines = [f"{rod.name}  {rod.about}: line-out card", *_asked(config, wanted, "")]
    lines += [
        *_wrapped(f"Counter: {counter.evidence}."),
        "",
        f"  {'for a lure at':>13}{'counter at':>14}   {BAND}",
    ]
    for row in card.rows:
        depth, out = _number(row.wanted_m, "m", units), _number(row.line_out_m, "m", units)
        lines.append(f"  {depth:>13}{out:>14}   {_band(row.depth_m, units)}")
    if not card.rows:
        lines.append("  no depth of a round number is in reach")
    deep, out = (_number(value, "m", units) for value in card.deepest)
    if card.rises:
        edge = f"{deep} with {out} is as deep as this rig goes at this speed: more line takes it no deeper."
    else:
        edge = f"Deeper than {deep} is out of reach of {out}."
    shallow, least = (_number(value, "m", units) for value in card.shallowest)
    return "\n".join(
        [
            *lines,
            "",
            *_wrapped(f"{edge} Shallower than {shallow} is less than {least} out."),
            *_wrapped(ALLOWS),
        ]
    )


def _asked(config: Config, wanted: Asked, out: str) -> list[str]:
    """What was asked, and what was assumed because nothing was said of it."""
    units, typed = config.boat.units, wanted.typed
    words = [out + (" (as in spread.toml)" if typed.out is None else "")] if out else []
    if wanted.dial is not None:
        dial = f"{wanted.dial:g}" if isinstance(wanted.dial, float) else wanted.dial
        words.append(f"setting {dial}" + (" (as rigged)" if typed.setting is None else ""))
    speed = f"{_number(wanted.ask.speed_mps, 'm/s', units)} through the water"
    words.append(speed + (" (usual: no --speed given)" if typed.speed is None else ""))
    if wanted.water_temp_c is not None:
        words.append(f"water {_number(wanted.water_temp_c, 'degC', units)}")
    return _wrapped(", ".join(words))


def _number(value: float, si: str, units: str, unit: bool = True) -> str:
    shown = DISPLAY_UNITS[units][si]
    text = f"{value * shown.scale + shown.offset:.{shown.digits}f}"
    return f"{text} {shown.label}" if unit else text


def _row(name: str, q: Q, units: str) -> str:
    if q.value is None:
        return f"{'--':>16}   {q.source.removeprefix('none: ')}"
    if name == "swing_m":
        return f"{_swing(q.value, units):>16}   {_swings(q, units)}"
    return f"{_number(q.value, q.unit, units):>16}   {_band(q, units)}"


def _band(q: Q, units: str) -> str:
    if q.low is None or q.high is None:
        return "--"
    return f"{_number(q.low, q.unit, units, unit=False)} to {_number(q.high, q.unit, units)}"


def _swing(value_m: float, units: str) -> str:
    side = "" if _number(abs(value_m), "m", units) == _number(0.0, "m", units) else _side(value_m)
    return _number(abs(value_m), "m", units) + side


def _side(value_m: float) -> str:
    return " to starboard" if value_m > 0.0 else " to port"


def _swings(q: Q, units: str) -> str:
    if q.low is None or q.high is None:
        return "--"
    if _swing(q.low, units) == _swing(q.high, units):
        return _swing(q.low, units)
    if math.copysign(1.0, q.low) == math.copysign(1.0, q.high):
        near, far = sorted((abs(q.low), abs(q.high)))
        return f"{_number(near, 'm', units, unit=False)} to {_swing(math.copysign(far, q.low), units)}"
    return f"{_swing(q.low, units)} .. {_swing(q.high, units)}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)
