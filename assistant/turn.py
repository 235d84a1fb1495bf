"""`spreadwatch turn`: from the spread settled at a speed, what each line does in a turn, as text or JSON."""

from __future__ import annotations

import json
import math
import textwrap
from dataclasses import dataclass
from typing import Any

from assistant.ahead.advice import Wanted, advise
from assistant.ahead.forecast import AFTER_S, MOST_S, forecast
from assistant.ahead.gaps import Soundings, flat
from assistant.ahead.manoeuvre import Manoeuvre, planned
from assistant.ahead.offers import Advice
from assistant.ahead.outlook import Forecast, LineAhead, PairAhead, Worst
from assistant.configured import Config
from assistant.dock_ask import SPEEDS, USUAL_MPS
from assistant.errors import OptionError
from assistant.lines import dock, spread
from assistant.lines.spread import SpreadState
from assistant.messages import BoatState, Estimate
from assistant.payloads import rounded
from assistant.typed import SCALES, quantity
from assistant.units import DISPLAY_UNITS, DisplayUnit

SIDES = {"port": -1.0, "starboard": 1.0}
MOST_DEG = 360.0
RATES_DEG_S = (0.1, 20.0)
WIDTH = 78
BOTTOMS = (2.0, 400.0)  # [m] that may be typed
DEG = math.pi / 180.0


@dataclass(frozen=True, slots=True)
class Asked:
    """A turn understood: side, degrees, deg/s, speed through the water [m/s]."""

    side: str
    degrees: float
    rate_deg_s: float
    speed_mps: float
    bottom_m: float | None = None
    heading_deg: float | None = None

    def soundings(self) -> Soundings | None:
        """The bottom as typed, the same everywhere."""
        return None if self.bottom_m is None else flat(self.bottom_m)

    def manoeuvre(self) -> Manoeuvre:
        """The turn as data."""
        about = f"{self.degrees:g} degrees to {self.side}"
        return planned(SIDES[self.side] * self.degrees * DEG, self.rate_deg_s * DEG, about=about)


def asked(
    config: Config,
    side: str,
    degrees: float,
    rate_deg_s: float,
    speed: str | None,
    bottom: str | None = None,
    heading_deg: float | None = None,
) -> Asked:
    """What was typed, understood.

    Raises:
        OptionError: no such side, or a number out of range.
    """
    if side not in SIDES:
        raise OptionError(f"{side!r}: want {' or '.join(SIDES)}")
    if not 0.0 < degrees <= MOST_DEG:
        raise OptionError(f"{degrees:g} degrees: want above 0, up to {MOST_DEG:g}")
    if not RATES_DEG_S[0] <= rate_deg_s <= RATES_DEG_S[1]:
        raise OptionError(
            f"--rate {rate_deg_s:g}: want {RATES_DEG_S[0]:g}..{RATES_DEG_S[1]:g} degrees a second"
        )
    if degrees / rate_deg_s + AFTER_S > MOST_S:
        raise OptionError(
            f"--rate {rate_deg_s:g}: {degrees:g} degrees would take {degrees / rate_deg_s:.0f} s; "
            f"want {MOST_S - AFTER_S:.0f} s at most"
        )
    label = DISPLAY_UNITS[config.boat.units]["m/s"].label
    speed_mps = USUAL_MPS if speed is None else quantity("--speed", speed, SCALES["m/s"], label, SPEEDS)
    length = DISPLAY_UNITS[config.boat.units]["m"].label
    bottom_m = None if bottom is None else quantity("--bottom", bottom, SCALES["m"], length, BOTTOMS)
    if heading_deg is not None and not 0.0 <= heading_deg <= 360.0:
        raise OptionError(f"--heading {heading_deg:g}: want 0..360 degrees, true")
    return Asked(side, degrees, rate_deg_s, speed_mps, bottom_m, heading_deg)


def answer(
    config: Config,
    side: str,
    degrees: float,
    rate_deg_s: float,
    speed: str | None,
    as_json: bool,
    bottom: str | None = None,
    heading_deg: float | None = None,
) -> str:
    """What every line does in that turn, and which turn would keep them clear.

    Raises:
        OptionError: what was asked makes no sense.
    """
    wanted = asked(config, side, degrees, rate_deg_s, speed, bottom, heading_deg)
    config = dock.at_dock(config).config  # no heading is asked: a deep layer may run any way
    state = spread.advance(
        spread.initial(config),
        Estimate(wanted.speed_mps, 0.0, "ok", 0.0, "as asked"),
        Estimate(0.0, 0.0, "ok", 0.0, "as asked"),
        (), 0.0, True,
    )  # fmt: skip
    told = forecast(state, wanted.manoeuvre(), soundings=wanted.soundings())
    assert told is not None
    advice = _advice(config, wanted, state)
    if as_json:
        return as_object(wanted, told, advice)
    return as_text(config.boat.units, wanted, told, advice)


