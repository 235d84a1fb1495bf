"""Set and drift of the surface layer: velocity over ground minus velocity through the water, averaged.

Components (north, east) [m/s] of the water's motion over ground. Each difference carries the speed log's
error along the heading and the compass's error across it; these do not average out while the boat holds its
course, so they enter the sigma in full, the scatter of the differences only by the length of the average.
Valid where the current changes little within AVERAGE_S and the boat makes no leeway.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from assistant.estimate.ground import UNIFORM_SIGMA_RAD

AVERAGE_S = 40.0
CORRELATED_S = 10.0  # differences closer in time than this tell the same: the receiver's slow error
# [m^2/s^3] growth of the variance of a current no longer measured: 3 cm/s in the first minute
WANDER_MPS2 = 0.03**2 / 60.0
SHORT_ARROW = 2.0  # an arrow not much longer than its error may point anywhere: keeps 99.9 % within 3.2 sigma
KEEP_S = 600.0  # a current older than this is unknown


class Current(NamedTuple):
    """The averaged current and its worth; axes along and across the heading it was last learned on."""

    t_s: float  # of the last difference
    input_s: float  # of the oldest reading in it
    north_mps: float
    east_mps: float
    learned_s: float = 0.0
    scatter: float = 0.10**2  # variance of one difference, per component; learned from there
    heading_rad: float = 0.0
    along_sigma_mps: float = 0.0  # systematic
    across_sigma_mps: float = 0.0

    def random_variance(self) -> float:
        """Variance per component [m^2/s^2] of what averages out."""
        return self.scatter * min(1.0, CORRELATED_S / max(min(self.learned_s, 2.0 * AVERAGE_S), 1e-6))

    def sigma_mps(self, t_s: float) -> float:
        """Sigma [m/s] of either component at t_s, whatever the direction."""
        fixed = 0.5 * (self.along_sigma_mps**2 + self.across_sigma_mps**2)
        wander = WANDER_MPS2 * max(0.0, t_s - self.t_s)
        return math.sqrt(fixed + self.random_variance() + wander)

    def drift_mps(self) -> float:
        """Speed of the current [m/s]."""
        return math.hypot(self.north_mps, self.east_mps)

    def polar_sigmas(self) -> tuple[float, float]:
        """Sigma of the set [rad] and of the drift [m/s]."""
        drift = self.drift_mps()
        angle = math.atan2(self.east_mps, self.north_mps) - self.heading_rad
        c2, s2 = math.cos(angle) ** 2, math.sin(angle) ** 2
        along2, across2 = self.along_sigma_mps**2, self.across_sigma_mps**2
        random = self.random_variance()
        drift_sigma = math.sqrt(c2 * along2 + s2 * across2 + random)
        share = math.sqrt(s2 * along2 + c2 * across2 + random) / max(drift, 1e-6)
        set_sigma = share * (1.0 + SHORT_ARROW * share * share)
        return min(UNIFORM_SIGMA_RAD, set_sigma), drift_sigma


class Water(NamedTuple):
    """Velocity through the water with the sigmas that no averaging removes."""

    speed_mps: float
    heading_rad: float
    fixed_sigma_mps: float
    fixed_sigma_rad: float


def learn(
    old: Current | None,
    t_s: float,
    input_s: float,
    ground_mps: tuple[float, float],
    water: Water,
) -> Current:
    """Take in one difference of the (north, east) ground velocity and the water velocity."""
    north = ground_mps[0] - water.speed_mps * math.cos(water.heading_rad)
    east = ground_mps[1] - water.speed_mps * math.sin(water.heading_rad)
    if old is None or t_s - old.t_s > KEEP_S:
        old = Current(t_s - 0.25, input_s, north, east)
    dt_s = min(t_s - old.t_s, 1.0)
    gain = dt_s / min(AVERAGE_S, old.learned_s + dt_s)
    off_n, off_e = north - old.north_mps, east - old.east_mps
    forget = dt_s / (AVERAGE_S + dt_s)
    return Current(
        t_s=t_s,
        input_s=input_s,
        north_mps=old.north_mps + gain * off_n,
        east_mps=old.east_mps + gain * off_e,
        learned_s=min(old.learned_s + dt_s, 10.0 * AVERAGE_S),
        scatter=old.scatter + forget * (0.5 * (off_n * off_n + off_e * off_e) - old.scatter),
        heading_rad=water.heading_rad,
        along_sigma_mps=water.fixed_sigma_mps,
        across_sigma_mps=water.speed_mps * water.fixed_sigma_rad,
    )
