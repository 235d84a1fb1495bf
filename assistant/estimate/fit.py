"""Do speed log and compass still fit what GPS says? Factor, offset and current, followed all along.

With north + i east as complex numbers, ground = a water + c: `water` is the velocity through the water as shown, `c`
the current, |a| what the log's factor lacks, arg a what the compass's offset lacks. A Kalman filter over
(Re a, Im a, c north, c east): a all but constant, c wandering as current.py allows. On one heading a and c cannot be
told apart, and the sigma of a says so; turns part them. Looked at every EVERY_S on straight courses. Valid without
leeway and for a current that is the same within a mile or so.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from assistant.estimate.current import WANDER_MPS2
from assistant.messages import Misfit

Array = NDArray[np.float64]

EVERY_S = 10.0  # a receiver's slow error is another one by then
SLOWEST_MPS = 0.5
TURNING_RADPS = math.radians(1.0)  # faster, lags of the sensors look like a deviation
NOISE_MPS = 0.08  # of one look, per component: receiver, waves, deviation by heading
START = (0.15, 0.15, 0.5, 0.5)  # sigmas at first
DRIFT = 0.02**2 / 3600.0  # [1/s] variance that a gains: 2 % in an hour
GATE = 4.0  # sigmas: a look further off is left out
LOOKS = 60  # ten minutes of them before anything is said
WORST_SIGMA = 0.035
SIGMAS = 3.0
HELD = 0.7  # once said, until it is well inside again


class Fit(NamedTuple):
    """State of the filter."""

    t_s: float
    mean: tuple[float, float, float, float]
    covariance: Array  # (4, 4); never changed in place
    looks: int = 0
    said: tuple[Misfit, ...] = ()

    @property
    def factor(self) -> float:
        """True speed over the speed shown."""
        return math.hypot(*self.mean[:2])

    @property
    def offset_rad(self) -> float:
        """What the heading shown lacks."""
        return math.atan2(self.mean[1], self.mean[0])

    @property
    def sigmas(self) -> tuple[float, float]:
        """Of factor and offset [rad]."""
        return math.sqrt(self.covariance[0, 0]), math.sqrt(self.covariance[1, 1])


class Look(NamedTuple):
    """What is looked at: as shown, none of it under suspicion."""

    ground_mps: tuple[float, float]
    speed_mps: float
    heading_rad: float
    rate_radps: float
    speed_sigma: float  # share that the log's factor may be off
    heading_sigma: float  # [rad] that the compass may be off


def follow(old: Fit | None, t_s: float, look: Look) -> Fit:
    """One more look at t_s [s], if it is time for one and the boat holds its course."""
    if old is None:
        return Fit(t_s - EVERY_S, (1.0, 0.0, 0.0, 0.0), np.diag(np.square(START)))
    since_s = t_s - old.t_s
    if since_s < EVERY_S or look.speed_mps < SLOWEST_MPS or abs(look.rate_radps) > TURNING_RADPS:
        return old
    wander = min(since_s, 3600.0) * np.array([DRIFT, DRIFT, WANDER_MPS2, WANDER_MPS2])
    covariance = old.covariance + np.diag(wander)
    north, east = (look.speed_mps * f(look.heading_rad) for f in (math.cos, math.sin))
    sees = np.array([[north, -east, 1.0, 0.0], [east, north, 0.0, 1.0]])
    mean = np.array(old.mean)
    miss = np.array(look.ground_mps) - sees @ mean
    spread = sees @ covariance @ sees.T + NOISE_MPS**2 * np.eye(2)
    if float(miss @ np.linalg.solve(spread, miss)) > 2.0 * GATE**2:
        return old._replace(t_s=t_s, covariance=covariance)
    gain = covariance @ sees.T @ np.linalg.inv(spread)
    keep = np.eye(4) - gain @ sees
    mean = mean + gain @ miss
    now = Fit(
        t_s,
        (float(mean[0]), float(mean[1]), float(mean[2]), float(mean[3])),
        keep @ covariance @ keep.T + NOISE_MPS**2 * gain @ gain.T,  # Joseph's form stays positive
        old.looks + 1,
        old.said,
    )
    return now._replace(said=_said(now, look))


def beyond(fit: Fit | None, factor_sigma: float, offset_sigma: float) -> tuple[float, float]:
    """Sigmas to add to those an instrument is believed by: of the log's factor, and of the compass [rad].

    What GPS shows over several headings, weighed against that belief (both normal); only what exceeds the belief is
    added, so that a log that fits is worth no less. The numbers shown stay the instrument's: only its band reaches
    as far as it is off.
    """
    if fit is None:
        return 0.0, 0.0
    factor, offset = (
        math.sqrt(max(0.0, (off * own * own / (own * own + sigma * sigma)) ** 2 - own * own))
        for off, sigma, own in zip(
            (fit.factor - 1.0, fit.offset_rad), fit.sigmas, (factor_sigma, offset_sigma), strict=True
        )
    )
    return factor, offset


def _said(fit: Fit, look: Look) -> tuple[Misfit, ...]:
    """What no longer fits by more than its own sigma and that of this filter allow."""
    if fit.looks < LOOKS or max(fit.sigmas) > WORST_SIGMA:
        return ()
    held = {one.what for one in fit.said}
    found = []
    for what, off, sigma, own in (
        ("speed log", fit.factor - 1.0, fit.sigmas[0], look.speed_sigma),
        ("compass", fit.offset_rad, fit.sigmas[1], look.heading_sigma),
    ):
        limit = SIGMAS * math.hypot(sigma, own) * (HELD if what in held else 1.0)
        if abs(off) > limit:
            found.append(Misfit(what, off, sigma, limit))
    return tuple(found)
