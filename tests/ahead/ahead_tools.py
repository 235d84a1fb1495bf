"""A live spread ready to be asked what comes, and the reference circles as fleets."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from assistant import config
from assistant.configured import Config
from assistant.lines import spread
from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.spread import SpreadState
from assistant.messages import Estimate


@cache
def shipped() -> Config:
    """The configuration that ships."""
    return config.load()


def only(*names: str) -> Config:
    """Some of its rods."""
    loaded = shipped()
    return replace(loaded, rods=tuple(rod for rod in loaded.rods if rod.name in names))


def under_way(loaded: Config, seconds: float, turn_radps: float = 0.0, speed_mps: float = 1.0) -> SpreadState:
    """A spread after so long, straight for the first tick, then turning."""
    state = spread.initial(loaded)
    return on(state, seconds, turn_radps, speed_mps)


def on(state: SpreadState, seconds: float, turn_radps: float = 0.0, speed_mps: float = 1.0) -> SpreadState:
    """The same spread `seconds` later, its boat turning."""
    heading = 0.5 if state.motion is None else state.motion.heading_rad
    t_s = state.t_s
    stw = Estimate(speed_mps, 0.03, "ok", 0.1, "test")
    for _ in range(round(seconds / spread.STEP_S)):
        t_s += spread.STEP_S
        if state.motion is not None:
            heading += turn_radps * spread.STEP_S
        state = spread.advance(
            state, stw, Estimate(heading % math.tau, 0.02, "ok", 0.1, "test"), (), t_s, False
        )
    return spread.caught_up(state)


def line_of(case: Mapping[str, Any]) -> tuple[Towed, Water]:
    """The line and the water of a reference case."""
    segments = [Segment(**part) for part in case["segments"]]
    bodies = [None if body is None else Body(**body) for body in case["bodies"]]
    bodies += [None] * (len(segments) - len(bodies))
    water = Water(case["water"]["density_kg_m3"], case["water"]["gravity_m_s2"])
    return Towed(tuple(segments), tuple(bodies), case["tow_point_height_m"]), water