def _advice(config: Config, wanted: Asked, state: SpreadState) -> Advice:
    """What keeps every line clear, from the settled spread."""

    def look(manoeuvre: Manoeuvre) -> Forecast:
        told = forecast(state, manoeuvre, soundings=wanted.soundings())
        assert told is not None
        return told

    turn = Wanted(
        SIDES[wanted.side] * wanted.degrees * DEG,
        wanted.rate_deg_s * DEG,
        None if wanted.heading_deg is None else wanted.heading_deg * DEG,
        wanted.speed_mps,
        config.alerts,
        config.boat.units,
    )
    still = Estimate(wanted.speed_mps, 0.0, "ok", 0.0, "as asked")
    lines = spread.report(state, BoatState(state.t_s, stw_mps=still, heading_rad=still._replace(value=0.0)))
    return advise(turn, look, lines, bottom=wanted.bottom_m is not None)


def as_object(wanted: Asked, told: Forecast, advice: Advice) -> str:
    """One JSON object, in SI."""

    def worst(one: Worst) -> dict[str, Any]:
        names = ("value", "low", "high", "at_s")
        return {name: rounded(getattr(one, name)) for name in names}

    def near(rod: str, pair: PairAhead | None) -> dict[str, Any] | None:
        if pair is None:
            return None
        other = next(name for name in pair.rods if name != rod)
        return {"rod": other, "gap_m": worst(pair.gap), "place_m": [rounded(v) for v in pair.place_m]}

    rods = {
        name: {
            "depth_m": dict(
                zip(("value", "low", "high"), map(rounded, line.depth_m[0].tolist()), strict=True)
            ),
            "rise_m": worst(line.rise),
            "sink_m": worst(line.sink),
            "slowest_mps": worst(line.slowest),
            "nearest": near(name, told.nearest_to(name)),
        }
        for name, line in told.lines.items()
    }
    head = {"side": wanted.side, "degrees": wanted.degrees, "rate_deg_s": wanted.rate_deg_s}
    head |= {"speed_mps": round(wanted.speed_mps, 6), "seconds": float(told.times_s[-1])}
    options = [
        {"side": one.side, "degrees": round(one.angle_rad / DEG, 3), "rate_deg_s": round(one.rate_radps / DEG, 4),
         "radius_m": rounded(one.radius_m), "speed_mps": rounded(one.speed_mps), "text": one.text,
         "bottom_unknown": list(one.unknown)}
        for one in advice.options
    ]  # fmt: skip
    said = {"options": options, "lift": list(advice.lift), "why": advice.why}
    return json.dumps({**head, "rods": rods, "left_out": dict(told.lost), "advice": said}, allow_nan=False)


def as_text(units: str, wanted: Asked, told: Forecast, advice: Advice) -> str:
    """Plain words and a table."""
    length, speed = DISPLAY_UNITS[units]["m"], DISPLAY_UNITS[units]["m/s"]
    lasts_s = wanted.degrees / wanted.rate_deg_s
    head = (
        f"{wanted.degrees:g} degrees to {wanted.side} at {wanted.rate_deg_s:g} degrees a second ({lasts_s:.0f} s), "
        f"{_shown(wanted.speed_mps, speed)} {speed.label} through the water, then straight on for 2 minutes."
    )
    rows = [
        f"{'rod':<5}{'now':>6}{'rises by':>12}{'sinks by':>13}{'when':>6}{'slowest lure':>15}  nearest line",
        f"{'':<5}{length.label:>6}{length.label:>12}{length.label:>13}{'':>6}{speed.label:>15}  {length.label}",
    ]
    rows += [_row(line, told.nearest_to(name), length, speed) for name, line in told.lines.items()]
    rows += [f"{name:<5}left out: {why}" for name, why in told.lost.items()]
    foot = (
        "In brackets where it is 8 times out of 10. When: from the helm put over to the larger of both. Nearest line: "
        "the least gap to another, whole lines, more than 10 m below the rod tips."
    )
    judged = "" if wanted.bottom_m is not None else " The bottom is not judged: give --bottom."
    offered = [
        wrapped for line in (*advice.lines(), judged.strip()) for wrapped in textwrap.wrap(line, WIDTH)
    ]
    return "\n".join([*textwrap.wrap(head, WIDTH), "", *rows, "", *textwrap.wrap(foot, WIDTH), "", *offered])


def _row(line: LineAhead, pair: PairAhead | None, length: DisplayUnit, speed: DisplayUnit) -> str:
    larger = max(line.rise, line.sink, key=lambda worst: worst.value)
    when = _clock(larger.at_s) if _shown(larger.value, length) != _shown(0.0, length) else "-"
    near = "-"
    if pair is not None:
        other = next(name for name in pair.rods if name != line.rod)
        near = f"{other} {_banded(pair.gap, length)} at {_clock(pair.gap.at_s)}"
    return (
        f"{line.rod:<5}{_shown(float(line.depth_m[0, 0]), length):>6}{_banded(line.rise, length):>12}"
        f"{_banded(line.sink, length):>13}{when:>6}{_banded(line.slowest, speed):>15}  {near}"
    )


def _shown(value: float, unit: DisplayUnit) -> str:
    return f"{value * unit.scale:.{unit.digits}f}"


def _banded(worst: Worst, unit: DisplayUnit) -> str:
    if math.isnan(worst.low):
        return _shown(worst.value, unit)
    return f"{_shown(worst.value, unit)} ({_shown(worst.low, unit)}-{_shown(worst.high, unit)})"


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
