"""What physically differs between the minutes before the strikes and now, and how far that may be believed as a cause.

The rule. Each difference of DIFFERS sigmas or more is a hypothesis: while this quantity was nearer to now than to what
it was at the strikes, the rate was cut by an unknown factor. Beside them stand "chance" (one rate all day) and
"something else" (a cut by something unseen, from an unknown moment on). Prior odds come from the tables of
quantities.py, the likelihood of the strikes from rates.py; strikes that came under the changed conditions count
against the cause, wherever in the day they were. At least SOMETHING_ELSE_LEAST stays with "something else", and a cause
is named only if it is likelier than all the rest together and the strikes themselves speak for it (STRIKES_SPEAK).
Without a measured or entered difference there is no hypothesis, so no cause is ever named from strikes alone.

Sources: Welch 1947, Biometrika 34, 28-35 (degrees of freedom of a sum of variances); Wallace 1959, Ann. Math. Stat. 30,
1124-1130 (Student's t to normal sigmas); Shafer et al. 2011, Statistical Science 26, 84-101 (Ville's inequality).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.outings.effort import Effort, Origin, Strike, Table, minute_before, spread_size
from assistant.outings.quantities import CAUSES, CHANCE, QUANTITIES, SOMETHING_ELSE, UNSEEN, Quantity
from assistant.outings.rates import Prior, cut_factor, unseen_factor

BEFORE_MIN = 10  # long enough for an S-curve to average out, short enough to be of that strike
NOW_MIN = 10
SETTING_MIN = 3  # 250 ft of copper run out and settle in less: judgement
DIFFERS = 2.0  # sigmas: one in twenty by chance, the usual convention
SOMETHING_ELSE_LEAST = 0.2
NOT_SEEN = complex(math.nan, math.nan)
NAMED_ABOVE = 0.5  # likelier than everything else together
WRONG_ON = 0.05  # of days a wrong cause may be named: what is asked of the judge
IDLE_ON = 0.125  # of days something changes at the lures that is nothing to the fish: judgement
STRIKES_SPEAK = IDLE_ON / WRONG_ON
"""Least Bayes factor of a named cause. At one rate the factor reaches k at any time of a day with a chance of 1/k at
most (Ville's inequality), so that idle changes bring a wrong name on no more days than allowed."""

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Difference:
    """One quantity now against the minutes before the strikes; `then` and `now` as effort.plot makes them."""

    quantity: str
    rod: str | None  # the rod where it shows most; None: the boat's
    then: complex
    now: complex
    beyond: float  # how far now is from the nearest at which a fish struck before it changed; a drift is half beyond
    sigma: float  # of the difference: scatter before the strikes and the sensor's own, together
    sigmas: float  # size in its own sigma, allowing for how few strikes the scatter is known from
    rods_differ: int
    rods_seen: int
    origin: Origin
    where: str
    changed_since_s: float | None  # when the present run of changed minutes began
    factor: float  # how much better a cut under it explains the strikes than chance; 1 = not at all

    @property
    def differs(self) -> bool:
        """Whether it is more than the usual scatter."""
        return self.sigmas >= DIFFERS

    @property
    def cause(self) -> str:
        """What it speaks for."""
        return QUANTITIES[self.quantity].cause

    @property
    def size(self) -> float:
        """How far now is beyond anything a fish struck at before, in units of what matters."""
        return self.beyond / QUANTITIES[self.quantity].matters


def differences(table: Table, strikes: Sequence[Strike], prior: Prior) -> tuple[Difference, ...]:
    """Every quantity that can be compared, largest in its own sigma first.

    Args:
        table, strikes: of the outing up to now.
    """
    before = _before_strikes(table, strikes)
    names = [name for name in table.tracks if QUANTITIES[name].cause]
    compared = (_compare(table, name, before, strikes, prior) for name in names)
    found = [difference for difference in compared if difference is not None]
    return tuple(sorted(found, key=lambda d: (-d.sigmas, d.quantity)))


def _before_strikes(table: Table, strikes: Sequence[Strike]) -> Integers:
    """(2, K) first and one past the last of the BEFORE_MIN minutes before each strike; none of the last NOW_MIN."""
    ends = np.array([minute_before(table, strike) + 1 for strike in strikes], dtype=np.int64)
    starts, ends = np.maximum(ends - BEFORE_MIN, 0), np.minimum(ends, len(table.t_s) - NOW_MIN)
    windows: Integers = np.stack([starts, ends])[:, ends > starts]
    return windows


def _compare(
    table: Table, name: str, before: Integers, strikes: Sequence[Strike], prior: Prior
) -> Difference | None:
    """One quantity; None if it was not seen now, or too seldom before strikes."""
    quantity, track = QUANTITIES[name], table.tracks[name]
    of_rods = len(table.rods) > 1 and track.value.shape[1] == len(table.rods)
    value = track.value
    if of_rods:
        value = np.where(
            _set(table.workable) if track.origin == "worked out" else table.workable, value, NOT_SEEN
        )
    now = _mean(value[-NOW_MIN:])
    then, beyond, variance, freedom, since = _then(value, now, before, quantity)
    with np.errstate(invalid="ignore", divide="ignore"):
        sigma = np.sqrt(variance + _mean(track.sigma[-NOW_MIN:].astype(complex)).real ** 2)
        dof = np.where(variance > 0.0, freedom * (sigma**2 / variance) ** 2, math.inf)
        sigmas = normal_sigmas(np.abs(now - then) / sigma, dof)
    seen: Bools = np.isfinite(sigmas)
    if not seen.any():
        return None
    differ: Bools = seen & (np.nan_to_num(sigmas) >= DIFFERS)
    changed, known = _changed(value, then, now - then, differ, seen, quantity)
    most = int(np.nanargmax(sigmas))
    return Difference(
        quantity=name,
        rod=table.rods[most] if of_rods else None,
        then=complex(then[most]),
        now=complex(now[most]),
        beyond=float(beyond[most]),
        sigma=float(sigma[most]),
        sigmas=float(sigmas[most]),
        rods_differ=int(differ.sum()),
        rods_seen=int(seen.sum()),
        origin=track.origin,
        where=track.where[most],
        changed_since_s=float(table.t_s[since[most]]) if since[most] < len(table.t_s) else None,
        factor=_factor(table, changed, known, strikes, prior) if differ.any() else 1.0,
    )


def _set(workable: Bools) -> Bools:
    """(N, R) workable minutes but for the first SETTING_MIN after others: a line that was just let out still sinks."""
    out = workable.copy()
    for k in range(1, SETTING_MIN + 1):
        out[k:] &= workable[:-k]
    return out


def _then(
    value: Complexes, now: Complexes, before: Integers, quantity: Quantity
) -> tuple[Complexes, Floats, Floats, Floats, Integers]:
    """What it was before the strikes, by column: mean, least distance to now, variance of one more such mean, degrees
    of freedom, change.

    The last is the minute from which on it has been nearer to now; strikes from then on are no part of what it was
    before (they count against the cause in _factor). Minutes that lie before two strikes make the two less than two:
    freedom is counted in minutes.
    """
    shape = value.shape[1]
    if quantity.usual is not None:
        then = np.full(shape, complex(quantity.usual))
        return then, np.abs(now - then), np.zeros(shape), np.full(shape, math.inf), _since(value, then, now)
    means, minutes = _window_means(value, *before)
    since = _since(value, _mean(means), now)
    there: Bools = (minutes > 0.0) & (before[1][:, None] <= since)
    means = np.where(there, means, NOT_SEEN)
    then, count = _mean(means), there.sum(axis=0)
    distinct = np.minimum(count, _distinct_minutes(before, there) / BEFORE_MIN)
    with np.errstate(invalid="ignore", divide="ignore"):
        squares = np.where(there, np.abs(means - then) ** 2, 0.0).sum(axis=0)
        variance = np.where(count > 1, squares / (count - 1.0) * (1.0 + 1.0 / count), math.nan)
    distance = np.where(there & np.isfinite(now), np.abs(means - now), math.inf).min(axis=0, initial=math.inf)
    return then, distance, variance, np.maximum(distinct - 1.0, 0.5), since


def _window_means(value: Complexes, starts: Integers, ends: Integers) -> tuple[Complexes, Floats]:
    """(K, C) mean of the finite values of each run of minutes, and how many there were."""
    finite = np.isfinite(value)
    zeros = np.zeros((1, value.shape[1]))
    sums = np.concatenate([zeros, np.where(finite, value, 0.0).cumsum(axis=0)])
    counts = np.concatenate([zeros, finite.cumsum(axis=0)])
    minutes = counts[ends] - counts[starts]
    with np.errstate(invalid="ignore", divide="ignore"):
        means: Complexes = np.where(minutes > 0.0, (sums[ends] - sums[starts]) / minutes, NOT_SEEN)
    return means, minutes


def _since(value: Complexes, then: Complexes, now: Complexes) -> Integers:
    """(C,) the minute from which on its running mean has been nearer to now than to then; N if it is not."""
    n = np.arange(len(value)) + 1
    smooth, _ = _window_means(value, np.maximum(n - NOW_MIN // 2, 0), n)
    with np.errstate(invalid="ignore"):
        before = ~(((smooth - then) * np.conj(now - then)).real > 0.5 * np.abs(now - then) ** 2)
    since: Integers = np.where(before, n[:, None], 0).max(axis=0, initial=0)
    return since


def _distinct_minutes(before: Integers, there: Bools) -> Floats:
    """(C,) minutes in the runs that are `there`, each counted once; the runs are in order of time."""
    last_end = np.concatenate([[0], before[1][:-1]])
    fresh = before[1] - np.maximum(before[0], np.minimum(last_end, before[1]))
    minutes: Floats = (fresh[:, None] * there).sum(axis=0).astype(float)
    return minutes


def known_now(table: Table, name: str) -> complex | None:
    """A quantity of the boat over the last NOW_MIN, as effort.plot makes it; None unless it is there beyond doubt."""
    if (track := table.tracks.get(name)) is None or not len(table.t_s):
        return None
    now = complex(_mean(track.value[-NOW_MIN:])[0])
    sigma = float(_mean(track.sigma[-NOW_MIN:].astype(complex))[0].real)
    return now if abs(now) >= DIFFERS * sigma else None


def _mean(values: Complexes) -> Complexes:
    """Mean over the first axis of what is finite; NaN where nothing is."""
    there = np.isfinite(values)
    count = there.sum(axis=0)
    total = np.where(there, values, 0.0).sum(axis=0)
    mean: Complexes = np.where(count > 0, total / np.maximum(count, 1), NOT_SEEN)
    return mean


def normal_sigmas(t: Floats, dof: Floats) -> Floats:
    """The normal deviate as rare as Student's t with `dof` degrees of freedom (Wallace 1959), both [1]."""
    v = np.minimum(dof, 1e6)
    sigmas: Floats = (8.0 * v + 1.0) / (8.0 * v + 3.0) * np.sqrt(v * np.log1p(t * t / v))
    return sigmas


def _changed(
    value: Complexes, then: Complexes, shift: Complexes, differ: Bools, seen: Bools, quantity: Quantity
) -> tuple[Bools, Bools]:
    """(N, C) minutes nearer to now than to then, and minutes for which that is known.

    A rod that does not differ is not changed. A rod that nobody measures goes with the others if most of those
    measured differ; else only the ones that differ are changed.
    """
    with np.errstate(invalid="ignore"):
        nearer = ((value - then) * np.conj(shift)).real > 0.5 * np.abs(shift) ** 2
    known = np.isfinite(value)
    if quantity.usual is not None:
        known = np.ones_like(known)
    changed = nearer & differ
    if 2 * differ.sum() > seen.sum():
        votes = (changed & known)[:, differ].sum(axis=1)
        asked = known[:, differ].sum(axis=1)
        changed = np.where(seen, changed, (2 * votes > asked)[:, None])
        known = np.where(seen, known, (asked > 0)[:, None])
    else:
        known = known | ~seen
    return changed, known


def _factor(table: Table, changed: Bools, known: Bools, strikes: Sequence[Strike], prior: Prior) -> float:
    """Bayes factor of a cut rate under the changed rod-minutes against one rate."""
    workable = table.workable & known
    changed = np.broadcast_to(changed, workable.shape)
    hours = 60.0 * spread_size(table.workable.astype(float))
    under = (workable & changed).sum() / hours
    usual = (workable & ~changed).sum() / hours
    counts = [0, 0]
    for strike in strikes:
        n = minute_before(table, strike)
        rods = [table.rods.index(strike.rod)] if strike.rod in table.rods else range(len(table.rods))
        there = [r for r in rods if n >= 0 and workable[n, r]]
        if there:
            counts[int(2 * sum(bool(changed[n, r]) for r in there) > len(there))] += 1
    return float(cut_factor((counts[0], counts[1]), (usual, under), prior))


def beliefs(found: Sequence[Difference], effort: Effort, prior: Prior) -> Mapping[str, float]:
    """Probability of chance, of each cause that a difference speaks for, and of something else; they sum to 1.

    A cause is represented by what stands for it. `effort` is that of lines that could take a fish.
    """
    odds = {CHANCE: 1.0, SOMETHING_ELSE: _odds(UNSEEN) * unseen_factor(effort.at_hours, effort.hours, prior)}
    for cause in CAUSES:
        if (difference := stands_for(found, cause)) is not None:
            felt = 1.0 - math.exp(-0.5 * difference.size**2)
            odds[cause] = _odds(CAUSES[cause].chance * felt) * difference.factor
    total = sum(odds.values())
    rest = 1.0 - odds[SOMETHING_ELSE] / total
    shrink = min(1.0, (1.0 - SOMETHING_ELSE_LEAST) / rest)
    shares = {name: value / total * shrink for name, value in odds.items() if name != SOMETHING_ELSE}
    shares[SOMETHING_ELSE] = 1.0 - sum(shares.values())
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


def stands_for(found: Sequence[Difference], cause: str | None) -> Difference | None:
    """The difference that stands for a cause: the largest number; a word only without one, for it holds from when it
    was said, not from when it came to be so."""
    differ = [d for d in found if d.differs and d.cause == cause]
    return min(differ, key=lambda d: QUANTITIES[d.quantity].usual is not None, default=None)


def _odds(chance: float) -> float:
    """A probability as odds."""
    return chance / (1.0 - chance)


def named(found: Sequence[Difference], shares: Mapping[str, float]) -> str | None:
    """The one cause likelier than all the rest together, if the strikes too speak for it; None: cannot tell."""
    likely = next((name for name, share in shares.items() if name in CAUSES and share > NAMED_ABOVE), None)
    shown_by = stands_for(found, likely)
    return likely if shown_by is not None and shown_by.factor >= STRIKES_SPEAK else None
