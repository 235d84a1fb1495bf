"""Speed through the water from the speed log: smooth in waves, quick on a change, not fooled by weed.

The log's readings are averaged with a time constant SLOW_S. A second, fast average runs beside it; when the
two stay apart by more than the readings' own scatter explains, the speed has really changed and the slow one
jumps to the fast one. A log that reads zero, or the same number again and again, or far too little, while ground
speed minus the last known current says otherwise, is suspected at once (nothing is learned from it), and called
stuck if it lasts. Where no current was ever known, a log far below ground speed needs longer, and a boat that
drifts at the speed of a usual current is not accused of a stuck wheel.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from assistant.configured import BoatConfig
from assistant.units import KNOT_MPS

SLOW_S = 5.0
FAST_S = 0.7
APART_FLOOR_MPS = 0.12
APART_SIGMAS = 1.5
APART_S = 0.8  # the averages must be apart this long
SCATTER_S = 30.0  # the readings' scatter is learned over this
LAG = 0.64  # of the square of what the averages are apart
WAVES_LEFT = 0.4  # of the scatter of readings is in the fast average: waves of 3 s
FACTOR_SIGMA = 0.03  # what remains of a calibrated log's factor (common practice, no source)
ZERO_SIGMA_MPS = 0.01  # rounding and a sticky bearing

ZERO_MPS = 0.05
MOVING_MPS = 1.0 * KNOT_MPS
DISAGREE_MPS = 0.35  # log against ground minus current
ZERO_FOR_S = 5.0  # a stalled wheel is called stuck after this
ADRIFT_MPS = 1.4 * KNOT_MPS  # no current known: what a boat that never moved may drift at
LOW_SHARE = 0.6  # a log below this share of what is expected is fouled ...
LOW_ALONE_SHARE = 0.55  # ... or, where no current is known, of the ground speed
LOW_FOR_S = 20.0
LOW_ALONE_FOR_S = 60.0
USUAL_S = 60.0
PROVEN_S = 30.0  # a log that has read a fair share of the ground speed this long is judged by its falls only
TURNED_MPS = 0.2
SAME_FOR_S = 8.0  # a repeated number is suspected after this ...
SAME_DISAGREE_MPS = 0.18
SAME_SUSPECT_S = 3.0  # ... and called stuck when it then disagrees this long
SAME_WIDE_S = 2.0  # repeated longer than this it is no news: its band grows by what the ground speed changed
EXTREMES_S = 15.0  # some waves
GOOD_AGAIN = 10  # readings without suspicion that clear it


class Held(NamedTuple):
    """Ground less current when a number was read first: the current then [m/s], and the speed it made."""

    current_mps: tuple[float, float]
    expected_mps: float


class Log(NamedTuple):
    """State of one speed log; speeds [m/s] already multiplied by its factor."""

    t_s: float
    slow_mps: float
    fast_mps: float
    scatter: float = 0.1**2  # variance of readings about the slow average
    variance: float = 0.1**2  # of the slow average, readings taken as independent: waves average out better
    apart_s: float = 0.0
    last_mps: float = -1.0
    same_since_s: float = 0.0
    suspect_since_s: float | None = None
    stuck: str = ""  # why the log is not believed
    good: int = 0  # readings without suspicion since it was called stuck
    proven_s: float = 0.0  # how long it has read what a boat under way may read, against ground speed
    usual_mps: float | None = None  # the slow average over USUAL_S, while nothing is suspected
    turned: bool = False  # the wheel has turned since it was switched on
    idle: bool = False  # it never has, and the boat moves as one adrift does, but ahead
    factor_sigma: float = FACTOR_SIGMA
    held: Held | None = None  # what was known when the number that repeats itself was read first
    gap_mps: float = 0.0  # how far ground less the current of then has changed since
    recent: tuple[tuple[float, float], ...] = ()  # (t_s, speed) of the last EXTREMES_S, as read

    @property
    def extremes_mps(self) -> tuple[float, float]:
        """Least and most of the readings of the last EXTREMES_S [m/s]: what waves do to the speed."""
        speeds = [speed for _, speed in self.recent] or [self.last_mps]
        return min(speeds), max(speeds)

    def sigma_mps(self) -> float:
        """Sigma of the slow average [m/s], its lag and the log's own error included."""
        apart = self.fast_mps - self.slow_mps
        lag2 = LAG * max(0.0, apart * apart - WAVES_LEFT * self.scatter)  # of what waves do not explain
        return math.sqrt(self.variance + lag2 + self.fixed_sigma_mps() ** 2 + self.gap_mps * self.gap_mps)

    def fixed_sigma_mps(self) -> float:
        """The part of it no averaging removes [m/s]."""
        return math.hypot(self.factor_sigma * self.slow_mps, ZERO_SIGMA_MPS)


