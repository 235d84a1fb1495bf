"""The boat at one instant, from all readings that passed the gate: the flow of the estimate on one page.

readings -> tracks (last of each quantity and source) -> one chosen source per role
         -> ground velocity -> compass -> speed log (judged against ground minus last current)
         -> heading, speed -> surface-layer current -> BoatState

Everything is a value: `update` leaves the state it was given untouched. Angles [rad] clockwise from north.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from assistant.configured import BoatConfig
from assistant.estimate import current as currents
from assistant.estimate import fit as fits
from assistant.estimate import ground as grounds
from assistant.estimate import heading as headings
from assistant.estimate import outputs, speed, turning
from assistant.estimate.current import KEEP_S, Current, Water
from assistant.estimate.fit import Fit, Look
from assistant.estimate.ground import Ground
from assistant.estimate.heading import NOT_CROSSED, Crossed
from assistant.estimate.manual import Manual
from assistant.estimate.receivers import AGREED, Apart, compare, doubted
from assistant.estimate.sources import FRESH, NEVER, Key, Track, best, choose_all, note
from assistant.estimate.speed import Hints, Log
from assistant.estimate.turning import Turning
from assistant.messages import Accepted, BoatState, Estimate, State
from assistant.units import wrap_pi


class ModelVariation(NamedTuple):
    """Magnetic variation by the model, and where it was worked out [deg]; None: the model does not know."""

    value_rad: float | None
    lat_deg: float
    lon_deg: float


MODEL_HOLDS_DEG = 0.1  # the variation changes by some hundredths of a degree over so much latitude


class EstimatorState(NamedTuple):
    """All the estimate remembers between two instants. Never changed in place."""

    config: BoatConfig
    tracks: Mapping[Key, Track]
    chosen: Mapping[str, Key]  # by role
    ground: Ground | None = None
    ground_key: Key | None = None
    compass: Turning | None = None
    compass_key: Key | None = None
    log: Log | None = None
    log_key: Key | None = None
    current: Current | None = None
    crossed: Crossed = NOT_CROSSED
    apart: Apart = AGREED
    model: ModelVariation | None = None
    fit: Fit | None = None
    manual: Manual | None = None  # the crew says that the speed log is fouled


def initial(config: BoatConfig) -> EstimatorState:
    """Nothing known yet: the first BoatState is dead in every quantity."""
    return EstimatorState(config, {}, {})


def wants_variation(state: EstimatorState) -> tuple[float, float] | None:
    """(latitude, longitude) [deg] to ask the magnetic model for, if it is needed and was not asked hereabouts."""
    heading, lat, lon = (_chosen(state, role) for role in ("heading", "latitude", "longitude"))
    if heading is None or heading[0][0] != "heading_magnetic_rad" or "variation" in state.chosen:
        return None
    if lat is None or lon is None:
        return None
    place, old = (lat[1].value, lon[1].value), state.model
    if old is not None and max(abs(place[0] - old.lat_deg), abs(place[1] - old.lon_deg)) < MODEL_HOLDS_DEG:
        return None
    return place


class Steering(NamedTuple):
    """What every instant needs: how fast and where the boat steers. The rest is told by `report`."""

    t_s: float
    stw_mps: Estimate
    heading_rad: Estimate


def update(
    state: EstimatorState, accepted: Sequence[Accepted], t_s: float, utc: str | None = None
) -> tuple[EstimatorState, BoatState]:
    """Take in what arrived up to t_s and say how the boat moves at t_s: `advance`, then `report`."""
    state, steering = advance(state, accepted, t_s)
    return state, report(state, steering, utc)


def advance(
    state: EstimatorState, accepted: Sequence[Accepted], t_s: float
) -> tuple[EstimatorState, Steering]:
    """Take in what arrived up to t_s.

    Args:
        state: from `initial` or the last call.
        accepted: readings that passed the gate, t_s not later than this instant, in order of arrival.
        t_s: this instant [s], later than the last one; meant for a 4 Hz grid.
    """
    moving = state.ground is None or state.ground.speed_mps > grounds.SLOW_MPS
    tracks = note(state.tracks, tuple(accepted), moving)
    state = state._replace(tracks=tracks, chosen=choose_all(state.chosen, tracks, t_s, state.config.prefer))
    apart = compare(state.apart, tracks, state.chosen.get("ground") or state.chosen.get("latitude"), t_s)
    state = _take_ground(state._replace(apart=apart))
    state = _take_compass(state, accepted)
    state = _take_log(state, accepted, t_s)
    heading, state = _heading(state, t_s)
    stw = outputs.water_speed(
        _chosen(state, "speed"), state.log, _heard_ground(state, t_s), state.current, t_s
    )
    return _learn_current(state, heading, stw, t_s), Steering(t_s, stw, heading)


def _chosen(state: EstimatorState, role: str) -> tuple[Key, Track] | None:
    key = state.chosen.get(role)
    return None if key is None else (key, state.tracks[key])


def _heard_ground(state: EstimatorState, t_s: float) -> tuple[Ground, State] | None:
    """The ground velocity and how far its receiver can be trusted by age, else None."""
    pair = _chosen(state, "ground")
    if pair is None or state.ground is None:
        return None
    # by the vector's own time: a receiver that gives no course while the boat moves renews no vector
    aged = pair[1]._replace(t_s=state.ground.t_s).age_state(t_s)
    return None if aged == "dead" else (state.ground, aged)


def _fresh_ground(state: EstimatorState, t_s: float) -> Ground | None:
    """The ground velocity while its receiver is heard and says something new, else None."""
    heard, pair = _heard_ground(state, t_s), _chosen(state, "ground")
    frozen = pair is not None and pair[1].frozen
    return heard[0] if heard is not None and heard[1] in FRESH and not frozen else None


def _take_ground(state: EstimatorState) -> EstimatorState:
    pair = _chosen(state, "ground")
    if pair is None:
        return state
    key, track = pair
    old = state.ground
    if old is not None and track.t_s <= old.t_s:
        return state
    course = state.tracks.get(("cog_rad", key[1]))
    if course is None:
        other = _chosen(state, "course")
        course = other[1] if other is not None else None
    cog = course.value if course is not None and abs(course.t_s - track.t_s) <= 1.5 else None
    ground = grounds.fix(old, track.t_s, track.value, cog)
    if ground is not None:
        ground = ground._replace(lag_s=max(0.0, state.config.course_lag_s))
    return state._replace(ground=ground, ground_key=key)


def _take_compass(state: EstimatorState, accepted: Sequence[Accepted]) -> EstimatorState:
    key, turn = state.chosen.get("heading"), state.chosen.get("turn")
    compass = state.compass if key == state.compass_key else None
    for item in accepted:
        reading = item.reading
        name = (reading.quantity, reading.source)
        if name == key:
            compass = turning.correct(compass, reading.t_s, reading.value)
        elif name == turn and compass is not None:
            compass = turning.correct_rate(compass, reading.value, headings.ROT_SIGMA**2)
    if compass is None and key is not None:  # a new source speaks: start from its last word
        compass = turning.correct(None, state.tracks[key].t_s, state.tracks[key].value)
    return state._replace(compass=compass, compass_key=key)


def _take_log(state: EstimatorState, accepted: Sequence[Accepted], t_s: float) -> EstimatorState:
    key = state.chosen.get("speed")
    if key is None:
        return state
    log = state.log if key == state.log_key else None
    heard = [item.reading for item in accepted if (item.reading.quantity, item.reading.source) == key]
    track = state.tracks[key]
    hints = _hints(state, t_s) if heard or log is None else Hints()
    for reading in heard:
        log = speed.read(log, reading.t_s, speed.true_mps(reading.value, state.config), hints)
    if log is None:  # a new source speaks: start from its last word
        log = speed.read(None, track.t_s, speed.true_mps(track.value, state.config), hints)
    own = _factor_sigma(state.config)
    log = log._replace(factor_sigma=math.hypot(own, _beyond(state)[0]))
    if state.manual is not None:
        return state._replace(log=log._replace(stuck=state.manual.why, good=0), log_key=key)
    if log.stuck and log.proven_s < speed.PROVEN_S:  # all it ever taught of the current was wrong
        state = state._replace(current=None)
    return state._replace(log=log, log_key=key)


def _factor_sigma(config: BoatConfig) -> float:
    return speed.FACTOR_SIGMA if config.speed_log_sigma is None else config.speed_log_sigma


def _beyond(state: EstimatorState) -> tuple[float, float]:
    """What GPS has shown log and compass [rad] to be off beyond their own sigmas."""
    return fits.beyond(state.fit, _factor_sigma(state.config), headings.compass_sigma(state.config))


def _hints(state: EstimatorState, t_s: float) -> Hints:
    ground = _fresh_ground(state, t_s)
    if ground is None or state.apart.words:
        return Hints()
    current = state.current
    hints = Hints(ground.speed_mps)
    if current is not None and t_s - current.t_s <= KEEP_S:
        drift = (current.north_mps, current.east_mps)
        expected, north, east = grounds.minus(ground, t_s, *drift)
        over = (north + drift[0], east + drift[1])
        hints = Hints(ground.speed_mps, over, drift, expected, current.sigma_mps(t_s))
    crabwise = False
    pair = _chosen(state, "heading")
    if state.compass is not None and ground.course is not None and pair is not None:
        course, _ = turning.angle_at(ground.course, t_s, ground.lag_s)
        angle, _ = turning.angle_at(state.compass, t_s, _compass_lag_s(state))
        true = angle + _correction(state, pair[0], angle)[0]
        crabwise = pair[1].age_state(t_s) in FRESH and abs(wrap_pi(course - true)) > headings.CROSS_ANGLE
    return hints._replace(crabwise=crabwise)


def _correction(state: EstimatorState, key: Key, angle_rad: float) -> tuple[float, float, str, bool]:
    """What to_true says, for a compass at this angle: the deviation goes with it."""
    variation = _chosen(state, "variation")
    config = state.config
    add, sigma, words, known = headings.to_true(
        key,
        variation[1] if variation else None,
        state.model.value_rad if state.model else None,
        config,
    )
    add += headings.deviation_rad(key, angle_rad, config.compass_deviation)
    return add, math.hypot(sigma, _beyond(state)[1]), words, known


def _compass_lag_s(state: EstimatorState) -> float:
    return max(0.0, -state.config.course_lag_s)


def _heading(state: EstimatorState, t_s: float) -> tuple[Estimate, EstimatorState]:
    """Heading from the compass while it is heard, else from the course, else the ageing compass."""
    pair = _chosen(state, "heading")
    ground = _fresh_ground(state, t_s)
    estimate: Estimate | None = None
    compass = state.compass
    if pair is not None and compass is not None:
        lag_s = _compass_lag_s(state)
        angle, _ = turning.angle_at(compass, t_s, lag_s)
        correction = _correction(state, pair[0], angle)
        raw = angle + correction[0]
        fresh = pair[1].age_state(t_s) in FRESH
        crossed = headings.cross_check(state.crossed, t_s, raw if fresh else None, ground, state.current)
        state = state._replace(crossed=crossed)
        estimate = headings.from_compass(compass, *pair, correction, state.crossed.raised, t_s, lag_s)
        if fresh and not pair[1].frozen:
            return estimate, state
    why = "compass frozen" if pair is not None and pair[1].frozen else "no compass"
    stand_in = headings.from_course(_heard_ground(state, t_s), state.current, t_s, why)
    if estimate is not None and estimate.state in FRESH and stand_in.value is not None:
        return stand_in, state
    return best(estimate or NEVER, stand_in), state


def _learn_current(state: EstimatorState, heading: Estimate, stw: Estimate, t_s: float) -> EstimatorState:
    """One more difference of ground and water, if both were measured and neither is under suspicion."""
    ground, compass, log = _fresh_ground(state, t_s), _chosen(state, "heading"), _chosen(state, "speed")
    if ground is None or compass is None or log is None or state.log is None:
        return state
    measured = all(track.age_state(t_s) in FRESH and not track.frozen for _, track in (compass, log))
    if (
        not measured
        or state.apart.words
        or state.crossed.raised
        or state.log.stuck
        or state.log.suspect_since_s is not None
    ):
        return state
    still = state.log.last_mps <= speed.ZERO_MPS  # adrift or stalled? ask again, now that more may be known
    if still and speed.suspicious(state.log, t_s, state.log.last_mps, _hints(state, t_s)):
        return state
    if heading.value is None or heading.sigma is None or stw.value is None:
        return state
    water = Water(stw.value, heading.value, state.log.fixed_sigma_mps(), heading.sigma)
    input_s = min(ground.t_s, compass[1].t_s, log[1].t_s)
    vector = grounds.minus(ground, t_s, 0.0, 0.0)
    rate = state.compass.rate_radps if state.compass is not None else 0.0
    doubt = (_factor_sigma(state.config), math.sqrt(max(0.0, heading.sigma**2 - _beyond(state)[1] ** 2)))
    look = Look((vector[1], vector[2]), stw.value, heading.value, rate, *doubt)
    return state._replace(
        current=currents.learn(state.current, t_s, input_s, (vector[1], vector[2]), water),
        fit=fits.follow(state.fit, t_s, look),
    )


def report(state: EstimatorState, steering: Steering, utc: str | None = None) -> BoatState:
    """Everything known of the boat at the instant of `steering`.

    Args:
        state, steering: from the last `advance`; utc: ISO 8601 of this instant, passed through.
    """
    t_s, stw, heading = steering
    apart = state.apart
    sog = doubted(outputs.ground_speed(_chosen(state, "ground"), state.ground, t_s), apart)
    cog = outputs.course(_chosen(state, "course"), state.ground, state.crossed.now, t_s)
    log_doubt = state.log is not None and (state.log.stuck != "" or state.log.suspect_since_s is not None)
    set_, drift = outputs.set_and_drift(state.current, (heading, stw, sog), log_doubt, t_s)
    pair, lat = _chosen(state, "heading"), _chosen(state, "latitude")
    shrink = max(0.01, math.cos(math.radians(lat[1].value if lat else 0.0)))  # of a degree of longitude
    lon_sigma = outputs.POSITION_SIGMA_DEG / shrink
    return BoatState(
        t_s=t_s,
        utc=utc,
        misfits=state.fit.said if state.fit is not None else (),
        stw_extremes_mps=outputs.extremes(_chosen(state, "speed"), state.log, stw),
        stw_mps=stw,
        heading_rad=heading,
        sog_mps=sog,
        cog_rad=doubted(cog, apart),
        set_rad=set_,
        drift_mps=drift,
        water_depth_m=outputs.water_depth(_chosen(state, "depth"), state.tracks, state.config, t_s),
        water_temp_c=outputs.plain(_chosen(state, "temperature"), outputs.TEMP_SIGMA_C, t_s),
        rate_of_turn_radps=headings.rate_of_turn(
            None if pair is None or state.compass is None else (state.compass, *pair),
            _chosen(state, "turn"),
            _fresh_ground(state, t_s),
            t_s,
        ),
        lat_deg=doubted(outputs.plain(lat, outputs.POSITION_SIGMA_DEG, t_s), apart),
        lon_deg=doubted(outputs.plain(_chosen(state, "longitude"), lon_sigma, t_s), apart),
    )
