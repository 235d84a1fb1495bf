"""The boat: a plan of legs, first-order answers of speed and rate of turn, waves that nudge both.

Axes: north, east in the frame of the surface layer; heading clockwise from true north [rad]. No leeway: the
boat moves through the surface layer along its heading.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.units import TAU, wrap_pi, wrap_tau
from sim.checked import Number

HANDLING = (
    Number("speed_lag_s", 0.1, 60.0, 6.0),
    Number("turn_lag_s", 0.1, 60.0, 2.0),
    Number("turn_limit_deg_s", 0.1, 30.0, 2.0),  # when steering to a heading
    Number("wave_period_s", 0.5, 20.0, 3.0),
    Number("wave_surge_mps", 0.0, 1.0, 0.03),  # amplitude
    Number("yaw_sigma_deg_s", 0.0, 5.0, 0.2),
)
"""Keys of a scenario's [boat], their allowed ranges and defaults; all judgement for a 20 ft open boat."""

HEADING_GAIN = 0.4
"""Rate of turn ordered per heading error [1/s]."""

YAW_MEMORY_S = 1.5
"""How long a nudge of the bow lasts [s]."""


@dataclass(frozen=True, slots=True)
class Handling:
    """The rows of HANDLING, by name."""

    speed_lag_s: float
    turn_lag_s: float
    turn_limit_deg_s: float
    wave_period_s: float
    wave_surge_mps: float
    yaw_sigma_deg_s: float


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg of the plan: hold a heading [rad], or (heading None) turn at a rate [rad/s], + to starboard."""

    duration_s: float
    speed_mps: float
    heading_rad: float | None
    turn_radps: float = 0.0
    weave_rad: float = 0.0  # of easy S-curves about the heading
    weave_s: float = 360.0  # one to each side

    def ordered_rad(self, t_s: float) -> float | None:
        """The heading to hold at a time."""
        if self.heading_rad is None:
            return None
        return self.heading_rad + self.weave_rad * math.sin(TAU * t_s / self.weave_s)


@dataclass(frozen=True, slots=True)
class BoatTruth:
    """The boat at one instant: place in the surface layer's frame [m], motion through the water."""

    t_s: float
    north_m: float
    east_m: float
    heading_rad: float
    stw_mps: float
    turn_radps: float


class Boat:
    """The boat under way.

    Args:
        legs: the plan; the first leg must name a heading. It is repeated for ever if `repeat`, else its last
        leg lasts. handling: how it answers.
        rng: where its waves come from.
    """

    def __init__(
        self, legs: Sequence[Leg], handling: Handling, repeat: bool, rng: np.random.Generator
    ) -> None:
        self._handling, self._repeat, self._rng = handling, repeat, rng
        self.follow(legs)
        first = self._legs[0]
        self._calm_speed_mps = first.speed_mps
        self._steered_radps = 0.0
        self._yaw_radps = 0.0
        self.now = BoatTruth(0.0, 0.0, 0.0, first.heading_rad or 0.0, first.speed_mps, 0.0)

    def follow(self, legs: Sequence[Leg]) -> None:
        """Another plan, counted from t = 0 as the first one was."""
        self._legs = tuple(legs)
        self._ends = np.cumsum([leg.duration_s for leg in legs])

    def leg(self, t_s: float) -> Leg:
        """The leg of a time."""
        if self._repeat:
            t_s = math.fmod(t_s, float(self._ends[-1]))
        return self._legs[min(int(np.searchsorted(self._ends, t_s, side="right")), len(self._legs) - 1)]

    def step(self, h: float) -> BoatTruth:
        """Go on by h seconds."""
        now, handling = self.now, self._handling
        leg = self.leg(now.t_s)
        limit = math.radians(handling.turn_limit_deg_s)
        ordered = leg.turn_radps
        wanted = leg.ordered_rad(now.t_s)
        if wanted is not None:
            error = wrap_pi(wanted - now.heading_rad)
            ordered = max(-limit, min(limit, HEADING_GAIN * error))
        self._calm_speed_mps += (leg.speed_mps - self._calm_speed_mps) * -math.expm1(
            -h / handling.speed_lag_s
        )
        self._steered_radps += (ordered - self._steered_radps) * -math.expm1(-h / handling.turn_lag_s)
        keep = math.exp(-h / YAW_MEMORY_S)
        nudge = math.radians(handling.yaw_sigma_deg_s) * math.sqrt(1.0 - keep * keep)
        self._yaw_radps = keep * self._yaw_radps + nudge * float(self._rng.standard_normal())
        t = now.t_s + h
        surge = handling.wave_surge_mps * math.sin(TAU * t / handling.wave_period_s)
        speed = max(0.0, self._calm_speed_mps + surge)
        turn = self._steered_radps + self._yaw_radps
        middle = now.heading_rad + 0.5 * h * turn
        way = 0.5 * h * (now.stw_mps + speed)
        self.now = BoatTruth(
            t_s=t,
            north_m=now.north_m + way * math.cos(middle),
            east_m=now.east_m + way * math.sin(middle),
            heading_rad=wrap_tau(now.heading_rad + h * turn),
            stw_mps=speed,
            turn_radps=turn,
        )
        return self.now


def rod_tip_m(
    boat: BoatTruth, forward_m: float, starboard_m: float, height_m: float
) -> tuple[float, float, float]:
    """Place of a rod tip, north, east, down [m]; the boat moves rigidly and stays level."""
    c, s = math.cos(boat.heading_rad), math.sin(boat.heading_rad)
    north = boat.north_m + forward_m * c - starboard_m * s
    return north, boat.east_m + forward_m * s + starboard_m * c, -height_m
