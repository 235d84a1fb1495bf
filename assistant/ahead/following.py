"""What forecasts need of the past, followed step by step: steering, soundings behind the boat, its answer to the helm.

Pure; and what to forecast now: the turn being steered, a stop for a fish, or straight on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from assistant.ahead.gaps import Soundings, sounded
from assistant.ahead.learning import Learned, learned
from assistant.ahead.manoeuvre import STRAIGHT_ON, Manoeuvre, slowed
from assistant.ahead.steering import WANDER_OVER_S, Helm, manoeuvre_of, watched
from assistant.lines.motion import Motion
from assistant.messages import STATES, BoatState, Estimate, OutlookKind, RodState, State

SLOW_ENOUGH = 1.1
"""A boat at this share of that speed has slowed: from there on it is forecast as it goes."""
FORECAST_STATES = ("ok", "doubtful")
STEADY_S, LEAST_S, LEAST_ROWS = 10.0, 5.0, 8
"""Judgement: three waves; a slope over less of them is no better than the rate now."""


@dataclass(frozen=True, slots=True)
class Followed:
    """All that is remembered between two steps."""

    helm: Helm = field(default_factory=Helm)
    learned: Learned = field(default_factory=Learned)
    soundings: Soundings | None = None
    t_s: float = 0.0


def followed(
    old: Followed, t_s: float, stw: Estimate, heading: Estimate, motion: Motion | None, boat: BoatState | None
) -> Followed:
    """One step later.

    Args:
        stw, heading: at t_s; motion: of the lines, None while they do not go; boat: where a Frame was made, else None.
    """
    helm = watched(old.helm, t_s, heading)
    soundings = old.soundings
    if boat is not None and motion is not None:
        soundings = sounded(soundings, motion, boat)
    known = learned(old.learned, helm, t_s, t_s - old.t_s, stw)
    return Followed(helm, known, soundings, t_s)


@dataclass(frozen=True, slots=True)
class Question:
    """What to forecast, and what it rests on."""

    kind: OutlookKind
    manoeuvre: Manoeuvre
    state: State = "ok"
    cause: str = ""


def turning(now: Followed) -> bool:
    """Whether the boat is in a turn."""
    return now.helm.side != 0


def question_of(
    now: Followed, boat: BoatState, rod_states: Iterable[RodState], fish_speed_mps: float
) -> Question | None:
    """What the boat does now; with a fish on, of slowing down for it. None while speed or heading is not known."""
    state, cause = _worth(boat)
    if state not in FORECAST_STATES:
        return None
    stw = boat.stw_mps.value
    if stw is not None and stw > SLOW_ENOUGH * fish_speed_mps and "fish on" in set(rod_states):
        return Question("fish", stop_for_fish(fish_speed_mps), state, cause)
    manoeuvre = manoeuvre_of(now.helm, steady_rate(now.helm, boat.rate_of_turn_radps))
    return Question("straight" if manoeuvre is STRAIGHT_ON else "turn", manoeuvre, state, cause)


def steady_rate(helm: Helm, rate_now: Estimate) -> Estimate:
    """The rate at which the turn goes on [rad/s]: that of the last STEADY_S of it, where it has gone on for so long.

    Args:
        rate_now: stands in before that. It follows the helm at once, and every wave: in a steady turn of 1.3 deg/s it
            was seen to go from 0.1 to 3.1, and each forecast with it.
    """
    if not helm.side or rate_now.value is None:
        return rate_now
    last_s = helm.past[-1][0]
    from_s = max(helm.began_s, last_s - STEADY_S)
    rows = [row for row in helm.past if row[0] >= from_s - 1e-9]
    if len(rows) < LEAST_ROWS or last_s - rows[0][0] < LEAST_S:
        return rate_now
    middle_s = sum(t_s for t_s, _ in rows) / len(rows)
    square = sum((t_s - middle_s) ** 2 for t_s, _ in rows)
    rate = sum((t_s - middle_s) * heading for t_s, heading in rows) / square
    sigma = helm.wander_rad / WANDER_OVER_S * math.sqrt(WANDER_OVER_S / (last_s - rows[0][0]))
    return rate_now._replace(value=rate, sigma=sigma)


def stop_for_fish(speed_mps: float) -> Manoeuvre:
    """Slow down for a fish, with way on."""
    return slowed(speed_mps, "slowing for a fish")


def _worth(boat: BoatState) -> tuple[State, str]:
    """The weakest needed input decides, as for the lines."""
    worst = max(boat.stw_mps, boat.heading_rad, key=lambda one: STATES.index(one.state))
    return worst.state, worst.cause


def with_learned(now: Followed, known: Learned) -> Followed:
    """The same with what was learned on earlier outings."""
    return replace(now, learned=known)
