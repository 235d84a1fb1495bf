"""What a turn costs this boat of its speed, learned turn by turn from speed and heading. Pure.

Model: through a steady turn at r rad/s a boat goes at (1 - loss r) times its speed before it, see Response.loss_s.
Each turn gives one observation of that loss, weighed against what is known so far as a scalar Kalman filter does.
Prior: 2 +- 2 s, that is 7 +- 7 % at 2 deg/s; judgement, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from assistant.ahead.manoeuvre import SPEED_SHARE, Response
from assistant.ahead.steering import FRESH, Helm
from assistant.messages import Estimate

PRIOR_S, PRIOR_SIGMA_S = 2.0, 2.0
DRIFT_S = 0.1  # judgement: load and trim change it by so much from one turn to the next (1 sigma)
STRAIGHT_S = (
    15.0  # over which the speed before a turn is averaged, and least time on a straight course for it
)
BEGIN_S = 10.0  # of a turn that are left out: helm and speed still answer
LEAST_S = 8.0  # of steady turn make an observation
LEAST_RADPS = math.radians(0.5)  # slower than this a turn costs nothing that could be seen
POSSIBLE = (-0.2, 0.6)  # of the speed lost; anything else was the throttle


@dataclass(frozen=True, slots=True)
class Learned:
    """Loss [s] with its sigma after so many turns; then what the turn or straight course under way has shown."""

    loss_s: float = PRIOR_S
    sigma_s: float = PRIOR_SIGMA_S
    turns: int = 0
    straight_s: float = 0.0  # on this course so far
    before_mps: float | None = None  # mean speed on the last straight course
    steady_s: float = 0.0  # of this turn, after BEGIN_S
    way_m: float = 0.0  # gone in that time
    from_rad: float = 0.0  # turned when it began
    turned_rad: float = 0.0  # turned by now

    def response(self) -> Response:
        """The boat as it is known by now."""
        return Response(loss_s=self.loss_s, loss_sigma_s=self.sigma_s)


def learned(old: Learned, helm: Helm, t_s: float, dt: float, stw: Estimate) -> Learned:
    """One look of dt [s] later."""
    if stw.value is None or stw.state not in FRESH or not 0.0 < dt < 1.0:
        return Learned(old.loss_s, old.sigma_s, old.turns)
    if not helm.side:
        return _on_straight(_judged(old) if old.steady_s else old, dt, stw.value)
    if t_s - helm.began_s < BEGIN_S:
        return replace(old, straight_s=0.0)
    begun = old if old.steady_s else replace(old, from_rad=helm.turned_rad, way_m=0.0, straight_s=0.0)
    return replace(
        begun, steady_s=begun.steady_s + dt, way_m=begun.way_m + stw.value * dt, turned_rad=helm.turned_rad
    )


def _on_straight(old: Learned, dt: float, speed_mps: float) -> Learned:
    """The mean speed of this course, once it is long enough to count."""
    straight_s = old.straight_s + dt
    if straight_s < 0.5 * STRAIGHT_S:  # the boat still picks up what the last turn cost
        return replace(old, straight_s=straight_s, before_mps=None)
    if old.before_mps is None:
        return replace(old, straight_s=straight_s, before_mps=speed_mps)
    mean = old.before_mps + dt / STRAIGHT_S * (speed_mps - old.before_mps)
    return replace(old, straight_s=straight_s, before_mps=mean)


def _judged(turn: Learned) -> Learned:
    """What the turn that has ended says."""
    fresh = Learned(turn.loss_s, turn.sigma_s, turn.turns)
    rate = abs(turn.turned_rad - turn.from_rad) / turn.steady_s
    if turn.before_mps is None or turn.before_mps <= 0.0 or turn.steady_s < LEAST_S or rate < LEAST_RADPS:
        return fresh
    lost = 1.0 - turn.way_m / turn.steady_s / turn.before_mps
    if not POSSIBLE[0] < lost < POSSIBLE[1]:
        return fresh
    variance = turn.sigma_s**2 + DRIFT_S**2
    gain = variance * rate / (variance * rate**2 + SPEED_SHARE**2)
    loss = max(turn.loss_s + gain * (lost - turn.loss_s * rate), 0.0)
    sigma = min(math.sqrt(variance * (1.0 - gain * rate)), PRIOR_SIGMA_S)
    return Learned(loss, sigma, turn.turns + 1)
