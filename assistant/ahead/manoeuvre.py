"""What the boat may do from now on, as data, and the ways it then goes. Pure.

Frame: drifts with the surface layer; north, east [m]; headings clockwise from true north, turns + to starboard.
Boat: rate of turn and speed answer as first-order lags (Nomoto, Taguchi, Honda & Hirano 1957 for the rate; from
memory), and a turn may cost a share of the speed. A way is worked out in closed form but for its place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from assistant.lines.draws import normal_draws

Array = NDArray[np.float64]

RATE_SHARE = 0.15
"""Judgement: a turn steered by hand keeps the rate that was meant within this share (1 sigma)."""
STOP_SIGMA_RAD = math.radians(5.0)
"""Judgement: nor is it stopped nearer than this to the heading that was meant (1 sigma)."""
SPEED_SHARE = 0.04
"""Judgement: a throttle set to another speed gives it within this share (1 sigma)."""
MOST_LOSS = 0.9  # of the speed in a turn, however hard
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Response:
    """How the boat answers. Defaults are judgement for a 20 ft open boat; it loses no speed in a turn until told so."""

    turn_lag_s: float = 2.0
    speed_lag_s: float = 6.0
    loss_s: float = 0.0  # share of the speed lost per rad/s of turn
    loss_sigma_s: float = 0.0  # how well that is known


@dataclass(frozen=True, slots=True)
class Stop:
    """A turn may stop after so much more [rad, + to starboard], with this weight."""

    angle_rad: float
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Manoeuvre:
    """What the boat does from now on; the default is straight on at the speed it has.

    stops: where the turn may end, all to one side; rate_radps >= 0: how fast, with rate_share its sigma as a share.
    under_way: the boat turns at that rate already. speed_mps: through the water, to change to; None: as it is.
    """

    about: str = "straight on"
    stops: tuple[Stop, ...] = (Stop(0.0),)
    rate_radps: float = 0.0
    rate_share: float = 0.0
    stop_sigma_rad: float = 0.0
    under_way: bool = False
    speed_mps: float | None = None
    speed_share: float = 0.0

    def angle_rad(self, level: float = 0.5) -> float:
        """The angle that the turn stops short of with this probability, over the stops alone; 0.5: the median."""
        ordered = sorted(self.stops, key=lambda stop: abs(stop.angle_rad))
        left = level * sum(stop.weight for stop in ordered)
        for stop in ordered:
            left -= stop.weight
            if left <= 1e-12:
                return stop.angle_rad
        return ordered[-1].angle_rad

    def lasts_s(self, response: Response) -> float:
        """Until the median turn is done, or the speed has changed [s]."""
        turn = abs(self.angle_rad()) / self.rate_radps if self.rate_radps > 0.0 else 0.0
        return max(turn, 3.0 * response.speed_lag_s if self.speed_mps is not None else 0.0)


STRAIGHT_ON = Manoeuvre()


def planned(
    angle_rad: float, rate_radps: float, speed_mps: float | None = None, about: str = "turn"
) -> Manoeuvre:
    """A turn that is meant: by an angle (+ to starboard) at a rate, perhaps to another speed.

    Raises:
        ValueError: a turn without a rate.
    """
    if angle_rad and not rate_radps > 0.0:
        raise ValueError(
            f"a turn of {math.degrees(angle_rad):g} degrees at {math.degrees(rate_radps):g} deg/s"
        )
    share = 0.0 if speed_mps is None else SPEED_SHARE
    return Manoeuvre(
        about, (Stop(angle_rad),), rate_radps, RATE_SHARE, STOP_SIGMA_RAD if angle_rad else 0.0,
        speed_mps=speed_mps, speed_share=share,
    )  # fmt: skip


def on_radius(angle_rad: float, radius_m: float, speed_mps: float, about: str = "turn") -> Manoeuvre:
    """A turn that is meant on a radius [m], at the speed the boat has [m/s].

    Raises:
        ValueError: no radius.
    """
    if not radius_m > 0.0:
        raise ValueError(f"a turn on a radius of {radius_m:g} m")
    return planned(angle_rad, speed_mps / radius_m, about=about)


def slowed(speed_mps: float, about: str = "slow down") -> Manoeuvre:
    """Straight on at another speed; for a fish: slow, with way on."""
    return planned(0.0, 0.0, speed_mps, about)


@dataclass(frozen=True, slots=True)
class Start:
    """Where M boats begin: place [m] and speed [m/s], (M,) each; one heading [rad]. Boat 0 is the nominal one."""

    north_m: Array
    east_m: Array
    speed_mps: Array
    heading_rad: float


@dataclass(frozen=True, slots=True)
class Ways:
    """Where M boats go: (T, M) each, a row every step_s from now on; headings are not wrapped."""

    step_s: float
    north_m: Array
    east_m: Array
    speed_mps: Array
    heading_rad: Array
    turn_radps: Array


@dataclass(frozen=True, slots=True)
class Draws:
    """How M boats differ: angle [rad], rate [rad/s], speed to change to over the nominal one; boat 0 as meant.

    loss_z: how far off the loss of speed in a turn is, in sigmas.
    """

    angle_rad: Array
    rate_radps: Array
    speed_factor: Array
    loss_z: Array


def drawn(manoeuvre: Manoeuvre, seed: int) -> Draws:
    """One boat as meant (the median) and one per member of the ensemble; the same for the same seed."""

    def z(key: str) -> Array:
        return normal_draws(seed, f"ahead {key}")

    levels = [_NORMAL.cdf(float(level)) for level in z("stop")]
    stops = np.array([manoeuvre.angle_rad(level) for level in levels]) + manoeuvre.stop_sigma_rad * z("angle")
    nominal = manoeuvre.angle_rad()
    if nominal:  # however short a turn is cut, it does not go to the other side
        stops = np.copysign(np.maximum(stops * math.copysign(1.0, nominal), 0.0), nominal)
    return Draws(
        np.concatenate([[nominal], stops]),
        manoeuvre.rate_radps * np.exp(_first_zero(manoeuvre.rate_share * z("rate"))),
        np.exp(_first_zero(manoeuvre.speed_share * z("speed"))),
        _first_zero(z("loss")),
    )


def _first_zero(values: Array) -> Array:
    return np.concatenate([np.zeros(1), values])


def as_meant(manoeuvre: Manoeuvre) -> Draws:
    """The nominal boat alone."""
    one = np.ones(1)
    return Draws(manoeuvre.angle_rad() * one, manoeuvre.rate_radps * one, one, 0.0 * one)


def ways(
    manoeuvre: Manoeuvre, response: Response, draws: Draws, start: Start, step_s: float, steps: int
) -> Ways:
    """The ways of the boats over `steps` steps."""
    t: Array = np.asarray(step_s * np.arange(steps + 1), np.float64)[:, None]
    turn, turned = _turning(manoeuvre, response, draws, t)
    heading = start.heading_rad + turned
    speed = _speed(manoeuvre, response, draws, start, turn, t)
    way = 0.5 * step_s * (speed[1:] + speed[:-1])
    mid = 0.5 * (heading[1:] + heading[:-1])
    north, east = np.empty_like(heading), np.empty_like(heading)
    for place, first, part in ((north, start.north_m, np.cos(mid)), (east, start.east_m, np.sin(mid))):
        place[0] = first
        np.cumsum(way * part, axis=0, out=place[1:])
        place[1:] += first
    return Ways(step_s, north, east, speed, heading, turn)


def _turning(manoeuvre: Manoeuvre, response: Response, draws: Draws, t: Array) -> tuple[Array, Array]:
    """(T, M) rate of turn [rad/s] and angle turned [rad]: a rate ordered for as long as makes the angle."""
    lag = max(response.turn_lag_s, 1e-3)
    rate = np.copysign(draws.rate_radps, draws.angle_rad)
    before = rate if manoeuvre.under_way else np.zeros_like(rate)
    size = np.where(rate != 0.0, rate, 1.0)
    helm_s = np.where(rate != 0.0, np.maximum((draws.angle_rad - before * lag) / size, 0.0), 0.0)
    on = np.minimum(t, helm_s)
    decay = np.exp(-on / lag)
    turn = rate * (1.0 - decay) + before * decay
    turned = rate * (on - lag * (1.0 - decay)) + before * lag * (1.0 - decay)
    after = np.exp(-(t - on) / lag)
    return turn * after, turned + turn * lag * (1.0 - after)


def _speed(
    manoeuvre: Manoeuvre, response: Response, draws: Draws, start: Start, turn: Array, t: Array
) -> Array:
    """(T, M) speed through the water [m/s]."""
    loss_s = np.maximum(response.loss_s + response.loss_sigma_s * draws.loss_z, 0.0)
    kept = 1.0 - np.minimum(loss_s * np.abs(turn), MOST_LOSS)
    straight = start.speed_mps / kept[0]
    if manoeuvre.speed_mps is None:
        return np.asarray(straight * kept)
    target = manoeuvre.speed_mps * draws.speed_factor + (start.speed_mps - start.speed_mps[0])
    lag = np.exp(-t / max(response.speed_lag_s, 1e-3))
    return np.asarray(np.maximum(target + (straight - target) * lag, 0.0) * kept)


STOPS: tuple[tuple[float, float], ...] = (
    (30.0, 4.0),
    (60.0, 3.0),
    (90.0, 3.0),
    (120.0, 1.5),
    (150.0, 1.5),
    (180.0, 3.0),
    (270.0, 0.5),
    (360.0, 0.5),
)
"""Where a turn that has begun may end, in degrees from where it began, and how often. Judgement: many turns follow a
contour for a little, some go around a mark, a good few go all the way back.
"""
STEERED_RATE_SHARE = 0.25
"""Judgement: a turn under way keeps the rate it has now within this share (1 sigma)."""
JUST_DONE_RAD = math.radians(
    5.0
)  # nearer than this to a stop it is taken to be stopping, or to have gone past


def steered(turned_rad: float, rate_radps: float, rate_sigma_radps: float = 0.0) -> Manoeuvre:
    """The turn the boat is in: it may stop at any of STOPS that it has not passed.

    Args:
        turned_rad: so far; rate_radps: now, both + to starboard; rate_sigma_radps: of the rate now.
    """
    side, gone, rate = math.copysign(1.0, rate_radps), abs(turned_rad), abs(rate_radps)
    left = [(math.radians(angle) - gone, weight) for angle, weight in STOPS]
    stops = tuple(Stop(side * angle, weight) for angle, weight in left if angle > JUST_DONE_RAD)
    own = rate_sigma_radps / rate if rate > 0.0 else 0.0
    return Manoeuvre(
        "the turn being steered",
        stops or (Stop(side * math.radians(90.0)),),  # round and round
        rate,
        math.hypot(STEERED_RATE_SHARE, min(own, 1.0)),
        STOP_SIGMA_RAD,
        under_way=True,
    )
