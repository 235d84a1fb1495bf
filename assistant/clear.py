"""`spreadwatch clear`: in which order the lines come in or go out, how long it takes, what heading to hold."""

from __future__ import annotations

import json
import math

from assistant.ahead.clearing import Clearing, Weather, clearing, setting_out
from assistant.configured import Config
from assistant.dock_ask import SPEEDS, USUAL_MPS
from assistant.errors import OptionError
from assistant.lines import dock, spread
from assistant.messages import BoatState, Estimate
from assistant.payloads import rounded
from assistant.typed import SCALES, quantity
from assistant.units import DISPLAY_UNITS

DEG = math.pi / 180.0


def answer(
    config: Config,
    out: bool,
    fish: str | None,
    wind_deg: float | None,
    heading_deg: float | None,
    speed: str | None,
    as_json: bool,
) -> str:
    """The order, as text or JSON.

    Args:
        out: lines go out; else they come in. wind_deg: where it comes from, heading_deg: now, both true.
    Raises:
        OptionError: no such rod, or a number out of range.
    """
    names = [rod.name for rod in config.rods]
    if fish is not None and fish not in names:
        raise OptionError(f"--fish {fish}: want one of {', '.join(names)}")
    for option, value in (("--wind", wind_deg), ("--heading", heading_deg)):
        if value is not None and not 0.0 <= value <= 360.0:
            raise OptionError(f"{option} {value:g}: want 0..360 degrees, true")
    label = DISPLAY_UNITS[config.boat.units]["m/s"].label
    speed_mps = USUAL_MPS if speed is None else quantity("--speed", speed, SCALES["m/s"], label, SPEEDS)
    config = dock.at_dock(config).config
    still, ahead = (Estimate(value, 0.0, "ok", 0.0, "as asked") for value in (speed_mps, 0.0))
    state = spread.advance(spread.initial(config), still, ahead, (), 0.0, True)
    lines = spread.report(state, BoatState(0.0, stw_mps=still, heading_rad=ahead))
    weather = Weather(
        None if heading_deg is None else heading_deg * DEG,
        None if wind_deg is None else wind_deg * DEG,
        config.alerts.headings_rad,
    )
    found = setting_out(config, lines, weather) if out else clearing(config, lines, weather, fish)
    return as_object(found) if as_json else as_text(found, out, fish)


def as_object(found: Clearing) -> str:
    """One JSON object, in SI; heading in degrees true."""
    steps = [
        {"rod": step.rod, "takes_s": rounded(step.takes_s), "done_s": rounded(step.done_s)}
        for step in found.steps
    ]
    heading = None if found.heading_rad is None else rounded(found.heading_rad / DEG)
    return json.dumps(
        {"steps": steps, "lasts_s": rounded(found.lasts_s), "heading_deg": heading, "why": found.why}
    )


def as_text(found: Clearing, out: bool, fish: str | None) -> str:
    """Plain words."""
    doing = "All lines out" if out else "All lines aboard" if fish is None else f"All but {fish} aboard"
    hold = (
        "Hold this heading" if found.heading_rad is None else f"Hold {found.heading_rad / DEG % 360.0:03.0f}"
    )
    rows = [f"{k}. {step.rod:<5}{step.takes_s / 60.0:>5.1f} min" for k, step in enumerate(found.steps, 1)]
    return "\n".join(
        [
            f"{doing} in {math.ceil(found.lasts_s / 60.0)} min, one rod at a time.",
            f"{hold}: {found.why}.",
            "",
            *rows,
        ]
    )
