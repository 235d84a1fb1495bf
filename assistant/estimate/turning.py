"""An angle and its rate from noisy readings of the angle: for the compass and for the course over ground.

Kalman filter, state x = (angle [rad], rate [rad/s]), constant rate driven by white angular acceleration
(Bar-Shalom, Li, Kirubarajan, "Estimation with Applications to Tracking and Navigation", 2001, section 6.2.2:
the discretised continuous white noise acceleration model; from memory). Two levels of that noise: QUIET while
the readings fit (livelier in a turn, which ends at any moment), HOT for some seconds once their innovations lean
to one side, so that straight running is smooth and a turn is followed without lag. The measurement noise is learned
from the innovations of quiet running. Valid for turns to about 20 deg/s with readings at least every 2 s.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from assistant.units import wrap_pi, wrap_tau

DEG = math.pi / 180.0
Q_QUIET = (0.12 * DEG) ** 2  # [rad^2/s^3]
Q_TURN = 0.01  # [1/s] of the rate squared, on top of it: a helm that is over will be put back
Q_HOT = (2.0 * DEG) ** 2  # [rad^2/s^3] a helm put over: a few deg/s more within a second
HOT_S = 3.0
LEAN_TAU_S = 2.0  # innovations are averaged over this to see them lean
LEAN_LIMIT = 2.3  # standard deviations of that average
NOISE_TAU_S = 60.0
NOISE_FLOOR = (0.4 * DEG) ** 2
NOISE_CEIL = (6.0 * DEG) ** 2
FORGET_S = 5.0  # after a longer silence the filter starts anew
AHEAD_S = 1.5  # the angle is carried ahead by its rate this long after the last reading
OUTLIER = 25.0 * DEG  # a single reading this far off waits for a second one


class Turning(NamedTuple):
    """Filter state at t_s; angles in the frame of the readings."""

    t_s: float
    angle_rad: float
    rate_radps: float = 0.0
    p_aa: float = (1.5 * DEG) ** 2
    p_ar: float = 0.0
    p_rr: float = (1.0 * DEG) ** 2
    noise: float = (1.2 * DEG) ** 2  # measurement variance, learned
    lean: float = 0.0
    hot_until_s: float = -math.inf
    outlier: bool = False  # the last reading was kept waiting


def correct(old: Turning | None, t_s: float, angle_rad: float, noise_min: float = 0.0) -> Turning:
    """Take in one reading of the angle [rad] with at least noise_min [rad^2] of variance."""
    if old is None or t_s - old.t_s > FORGET_S or t_s < old.t_s:
        return Turning(t_s, wrap_tau(angle_rad), noise=old.noise if old else Turning(0.0, 0.0).noise)
    quiet = Q_QUIET + Q_TURN * old.rate_radps**2
    now = _predict(old, t_s, Q_HOT if t_s <= old.hot_until_s else quiet)
    innovation = wrap_pi(angle_rad - now.angle_rad)
    noise = max(now.noise, noise_min)
    if abs(innovation) > max(OUTLIER, 4.0 * math.sqrt(now.p_aa + noise)) and not old.outlier:
        return old._replace(outlier=True)
    dt_s = t_s - old.t_s
    score = innovation / math.sqrt(now.p_aa + noise)
    gain = dt_s / (LEAN_TAU_S + dt_s)
    lean = now.lean + gain * (max(-4.0, min(4.0, score)) - now.lean)
    spread = math.sqrt(gain / (2.0 - gain)) or 1.0
    if abs(lean) > LEAN_LIMIT * spread or abs(score) > 3.5:
        if t_s > old.hot_until_s:
            now = _predict(old, t_s, Q_HOT)
        now = now._replace(hot_until_s=t_s + HOT_S)
    elif t_s > old.hot_until_s:
        learn = dt_s / (NOISE_TAU_S + dt_s)
        seen = max(NOISE_FLOOR, innovation * innovation - now.p_aa)
        now = now._replace(noise=min(NOISE_CEIL, now.noise + learn * (seen - now.noise)))
    return _update(now, innovation, noise)._replace(lean=lean, outlier=False)


def correct_rate(old: Turning, rate_radps: float, variance: float) -> Turning:
    """Take in a reading of the rate itself [rad/s] with its variance [rad^2/s^2]."""
    total = old.p_rr + variance
    innovation = rate_radps - old.rate_radps
    k_a, k_r = old.p_ar / total, old.p_rr / total
    return old._replace(
        angle_rad=wrap_tau(old.angle_rad + k_a * innovation),
        rate_radps=old.rate_radps + k_r * innovation,
        p_aa=old.p_aa - k_a * old.p_ar,
        p_ar=old.p_ar - k_a * old.p_rr,
        p_rr=old.p_rr - k_r * old.p_rr,
    )


def angle_at(state: Turning, t_s: float, lag_s: float = 0.0) -> tuple[float, float]:
    """Angle [rad] in [0, 2 pi) and its random sigma [rad] at t_s >= the last reading; lag_s: of the sensor."""
    ahead_s = min(t_s - state.t_s, AHEAD_S) + lag_s
    late_s = max(0.0, t_s - state.t_s - AHEAD_S)
    variance = state.p_aa + 2.0 * ahead_s * state.p_ar + ahead_s * ahead_s * state.p_rr
    drift = late_s * math.sqrt(state.p_rr + state.rate_radps**2)
    return wrap_tau(state.angle_rad + ahead_s * state.rate_radps), math.sqrt(
        max(variance, 0.0) + drift * drift
    )


def _predict(old: Turning, t_s: float, q: float) -> Turning:
    dt_s = t_s - old.t_s
    return old._replace(
        t_s=t_s,
        angle_rad=wrap_tau(old.angle_rad + dt_s * old.rate_radps),
        p_aa=old.p_aa + dt_s * (2.0 * old.p_ar + dt_s * old.p_rr) + q * dt_s**3 / 3.0,
        p_ar=old.p_ar + dt_s * old.p_rr + q * dt_s**2 / 2.0,
        p_rr=old.p_rr + q * dt_s,
    )


def _update(now: Turning, innovation: float, noise: float) -> Turning:
    total = now.p_aa + noise
    k_a, k_r = now.p_aa / total, now.p_ar / total
    return now._replace(
        angle_rad=wrap_tau(now.angle_rad + k_a * innovation),
        rate_radps=now.rate_radps + k_r * innovation,
        p_aa=(1.0 - k_a) * now.p_aa,
        p_ar=(1.0 - k_a) * now.p_ar,
        p_rr=now.p_rr - k_r * now.p_ar,
    )