class Hints(NamedTuple):
    """What else is known about the motion when a log reading comes in."""

    sog_mps: float | None = None
    ground_mps: tuple[float, float] = (0.0, 0.0)  # (north, east), known where expected_mps is
    current_mps: tuple[float, float] = (0.0, 0.0)
    expected_mps: float | None = None  # speed of ground minus last known current
    expected_sigma_mps: float = 0.0
    crabwise: bool = False  # course and heading differ: more likely adrift than under way


def true_mps(reading_mps: float, config: BoatConfig) -> float:
    """What a reading of the log means [m/s]: by its factor, or by the factor at that reading where calibrated."""
    curve = config.speed_log_curve
    if not curve:
        return config.speed_log_factor * reading_mps
    (low, factor), (high, last) = curve[0], curve[-1]
    if reading_mps >= high:
        return last * reading_mps
    for reading, next_factor in curve[1:]:
        if low < reading_mps < reading:
            factor += (next_factor - factor) * (reading_mps - low) / (reading - low)
            break
        if reading_mps >= reading:
            low, factor = reading, next_factor
    return factor * reading_mps


def read(old: Log | None, t_s: float, speed_mps: float, hints: Hints) -> Log:
    """Take in one reading [m/s]."""
    if old is None or t_s - old.t_s > SLOW_S:
        now = Log(t_s, speed_mps, speed_mps, same_since_s=t_s)
        if old is not None:
            now = now._replace(scatter=old.scatter, variance=old.scatter, stuck=old.stuck, good=old.good)
            now = now._replace(proven_s=old.proven_s, turned=old.turned, usual_mps=old.usual_mps)
        return _watch(now, t_s, speed_mps, hints)
    now = _average(old, t_s, speed_mps)
    if hints.sog_mps is not None and hints.sog_mps > MOVING_MPS and not _short(now, speed_mps, hints.sog_mps):
        now = now._replace(proven_s=now.proven_s + t_s - old.t_s)
    return _watch(now, t_s, speed_mps, hints)


def _average(old: Log, t_s: float, speed_mps: float) -> Log:
    dt_s = t_s - old.t_s
    a_slow, a_fast = 1.0 - math.exp(-dt_s / SLOW_S), 1.0 - math.exp(-dt_s / FAST_S)
    fast = old.fast_mps + a_fast * (speed_mps - old.fast_mps)
    slow = old.slow_mps + a_slow * (speed_mps - old.slow_mps)
    limit = max(APART_FLOOR_MPS, APART_SIGMAS * math.sqrt(old.scatter))
    if abs(fast - slow) <= limit:
        miss = speed_mps - old.slow_mps
        scatter = old.scatter + min(1.0, dt_s / SCATTER_S) * (miss * miss - old.scatter)
        variance = (1.0 - a_slow) ** 2 * old.variance + a_slow * a_slow * scatter
        return old._replace(
            t_s=t_s, slow_mps=slow, fast_mps=fast, scatter=scatter, variance=variance, apart_s=0.0
        )
    apart_s = old.apart_s + dt_s
    if old.apart_s > 0.0 and apart_s >= APART_S:
        return old._replace(
            t_s=t_s, slow_mps=fast, fast_mps=fast, variance=max(old.scatter, 0.05**2), apart_s=0.0
        )
    return old._replace(t_s=t_s, slow_mps=slow, fast_mps=fast, apart_s=apart_s)


