"""From filtered values to Estimates: sigma, state, age, source and cause of each published quantity."""

from __future__ import annotations

import math
from collections.abc import Mapping

from assistant.configured import BoatConfig
from assistant.estimate import ground as grounds
from assistant.estimate import turning
from assistant.estimate.current import KEEP_S, Current
from assistant.estimate.ground import SLOW_MPS, UNIFORM_SIGMA_RAD, Ground
from assistant.estimate.heading import UNKNOWN_CURRENT_MPS
from assistant.estimate.sources import FRESH, NEVER, Key, Track, best, judged, judged_track, worst
from assistant.estimate.speed import Log
from assistant.messages import Estimate, State
from assistant.units import wrap_tau

TEMP_SIGMA_C = 0.3  # half-degree steps and the hull's own warmth (common practice, no source)
POSITION_SIGMA_DEG = 5.0 / 111_120.0  # 5 m on a meridian (60 nautical miles to the degree)
DEPTH_SIGMA_M = 0.1
DEPTH_SIGMA_SHARE = 0.015  # speed of sound is 1.5 % lower in cold fresh water than sounders assume
RECEIVER_LAG_S = 0.5  # of a course in a turn (common practice, no source)
CURRENT_STALE_S, CURRENT_DEAD_S = 4.0, 15.0
CURRENT_FIRST_S = 5.0  # a current averaged over less is not yet one


def plain(pair: tuple[Key, Track] | None, sigma: float, t_s: float) -> Estimate:
    """The last accepted reading as it is."""
    if pair is None:
        return NEVER
    return judged_track(pair, pair[1].value, sigma, t_s)


def water_speed(
    pair: tuple[Key, Track] | None,
    log: Log | None,
    heard: tuple[Ground, State] | None,
    current: Current | None,
    t_s: float,
) -> Estimate:
    """Speed through the water: the log, else ground minus the last known current, else ground alone."""
    logged, why = Estimate(cause="no speed log"), "no speed log"
    if pair is not None and log is not None:
        logged = _logged(pair, log, t_s)
        if logged.state == "ok":
            return logged
        frozen = "speed log frozen" if pair[1].frozen else ""
        why = log.stuck or frozen or why
        stand_in = _from_ground(heard, current, why, t_s)
        return stand_in if frozen and stand_in.value is not None else best(logged, stand_in)
    return best(logged, _from_ground(heard, current, why, t_s))


def _logged(pair: tuple[Key, Track], log: Log, t_s: float) -> Estimate:
    key, track = pair
    state, cause = track.age_state(t_s), ""
    if log.stuck:
        state, cause = "dead", log.stuck
    elif log.suspect_since_s is not None and state == "ok":
        state, cause = "doubtful", "speed log doubted"
    elif log.idle and state == "ok":
        state, cause = "doubtful", "speed log reads 0 and never turned: adrift, or stuck"
    cause = cause or track.cause(t_s)
    return judged(max(0.0, log.slow_mps), log.sigma_mps(), state, t_s - track.t_s, key[1], cause)


def extremes(pair: tuple[Key, Track] | None, log: Log | None, shown: Estimate) -> tuple[float, float] | None:
    """Least and most that the log read in the last waves [m/s]; None unless its speed is the one shown, and heard."""
    if pair is None or log is None or shown.source != pair[0][1] or shown.state not in FRESH:
        return None
    return log.extremes_mps


def _from_ground(
    heard: tuple[Ground, State] | None, current: Current | None, why: str, t_s: float
) -> Estimate:
    if heard is None:
        return NEVER
    ground, state = heard[0], worst(heard[1], "doubtful")
    value, source = ground.speed_mps, "GPS only"
    sigma = math.hypot(ground.sigma_mps(), UNKNOWN_CURRENT_MPS)
    if current is not None and t_s - current.t_s <= KEEP_S:
        value, _, _ = grounds.minus(ground, t_s, current.north_mps, current.east_mps)
        sigma, source = math.hypot(ground.sigma_mps(), current.sigma_mps(t_s)), "ground minus last current"
    return judged(value, sigma, state, t_s - ground.t_s, source, f"{why}: speed from GPS")


