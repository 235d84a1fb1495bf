"""True heading and rate of turn: compass plus variation plus offset, or a named stand-in.

A compass fitted to a small boat keeps a deviation of about 2 degrees after it was swung; a variation rounded
to a degree by the instrument is worth half of that, one typed in or grown old about 1 degree, and where none
is known the sigma covers what is met on most waters (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from assistant.configured import BoatConfig
from assistant.estimate import ground as grounds
from assistant.estimate import turning
from assistant.estimate.current import AVERAGE_S, KEEP_S, Current
from assistant.estimate.ground import SLOW_MPS, UNIFORM_SIGMA_RAD, Ground
from assistant.estimate.sources import FRESH, NEVER, Key, Track, judged, worst
from assistant.estimate.turning import DEG, Turning
from assistant.messages import Estimate, State
from assistant.units import KNOT_MPS, wrap_pi, wrap_tau

DEVIATION_SIGMA = 2.0 * DEG
VARIATION_SIGMA: Mapping[str, float] = {
    "sentence": 0.5 * DEG,
    "model": 0.5 * DEG,
    "config": 1.0 * DEG,
    "unknown": 10.0 * DEG,
}
DAMPED_S = 0.7  # a compass is damped, and its wire late, by so much more or less (common practice, no source)
UNKNOWN_CURRENT_MPS = 0.25  # sigma of a surface current nobody measured
COURSE_FLOOR = 5.0 * DEG  # a stand-in is never better than this
RATE_SIGMA = (
    0.2 * DEG
)  # [rad/s] on top of the filter's own: the bow yaws in waves faster than a filter may follow
ROT_SIGMA = 0.3 * DEG  # [rad/s] of a rate gyro of a small-boat compass
COURSE_RATE_SIGMA = 0.5 * DEG  # [rad/s] a course also turns with the current and the helm's corrections
STAND_IN_MPS = 0.5  # slower than this the course tells nothing of the heading
CROSS_ANGLE = 45.0 * DEG
CROSS_KNOWN = 20.0 * DEG  # where the current is known and taken off the course
CROSS_SIGMAS = 3.0
CROSS_MPS = 1.5 * KNOT_MPS
RECEIVER_LAG_S = 1.5  # of a course in a turn: the receiver's and our own filter's
CROSS_S = 3.0  # heading and course must differ, or agree again, this long


class Crossed(NamedTuple):
    """The check of heading against course: since when it says otherwise than `raised`."""

    raised: bool = False
    since_s: float | None = None
    now: bool = False  # they differ at this instant


NOT_CROSSED = Crossed()


def cross_check(
    old: Crossed, t_s: float, heading_rad: float | None, ground: Ground | None, current: Current | None
) -> Crossed:
    """Raise when heading and course differ too much at speed for CROSS_S; clear likewise."""
    if heading_rad is None or ground is None or ground.course is None or t_s - ground.t_s > CROSS_S:
        return old._replace(since_s=None, now=False)
    bad = contradicted(t_s, heading_rad, ground, current)
    if bad == old.raised:
        return old._replace(since_s=None, now=bad)
    since_s = t_s if old.since_s is None else old.since_s
    return Crossed(bad, None, bad) if t_s - since_s >= CROSS_S else Crossed(old.raised, since_s, bad)


def contradicted(t_s: float, heading_rad: float, ground: Ground, current: Current | None) -> bool:
    """Whether the heading cannot be where the boat goes: by course less a known current, else by course alone."""
    if ground.course is None:
        return False
    course_rad, course_sigma = turning.angle_at(ground.course, t_s, ground.lag_s)
    if ground.speed_mps > CROSS_MPS and abs(wrap_pi(heading_rad - course_rad)) > CROSS_ANGLE:
        return True
    if current is None or t_s - current.t_s > KEEP_S or current.learned_s < AVERAGE_S:
        return False
    speed, north, east = grounds.minus(ground, t_s, current.north_mps, current.east_mps)
    if speed < STAND_IN_MPS:
        return False
    unsure = math.hypot(course_sigma, math.hypot(current.sigma_mps(t_s), grounds.FIX_SIGMA_MPS) / speed)
    lag = RECEIVER_LAG_S * abs(ground.course.rate_radps)
    limit = max(CROSS_KNOWN, CROSS_SIGMAS * unsure) + lag
    return abs(wrap_pi(heading_rad - math.atan2(east, north))) > limit


def compass_sigma(config: BoatConfig) -> float:
    """Sigma [rad] of what offset and deviation leave."""
    return DEVIATION_SIGMA if config.compass_sigma_deg is None else config.compass_sigma_deg * DEG


def to_true(
    key: Key, variation: Track | None, model_rad: float | None, config: BoatConfig
) -> tuple[float, float, str, bool]:
    """What to add to a compass reading [rad], its sigma [rad], the words for the source, variation known.

    The variation is the sentence's, else the World Magnetic Model's, else the configured one.
    """
    offset = config.compass_offset_deg * DEG
    own = compass_sigma(config)
    if key[0] == "heading_true_rad":
        return offset, own, "", True
    if variation is not None:
        return offset + variation.value, math.hypot(own, VARIATION_SIGMA["sentence"]), "+var(sentence)", True
    if model_rad is not None:
        return offset + model_rad, math.hypot(own, VARIATION_SIGMA["model"]), "+var(model)", True
    if config.variation_deg is not None:
        with_config = math.hypot(own, VARIATION_SIGMA["config"])
        return offset + config.variation_deg * DEG, with_config, "+var(config)", True
    return offset, math.hypot(own, VARIATION_SIGMA["unknown"]), ", variation unknown", False


def deviation_rad(key: Key, angle_rad: float, table: tuple[tuple[float, float], ...]) -> float:
    """What the table adds to a magnetic reading [rad]: straight lines between its rows, round the circle."""
    if not table or key[0] != "heading_magnetic_rad":
        return 0.0
    at = math.degrees(angle_rad) % 360.0
    rows = [(table[-1][0] - 360.0, table[-1][1]), *table, (table[0][0] + 360.0, table[0][1])]
    k = next(k for k in range(1, len(rows)) if at <= rows[k][0])
    (low, first), (high, second) = rows[k - 1], rows[k]
    return (first + (second - first) * (at - low) / (high - low)) * DEG


def from_compass(
    compass: Turning,
    key: Key,
    track: Track,
    correction: tuple[float, float, str, bool],
    crossed: bool,
    t_s: float,
    lag_s: float = 0.0,
) -> Estimate:
    """True heading from the filtered compass, which trails by lag_s [s]."""
    angle, random_sigma = turning.angle_at(compass, t_s, lag_s)
    add, fixed_sigma, words, known = correction
    state: State = track.age_state(t_s)
    cause = ""
    if state in FRESH:
        if not known:
            state, cause = "doubtful", "variation unknown"
        elif crossed:
            state, cause = "doubtful", "heading and course differ"
        else:
            cause = track.cause(t_s)
    damped = DAMPED_S * abs(compass.rate_radps)
    sigma = min(UNIFORM_SIGMA_RAD, math.hypot(random_sigma, fixed_sigma, damped))
    return judged(wrap_tau(angle + add), sigma, state, t_s - track.t_s, key[1] + words, cause)


def from_course(
    heard: tuple[Ground, State] | None, current: Current | None, t_s: float, why: str = "no compass"
) -> Estimate:
    """A stand-in for the heading while the boat makes way: doubtful at best."""
    if heard is None or heard[0].course is None or heard[0].speed_mps < STAND_IN_MPS:
        return NEVER
    ground, state = heard[0], worst(heard[1], "doubtful")
    course_rad, course_sigma = turning.angle_at(heard[0].course, t_s, heard[0].lag_s)
    age_s, why = t_s - ground.t_s, f"{why}: heading from course"
    angle, source = course_rad, "course over ground"
    crab = math.atan2(UNKNOWN_CURRENT_MPS, ground.speed_mps)
    if current is not None and t_s - current.t_s <= KEEP_S:
        speed, north, east = grounds.minus(ground, t_s, current.north_mps, current.east_mps)
        if speed > SLOW_MPS:
            crab = current.sigma_mps(t_s) / speed
            angle, source = wrap_tau(math.atan2(east, north)), "course minus last current"
    sigma = min(UNIFORM_SIGMA_RAD, math.hypot(max(course_sigma, COURSE_FLOOR), crab))
    return judged(angle, sigma, state, age_s, source, why)


def rate_of_turn(
    compass: tuple[Turning, Key, Track] | None,
    rot: tuple[Key, Track] | None,
    ground: Ground | None,
    t_s: float,
) -> Estimate:
    """Rate of turn: the compass filter (a ROT sentence already in it), ROT alone, or the course."""
    rot_fresh = rot is not None and rot[1].age_state(t_s) in FRESH
    aged = NEVER
    frozen = compass is not None and compass[2].frozen
    if compass is not None and not frozen:
        turn, key, track = compass
        sigma = math.hypot(math.sqrt(turn.p_rr), RATE_SIGMA)
        source = f"{key[1]}+ROT" if rot_fresh else key[1]
        aged = judged(turn.rate_radps, sigma, track.age_state(t_s), t_s - track.t_s, source)
    if aged.state in FRESH:
        return aged
    if rot is not None and rot_fresh:
        return judged(rot[1].value, ROT_SIGMA, rot[1].age_state(t_s), t_s - rot[1].t_s, rot[0][1])
    if ground is None or ground.course is None or ground.speed_mps < STAND_IN_MPS:
        return aged
    sigma = math.hypot(math.sqrt(ground.course.p_rr), COURSE_RATE_SIGMA)
    why = f"{'compass frozen' if frozen else 'no compass'}: rate of turn from course"
    rate = ground.course.rate_radps
    return judged(rate, sigma, "doubtful", t_s - ground.t_s, "course over ground", why)
