"""Speed and course over ground: one velocity vector (north, east) from one receiver.

Jumps are judged on the vector, since the course alone is noise when the boat hardly moves: a fix that no
small boat could have reached waits for a second one that agrees. Speed is smoothed over SMOOTH_S; the course
and its rate come from turning.py, so that they follow a turn.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from assistant.estimate import turning
from assistant.estimate.turning import Turning

SMOOTH_S = 1.0
JUMP_MPS = 1.2  # believable change of the vector between two fixes, and ...
JUMP_MPS2 = 2.0  # ... per second on top of it (a 30 deg/s turn at 4 m/s)
SLOW_MPS = 0.3  # below this the course says nothing
FIX_SIGMA_MPS = 0.05  # slow error of a small-boat receiver, per component; includes steps of 0.1 kn (common
# practice, no source); it outlasts the smoothing
UNIFORM_SIGMA_RAD = math.pi / math.sqrt(3.0)
"""Sigma of a direction of which nothing is known."""


class Ground(NamedTuple):
    """The last believed velocity over ground; cog_rad None when never known."""

    t_s: float
    north_mps: float
    east_mps: float
    speed_mps: float
    variance: float = 0.04**2  # of one fix about the smoothed one [m^2/s^2]
    cog_rad: float | None = None
    cog_t_s: float = -math.inf
    course: Turning | None = None
    waiting: tuple[float, float] | None = None  # (north, east) of a fix that jumped
    lag_s: float = 0.0  # how far its course trails the compass

    def sigma_mps(self) -> float:
        """Sigma of the smoothed speed, and of each component of the vector [m/s]."""
        return math.sqrt(0.5 * self.variance + FIX_SIGMA_MPS**2)

    def cog_sigma_rad(self) -> float:
        """Sigma of the course [rad] from the speed alone: unknown at rest."""
        return min(UNIFORM_SIGMA_RAD, self.sigma_mps() / max(self.speed_mps, 1e-6))


def fix(old: Ground | None, t_s: float, sog_mps: float, cog_rad: float | None) -> Ground | None:
    """Take in a speed [m/s] and a course [rad] of the same instant; None while no vector is known."""
    if cog_rad is None:
        if sog_mps >= SLOW_MPS:
            return old  # a moving boat without a course: the vector ages
        return _blend(old, t_s, (0.0, 0.0), sog_mps, None)
    vector = (sog_mps * math.cos(cog_rad), sog_mps * math.sin(cog_rad))
    if old is not None and _jumped(old, t_s, vector):
        witness = old.waiting is not None and math.dist(old.waiting, vector) <= JUMP_MPS
        if not witness:
            return old._replace(waiting=vector)
        old = old._replace(north_mps=vector[0], east_mps=vector[1], speed_mps=sog_mps, course=None)
    return _blend(old, t_s, vector, sog_mps, cog_rad)


def _jumped(old: Ground, t_s: float, vector: tuple[float, float]) -> bool:
    dt_s = min(max(t_s - old.t_s, 0.0), 5.0)
    return math.dist((old.north_mps, old.east_mps), vector) > JUMP_MPS + JUMP_MPS2 * dt_s


def _blend(
    old: Ground | None, t_s: float, vector: tuple[float, float], sog_mps: float, cog_rad: float | None
) -> Ground:
    if old is None or t_s - old.t_s > 5.0:
        old = Ground(t_s - 10.0 * SMOOTH_S, *vector, sog_mps, course=old.course if old else None)
    dt_s = t_s - old.t_s
    gain = 1.0 - math.exp(-dt_s / SMOOTH_S)
    north = old.north_mps + gain * (vector[0] - old.north_mps)
    east = old.east_mps + gain * (vector[1] - old.east_mps)
    miss = (sog_mps - old.speed_mps) ** 2
    learn = min(dt_s, 5.0) / 20.0
    now = old._replace(
        t_s=t_s,
        north_mps=north,
        east_mps=east,
        speed_mps=old.speed_mps + gain * (sog_mps - old.speed_mps),
        variance=old.variance + learn * (min(miss, 1.0) - old.variance),
        waiting=None,
    )
    if cog_rad is None:
        return now
    if now.speed_mps < SLOW_MPS:
        return now._replace(cog_rad=cog_rad, cog_t_s=t_s, course=None)
    noise = min(1.0, (FIX_SIGMA_MPS / now.speed_mps) ** 2)
    return now._replace(cog_rad=cog_rad, cog_t_s=t_s, course=turning.correct(now.course, t_s, cog_rad, noise))


def minus(ground: Ground, t_s: float, north_mps: float, east_mps: float) -> tuple[float, float, float]:
    """Ground velocity at t_s less a (north, east) velocity [m/s]: its length and both components."""
    north, east = ground.north_mps, ground.east_mps
    if ground.course is not None:  # the course filter follows a turn, the averaged vector lags behind
        angle, _ = turning.angle_at(ground.course, t_s, ground.lag_s)
        north, east = ground.speed_mps * math.cos(angle), ground.speed_mps * math.sin(angle)
    north, east = north - north_mps, east - east_mps
    return math.hypot(north, east), north, east