def ground_speed(pair: tuple[Key, Track] | None, ground: Ground | None, t_s: float) -> Estimate:
    """Speed over ground."""
    if pair is None:
        return NEVER
    track = pair[1]
    smoothed = ground is not None and ground.t_s == track.t_s
    value = ground.speed_mps if smoothed and ground is not None else track.value
    sigma = ground.sigma_mps() if ground is not None else 2.0 * grounds.FIX_SIGMA_MPS
    return judged_track(pair, value, sigma, t_s)


def course(pair: tuple[Key, Track] | None, ground: Ground | None, crossed: bool, t_s: float) -> Estimate:
    """Course over ground; unknown to half a circle when the boat hardly moves, doubted when the compass differs."""
    if pair is None:
        return NEVER
    key, track = pair
    age_s = t_s - track.t_s
    state = track.age_state(t_s)
    if ground is None or ground.course is None or ground.speed_mps < SLOW_MPS:
        slow: State = "doubtful" if state == "ok" else state
        return judged(
            wrap_tau(track.value),
            UNIFORM_SIGMA_RAD,
            slow,
            age_s,
            key[1],
            "too slow for a course" if slow == "doubtful" else track.cause(t_s),
        )
    angle, _ = turning.angle_at(ground.course, t_s, ground.lag_s)
    sigma = math.hypot(ground.cog_sigma_rad(), RECEIVER_LAG_S * ground.course.rate_radps)
    cause = track.cause(t_s)
    if crossed and state == "ok":
        state, cause = "doubtful", "heading and course differ"
    return judged(angle, min(UNIFORM_SIGMA_RAD, sigma), state, age_s, key[1], cause)


def set_and_drift(
    current: Current | None, inputs: tuple[Estimate, ...], log_doubt: bool, t_s: float
) -> tuple[Estimate, Estimate]:
    """Direction TOWARD which the surface layer moves, and its speed; as good as the worst input."""
    if current is None:
        return NEVER, NEVER
    age_s = t_s - current.input_s
    if current.t_s == t_s:
        state, cause = (
            worst(*(e.state for e in inputs)),
            "; ".join(dict.fromkeys(e.cause for e in inputs if e.cause)),
        )
        if current.learned_s < CURRENT_FIRST_S and state == "ok":
            state, cause = "doubtful", "averaged over the first seconds only"
    elif age_s > CURRENT_DEAD_S:
        state, cause = "dead", ""
    else:
        state, cause = ("stale" if age_s > CURRENT_STALE_S else "doubtful"), "not measured now"
    if log_doubt and state == "doubtful":
        cause = "speed log doubted"
    set_sigma, drift_sigma = current.polar_sigmas()
    angle = wrap_tau(math.atan2(current.east_mps, current.north_mps))
    return (
        judged(angle, set_sigma, state, age_s, "ground minus water", cause),
        judged(current.drift_mps(), drift_sigma, state, age_s, "ground minus water", cause),
    )


def water_depth(
    pair: tuple[Key, Track] | None, tracks: Mapping[Key, Track], config: BoatConfig, t_s: float
) -> Estimate:
    """Depth below the surface: below the transducer plus the sentence's own offset up to the waterline,
    else plus the configured one (an offset down to the keel says nothing of the surface); or as it was measured."""
    if pair is None:
        return NEVER
    key, track = pair
    offset = tracks.get(("transducer_offset_m", key[1]))
    own = offset is not None and offset.value > 0.0
    add = offset.value if offset is not None and own else config.sounder_below_surface_m
    add = add if config.sounder_measured_m is None else config.sounder_measured_m
    depth = track.value + (0.0 if key[0] == "depth_below_surface_m" else add)
    sigma = math.hypot(DEPTH_SIGMA_M, DEPTH_SIGMA_SHARE * depth)
    return judged_track(pair, depth, sigma, t_s)
