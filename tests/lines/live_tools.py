"""The live lines of a spread, driven tick by tick at a given speed and heading."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from assistant.configured import Config
from assistant.lines import spread
from assistant.messages import BoatState, Estimate, LineSetting, LineState


class Live:
    """A spread under way.

    Args:
        config: the rods; speed_mps: through the water; sigma: of it.
    """

    def __init__(self, config: Config, speed_mps: float, sigma: float = 0.03) -> None:
        self.config = config
        self.state = spread.initial(config)
        self.speed_mps, self.sigma, self.heading_rad, self.t_s = speed_mps, sigma, 0.0, 0.0
        self.unconverged = 0
        self.tick(())

    def tick(self, settings: Sequence[LineSetting], turn_radps: float = 0.0) -> None:
        """A quarter of a second on."""
        self.t_s += spread.STEP_S
        self.heading_rad += turn_radps * spread.STEP_S
        stw, heading = self._boat()
        self.state = spread.advance(self.state, stw, heading, settings, self.t_s, False)
        self.unconverged += self.state.unconverged

    def run(
        self, seconds: float, *settings: LineSetting, turn_radps: float = 0.0,
        each: Callable[[], None] = lambda: None,
    ) -> None:  # fmt: skip
        """Settings made now, then time."""
        for k in range(round(seconds / spread.STEP_S)):
            self.tick(settings if k == 0 else (), turn_radps)
            each()

    def set(self, rod: str, **what: object) -> LineSetting:
        """A setting made now."""
        return LineSetting(self.t_s, rod, **what)  # type: ignore[arg-type]

    def lines(self) -> dict[str, LineState]:
        """What is reported."""
        stw, heading = self._boat()
        boat = replace(BoatState(self.t_s), stw_mps=stw, heading_rad=heading)
        return spread.report(self.state, boat)

    def depth_m(self, rod: str) -> float:
        """Depth of one lure [m]; NaN where nothing is said."""
        value = self.lines()[rod].depth_m.value
        return math.nan if value is None else value

    def _boat(self) -> tuple[Estimate, Estimate]:
        ok = Estimate(self.speed_mps, self.sigma, "ok", 0.1, "test")
        return ok, Estimate(self.heading_rad % math.tau, 0.02, "ok", 0.1, "test")