def _watch(log: Log, t_s: float, speed_mps: float, hints: Hints) -> Log:
    """Suspect, convict, and acquit after GOOD_AGAIN readings."""
    again = abs(speed_mps - log.last_mps) < 1e-3
    same_since_s = log.same_since_s if again else t_s
    held = _held(log, again, hints)
    turned = log.turned or speed_mps > TURNED_MPS
    ahead = hints.sog_mps is not None and hints.sog_mps > MOVING_MPS and not hints.crabwise
    log = log._replace(
        last_mps=speed_mps,
        same_since_s=same_since_s,
        turned=turned,
        idle=ahead and not turned,
        held=held,
        gap_mps=_gap_mps(held, t_s - same_since_s, hints),
        recent=(*(one for one in log.recent if t_s - one[0] < EXTREMES_S), (t_s, speed_mps)),
    )
    if not suspicious(log, t_s, speed_mps, hints):
        good = log.good + 1
        cleared = good >= GOOD_AGAIN
        if log.suspect_since_s is not None and not cleared and _fell(log, speed_mps):
            return log._replace(good=good)
        usual = log.slow_mps if log.usual_mps is None else log.usual_mps
        usual += (log.slow_mps - usual) / USUAL_S
        stuck = "" if cleared else log.stuck
        return log._replace(usual_mps=usual, suspect_since_s=None, good=good, stuck=stuck)
    since_s = log.suspect_since_s if log.suspect_since_s is not None else t_s
    zero = speed_mps <= ZERO_MPS
    same = t_s - same_since_s >= SAME_FOR_S
    lasts_s = ZERO_FOR_S if zero else SAME_SUSPECT_S if same else LOW_FOR_S
    if log.proven_s < PROVEN_S and not zero and not same:
        lasts_s = LOW_ALONE_FOR_S
    if t_s - since_s >= lasts_s:
        why = "speed log reads 0 while the boat moves" if zero else ""
        why = why or ("speed log frozen while the speed changes" if same else "speed log reads far too low")
        return log._replace(suspect_since_s=since_s, stuck=why, good=0)
    return log._replace(suspect_since_s=since_s, good=0)


def _held(log: Log, again: bool, hints: Hints) -> Held | None:
    """What to hold a repeated number against; a new one is held against what is known now."""
    if again:
        return log.held
    return None if hints.expected_mps is None else Held(hints.current_mps, hints.expected_mps)


def _gap_mps(held: Held | None, same_s: float, hints: Hints) -> float:
    """How far ground less current has changed [m/s] under a number repeated for same_s [s]: the current of then, for
    the frozen log would teach the present one its own error. Widens the band and accuses nobody: a receiver that
    lapsed just then does the same (lake-2008-05-21 of the recorded logs, minute 17)."""
    if held is None or hints.expected_mps is None or same_s < SAME_WIDE_S:
        return 0.0
    if hints.sog_mps is None or hints.sog_mps <= MOVING_MPS:
        return 0.0
    return abs(math.dist(hints.ground_mps, held.current_mps) - held.expected_mps)


def suspicious(log: Log, t_s: float, speed_mps: float, hints: Hints) -> bool:
    """Whether a reading [m/s] of zero, the same as for long, or far too low is contradicted by the motion over
    ground."""
    if hints.sog_mps is None or hints.sog_mps <= MOVING_MPS:
        return False
    if speed_mps > ZERO_MPS and log.proven_s < PROVEN_S and _short(log, speed_mps, hints.sog_mps):
        return not hints.crabwise
    if hints.expected_mps is None:
        return speed_mps <= ZERO_MPS and hints.sog_mps > ADRIFT_MPS and not hints.crabwise
    steady = max(speed_mps, log.slow_mps)  # one low reading alone says nothing
    limit = DISAGREE_MPS + hints.expected_sigma_mps
    if speed_mps <= ZERO_MPS:
        adrift = hints.crabwise and hints.sog_mps < ADRIFT_MPS
        return hints.expected_mps - speed_mps > limit and not adrift
    if t_s - log.same_since_s >= SAME_FOR_S:
        return abs(hints.expected_mps - speed_mps) > SAME_DISAGREE_MPS + hints.expected_sigma_mps
    # fouled: the log fell; where the current changed, the ground speed would have
    low = hints.expected_mps - steady > limit and steady < LOW_SHARE * hints.expected_mps
    return low and _fell(log, speed_mps)


def _fell(log: Log, speed_mps: float) -> bool:
    """Whether a log reads far less than it usually did. A suspicion of that outlives the readings that a wave excuses:
    else one trough in ten seconds would clear it, and the current learn what the log has lost."""
    return log.usual_mps is not None and max(speed_mps, log.slow_mps) < LOW_SHARE * log.usual_mps


def _short(log: Log, speed_mps: float, sog_mps: float) -> bool:
    """Whether a log reads so much less than ground speed that no usual current explains it."""
    steady = max(speed_mps, log.slow_mps)
    return sog_mps - steady > DISAGREE_MPS and steady < LOW_ALONE_SHARE * sog_mps
