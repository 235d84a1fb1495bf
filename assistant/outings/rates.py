"""How unusual a silence is: strikes as a Poisson process in effort.

Effort is counted in spread-hours: one hour of the whole spread fishing well (effort.py). The rate [1/h] has a gamma
prior, so every chance below is closed or one integral over the rate, and none of it assumes that the rate is known.
Bites that come in pairs are likelier to leave long silences than this says: a silence is then even less unusual.

Sources: conjugate gamma-Poisson and its predictive law, Gelman et al. 2013, Bayesian Data Analysis, section 2.6;
longest spacing of uniform points, Whitworth 1901, Choice and Chance, and Fisher 1929, Proc. R. Soc. A 125, 54-59.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SURE_ABOVE = (
    12.0  # expected long gaps; beyond, 1 - exp(-that) is 1 to 1e-5 and the alternating sum loses digits
)
SUM_TERMS_MAX = 100  # 12 ** 100 / 100! is 1e-50
RATE_POINTS = 400  # of the integral over the rate
FRACTION_NODES, FRACTION_WEIGHTS = np.polynomial.legendre.leggauss(48)
CUT_TO = 0.5  # of the rate, or to less: a smaller cut is no quiet spell, and no day is long enough to show it
ONSETS = 60  # possible beginnings of an unseen change, evenly over the effort


@dataclass(frozen=True, slots=True)
class Prior:
    """Gamma law of the rate before the day: `strikes` (shape) in `hours` (rate parameter [h]) of effort.

    The default is worth half an hour: one strike in it. It is judgement, and weak on purpose: two strikes of the day
    outweigh it. Jeffreys' (1/2, 0) and the flat one (1, 0) are special cases.
    """

    strikes: float = 1.0
    hours: float = 0.5

    def __post_init__(self) -> None:
        """Raises: ValueError for a law that is none."""
        if not (math.isfinite(self.strikes) and self.strikes > 0.0):
            raise ValueError(f"prior strikes {self.strikes}: want a number above 0")
        if not (math.isfinite(self.hours) and self.hours >= 0.0):
            raise ValueError(f"prior hours {self.hours}: want 0 h or more")

    def after(self, strikes: int, hours: float) -> Prior:
        """The law of the rate once `strikes` came in `hours` [h] of effort."""
        return Prior(self.strikes + strikes, self.hours + hours)


DEFAULT_PRIOR = Prior()


def _checked(strikes: int, hours: float) -> None:
    """Raises: ValueError for counts or hours that cannot be."""
    if strikes < 0 or not (math.isfinite(hours) and hours >= 0.0):
        raise ValueError(f"{strikes} strikes in {hours} h: want 0 or more of both")


def silence_chance(strikes: int, hours: float, silent_hours: float, prior: Prior = DEFAULT_PRIOR) -> float:
    """Chance that the next `silent_hours` [h] bring no strike, after `strikes` in `hours` [h] at one constant rate.

    The predictive law of the time to the next strike is Lomax: (b / (b + t)) ** a. NaN without any hours.

    Raises:
        ValueError: counts or hours below 0.
    """
    _checked(strikes, hours)
    _checked(0, silent_hours)
    rate = prior.after(strikes, hours)
    if silent_hours == 0.0:
        return 1.0
    if rate.hours == 0.0:
        return math.nan
    return float((rate.hours / (rate.hours + silent_hours)) ** rate.strikes)


def gap_chance(rate_per_h: float, hours: float, gap_hours: float, ends: bool = True) -> float:
    """Chance that `hours` [h] at a constant rate hold a silence of `gap_hours` [h] or more.

    Args:
        ends: count the silence from the beginning to the first strike and from the last to the end as well.
    Source: inclusion and exclusion over the spacings (Fisher 1929), summed over the Poisson number of strikes.
    """
    _checked(0, hours)
    if rate_per_h < 0.0 or not gap_hours > 0.0:
        raise ValueError(f"rate {rate_per_h}/h, gap {gap_hours} h: want 0 or more, and more than 0")
    if gap_hours > hours:
        return 0.0
    if ends:
        return float(_gap_with_ends(np.array([rate_per_h]), hours, gap_hours)[0])
    return _gap_between(rate_per_h, hours, gap_hours)


def _gap_with_ends(rates: Array, hours: float, gap: float) -> Array:
    """The sum over k spacings that are all too long, for each rate; its Poisson mixture is closed."""
    k = np.arange(1, min(int(hours / gap), SUM_TERMS_MAX) + 1, dtype=float)
    log_factorial = np.cumsum(np.log(k))
    expected = rates * hours * np.exp(-rates * gap)
    slow = np.where(expected > SURE_ABOVE, 0.0, rates)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        log_mean = np.log(slow * (hours - k * gap))
        log_before = np.where(k > 1.0, (k - 1.0) * log_mean, 0.0)  # 0 to the 0 is 1
        sizes = np.exp(k * log_mean - log_factorial) + np.exp(log_before - log_factorial + np.log(k))
    terms = np.where(k % 2.0 == 1.0, sizes, -sizes) * np.exp(-slow * k * gap)
    chances: Array = np.where(expected > SURE_ABOVE, 1.0, np.clip(terms.sum(axis=1), 0.0, 1.0))
    return chances


def _gap_between(rate: float, hours: float, gap: float) -> float:
    """The same over the n - 1 spacings between n strikes, strike numbers summed one by one."""
    expected = rate * hours
    log_weight, total = -expected, []
    for n in range(1, int(expected + 12.0 * math.sqrt(expected) + 30.0)):
        log_weight += math.log(expected / n) if expected > 0.0 else -math.inf
        if n > 1:
            total.append(math.exp(log_weight) * _spacing_chance(n, n - 1, gap / hours))
    return min(1.0, max(0.0, math.fsum(total)))


def _spacing_chance(points: int, spacings: int, share: float) -> float:
    """Chance that one of some spacings of uniform points is longer than a share of the whole."""
    if spacings * (1.0 - share) ** points > SURE_ABOVE:
        return 1.0
    terms = (
        (-1.0) ** (k + 1) * math.comb(spacings, k) * max(0.0, 1.0 - k * share) ** points
        for k in range(1, min(spacings, int(1.0 / share)) + 1)
    )
    return math.fsum(terms)


def day_chance(strikes: int, hours: float, gap_hours: float, prior: Prior = DEFAULT_PRIOR) -> float:
    """Chance that such a day shows a silence of `gap_hours` [h] or more somewhere, at one constant rate.

    The rate is what all of the day's strikes in all of its effort `hours` [h] leave of the prior; both ends count.
    """
    _checked(strikes, hours)
    rate = prior.after(strikes, hours)
    if rate.hours == 0.0 or gap_hours > hours:
        return 0.0
    if gap_hours <= 0.0:
        return 1.0
    spread = 8.0 / math.sqrt(rate.strikes)
    log_rate = np.linspace(-3.0 * spread, spread, RATE_POINTS) + math.log(rate.strikes / rate.hours)
    rates = np.exp(log_rate)
    log_weight = rate.strikes * log_rate - rate.hours * rates
    weight = np.exp(log_weight - log_weight.max())
    return float((weight * _gap_with_ends(rates, hours, gap_hours)).sum() / weight.sum())


def cut_factor(
    strikes: tuple[Array | float, Array | float],
    hours: tuple[Array | float, Array | float],
    prior: Prior = DEFAULT_PRIOR,
) -> Array:
    """How much better a cut rate explains the strikes than one constant rate: a Bayes factor, element by element.

    Args:
        strikes: before and under the changed conditions.
        hours: effort before and under them [h].
    The rate under them is f times the other, f even between 0 and CUT_TO. 1 = no evidence.
    """
    n1, n2 = (np.asarray(n, dtype=float)[..., None] for n in strikes)
    t1, t2 = (np.asarray(t, dtype=float)[..., None] for t in hours)
    f = CUT_TO * 0.5 * (FRACTION_NODES + 1.0)
    shape = prior.strikes + n1 + n2
    base = prior.hours + t1
    same = np.maximum(base + t2, 1e-12)
    log_ratio = n2 * np.log(f) - shape * np.log(np.maximum(base + f * t2, 1e-12) / same)
    factor: Array = 0.5 * (FRACTION_WEIGHTS * np.exp(log_ratio)).sum(axis=-1)
    return factor


def onset_split(at_hours: Array, hours: float) -> tuple[Array, Array, Array]:
    """Possible onsets [h] evenly over the effort, with the strikes before and after each."""
    onsets = (np.arange(ONSETS) + 0.5) / ONSETS * hours
    before = np.searchsorted(np.sort(at_hours), onsets).astype(float)
    return onsets, before, len(at_hours) - before


def unseen_factor(at_hours: Array, hours: float, prior: Prior = DEFAULT_PRIOR) -> float:
    """The same for a cut by something unseen that began at an unknown moment: the mean over all its onsets.

    Args:
        at_hours: effort [h] at which each strike came.
        hours: effort so far [h].
    """
    if hours <= 0.0:
        return 1.0
    onsets, before, after = onset_split(at_hours, hours)
    return float(cut_factor((before, after), (onsets, hours - onsets), prior).mean())


def change_factor(at_hours: Array, hours: float, prior: Prior = DEFAULT_PRIOR) -> float:
    """Bayes factor for two rates, either way and from an unknown moment on, against one.

    Both rates have the prior of their own, so the moment that looks best does not count more than any other. A prior
    without hours has no such factor: NaN.
    """
    if prior.hours <= 0.0:
        return math.nan
    if hours <= 0.0:
        return 1.0
    onsets, before, after = onset_split(at_hours, hours)
    logs = _log_evidence(before, onsets, prior) + _log_evidence(after, hours - onsets, prior)
    return float(np.exp(logs - _log_evidence(np.array([float(len(at_hours))]), hours, prior)).mean())


def _log_evidence(strikes: Array, hours: Array | float, prior: Prior) -> Array:
    """Log probability density of strike times at one rate of the prior, constants common to all left out."""
    a, b = prior.strikes, prior.hours
    gammas = np.array([math.lgamma(a + n) - math.lgamma(a) for n in strikes])
    logs: Array = gammas + a * math.log(b) - (a + strikes) * np.log(b + np.asarray(hours))
    return logs
