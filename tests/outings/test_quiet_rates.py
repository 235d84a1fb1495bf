"""Statistics of silences against scipy, direct integration and simulation, none of which share a formula with them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from assistant.outings import rates
from assistant.outings.rates import Prior


@pytest.mark.parametrize(
    ("prior", "percents"),
    [
        (Prior(), (26.0, 8.1, 2.1)),
        (Prior(0.5, 0.0), (22.0, 6.0, 1.5)),  # Jeffreys
        (Prior(1.0, 0.0), (20.0, 5.0, 1.0)),  # flat; whole per cents
    ],
)
def test_chance_of_a_silence_after_eight_strikes(prior: Prior, percents: tuple[float, ...]) -> None:
    """Against the figures of a separate computation, and against scipy's negative binomial and Lomax laws."""
    for minutes, wanted in zip((30, 60, 100), percents, strict=True):
        chance = rates.silence_chance(8, 2.6, minutes / 60.0, prior)
        digit = 0.05 if wanted != round(wanted) or prior == Prior() else 0.55
        assert 100.0 * chance == pytest.approx(wanted, abs=digit)
        shape, hours = prior.strikes + 8, prior.hours + 2.6
        assert chance == pytest.approx(stats.nbinom.pmf(0, shape, hours / (hours + minutes / 60.0)))
        assert chance == pytest.approx(stats.lomax.sf(minutes / 60.0, shape, scale=hours))


def renewal_gap_chance(rate: float, hours: float, gap: float, steps_per_gap: int = 400) -> float:
    """Chance of a long gap from the renewal equation of its absence, marched on a grid (trapezoid)."""
    step = gap / steps_per_gap
    n = round(hours / step)
    density = rate * np.exp(-rate * step * np.arange(steps_per_gap + 1))
    weights = np.full(steps_per_gap + 1, step)
    weights[[0, -1]] = step / 2.0
    kernel = density * weights
    none = np.exp(-rate * step * np.arange(n + 1))  # shorter than a gap: every silence is short enough
    none[:steps_per_gap] = 1.0
    for i in range(steps_per_gap, n + 1):
        past = none[i - steps_per_gap : i][::-1]
        none[i] = (kernel[1:] @ past) / (1.0 - kernel[0])
    return 1.0 - float(none[n])


def simulated_gaps(
    rng: np.random.Generator, rate: float, hours: float, gap: float, n: int
) -> tuple[float, float]:
    """Shares of days with a long gap: both ends counted, and between strikes only."""
    ends = between = 0
    for count in rng.poisson(rate * hours, n):
        at = np.sort(rng.uniform(0.0, hours, count))
        between += bool((np.diff(at) >= gap).any())
        ends += bool((np.diff(np.concatenate([[0.0], at, [hours]])) >= gap).any())
    return ends / n, between / n


def test_most_days_hold_a_silence_of_ninety_minutes() -> None:
    """1.5 strikes an hour over 7 h: about 73 % with both ends, 62.5 % between strikes only."""
    with_ends, between = rates.gap_chance(1.5, 7.0, 1.5), rates.gap_chance(1.5, 7.0, 1.5, ends=False)
    assert (with_ends, between) == (pytest.approx(0.73, abs=0.005), pytest.approx(0.625, abs=0.0005))
    n = 20_000
    seen = simulated_gaps(np.random.default_rng(4), 1.5, 7.0, 1.5, n)
    for chance, share in zip((with_ends, between), seen, strict=True):
        assert share == pytest.approx(chance, abs=4.0 * math.sqrt(chance * (1.0 - chance) / n))


@pytest.mark.parametrize(
    ("rate", "hours", "gap"),
    [(1.5, 7.0, 1.5), (0.4, 7.0, 2.0), (4.0, 10.0, 0.7), (3.0, 14.0, 0.5), (8.0, 14.0, 0.4), (2.0, 1.0, 0.5)],
)
def test_gap_chance_against_the_renewal_equation(rate: float, hours: float, gap: float) -> None:
    assert rates.gap_chance(rate, hours, gap) == pytest.approx(renewal_gap_chance(rate, hours, gap), abs=3e-3)


@settings(deadline=None, max_examples=50)
@given(
    rate=st.floats(0.0, 15.0),
    hours=st.floats(0.01, 24.0),
    gap=st.floats(0.001, 30.0),
    more=st.floats(1.0, 3.0),
)
def test_longer_gaps_are_rarer_and_chances_are_chances(
    rate: float, hours: float, gap: float, more: float
) -> None:
    shorter, longer = rates.gap_chance(rate, hours, gap), rates.gap_chance(rate, hours, gap * more)
    assert 0.0 <= longer <= shorter + 1e-4 <= 1.0 + 1e-4
    between = rates.gap_chance(rate, hours, gap, ends=False)
    assert 0.0 <= between <= shorter + 1e-4


@pytest.mark.parametrize(
    ("strikes", "hours", "gap"), [(8, 3.6, 1.0), (0, 2.0, 1.0), (3, 5.0, 2.0), (20, 6.0, 0.5)]
)
def test_day_chance_is_the_mean_over_the_rate(strikes: int, hours: float, gap: float) -> None:
    """scipy draws the rate from its gamma law; the days are simulated."""
    rng = np.random.default_rng(9)
    drawn = stats.gamma.rvs(1 + strikes, scale=1.0 / (0.5 + hours), size=6000, random_state=rng)
    seen = np.mean([simulated_gaps(rng, rate, hours, gap, 1)[0] for rate in drawn])
    assert rates.day_chance(strikes, hours, gap) == pytest.approx(seen, abs=4.0 * 0.5 / math.sqrt(6000))


@pytest.mark.parametrize(
    ("strikes", "hours"),
    [((8, 0), (2.6, 1.0)), ((8, 1), (2.6, 1.0)), ((2, 2), (1.0, 3.0)), ((0, 0), (1.0, 1.0))],
)
def test_cut_factor_is_a_ratio_of_evidences(strikes: tuple[int, int], hours: tuple[float, float]) -> None:
    """Poisson probabilities integrated over rate and cut by scipy, divided."""

    def poisson(rate: float, cut: float) -> float:
        means = (rate * hours[0], rate * cut * hours[1])
        probability = float(np.prod(stats.poisson.pmf(strikes, means)))
        return probability * float(stats.gamma.pdf(rate, 1.0, scale=2.0))

    constant, _ = integrate.quad(lambda rate: poisson(rate, 1.0), 0.0, 30.0)
    cuts, weights = np.polynomial.legendre.leggauss(12)
    shares = [integrate.quad(lambda rate, c=c: poisson(rate, 0.25 * (c + 1.0)), 0.0, 30.0)[0] for c in cuts]
    cut = float(np.dot(weights, shares)) / 2.0  # even between 0 and 1/2
    assert float(rates.cut_factor(strikes, hours)) == pytest.approx(cut / constant, rel=1e-5)


def test_change_factor_by_direct_integration() -> None:
    """Two strikes in 3 h: probability densities of the times, integrated over rates and onset."""
    at, hours = np.array([0.4, 0.9]), 3.0

    def evidence(count: int, span: float) -> float:
        density = lambda rate: rate**count * math.exp(-rate * span) * 0.5 * math.exp(-0.5 * rate)  # noqa: E731
        return float(integrate.quad(density, 0.0, np.inf)[0])

    def changed(onset: float) -> float:
        before = int((at < onset).sum())
        return evidence(before, onset) * evidence(len(at) - before, hours - onset)

    pieces = zip((0.0, 0.4, 0.9), (0.4, 0.9, 3.0), strict=True)
    two = sum(integrate.quad(changed, low, high)[0] for low, high in pieces) / hours
    assert rates.change_factor(at, hours) == pytest.approx(two / evidence(2, hours), rel=0.03)


def test_factors_do_not_favour_change_on_days_without_one() -> None:
    """The mean of a Bayes factor under the hypothesis it argues against is 1; days drawn from the prior."""
    rng = np.random.default_rng(2)
    change, unseen = [], []
    for rate in stats.gamma.rvs(1.0, scale=2.0, size=1500, random_state=rng):
        at = np.sort(rng.uniform(0.0, 4.0, rng.poisson(4.0 * rate)))
        change.append(rates.change_factor(at, 4.0))
        unseen.append(rates.unseen_factor(at, 4.0))
    for factors in (change, unseen):
        error = np.std(factors) / math.sqrt(len(factors))
        assert np.mean(factors) == pytest.approx(1.0, abs=4.0 * error)


def test_a_silence_after_many_strikes_speaks_for_change() -> None:
    even, stopped = np.linspace(0.1, 5.9, 18), np.linspace(0.1, 2.9, 18)
    assert rates.change_factor(even, 6.0) < 1.0 < 100.0 < rates.change_factor(stopped, 6.0)
    assert rates.unseen_factor(even, 6.0) < 1.0 < rates.unseen_factor(stopped, 6.0)


@pytest.mark.parametrize("wrong", [(-1, 1.0, 1.0), (1, -1.0, 1.0), (1, 1.0, math.nan), (1, math.inf, 1.0)])
def test_impossible_counts_are_refused(wrong: tuple[int, float, float]) -> None:
    with pytest.raises(ValueError, match="want"):
        rates.silence_chance(*wrong)


@pytest.mark.parametrize("wrong", [(0.0, 1.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_impossible_priors_are_refused(wrong: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="prior"):
        Prior(*wrong)


def test_nothing_known_is_nan_not_zero() -> None:
    assert math.isnan(rates.silence_chance(0, 0.0, 1.0, Prior(0.5, 0.0)))
    assert math.isnan(rates.change_factor(np.zeros(0), 1.0, Prior(0.5, 0.0)))


def test_at_one_rate_a_factor_is_seldom_ever_large() -> None:
    """Simulated days at one rate of the prior, looked at every 5 min for four hours after an idle change: the factor
    ever reaches k on no more than 1/k of them (Ville 1939); where the rate is cut to a quarter, on far more."""
    random = np.random.default_rng(3)
    days, before_h, look_h = 4000, 3.0, 5.0 / 60.0
    hours = look_h * np.arange(1, 49)
    rate = random.gamma(Prior().strikes, 1.0 / Prior().hours, (days, 1))
    before = random.poisson(rate * before_h)
    for cut, least, most in ((1.0, 0.0, 1.0), (0.25, 1.2, math.inf)):
        after = random.poisson(rate * cut * look_h, (days, 48)).cumsum(axis=1)
        peak = rates.cut_factor((before, after), (before_h, hours)).max(axis=1)
        for k in (2.5, 4.0, 10.0):
            assert least <= k * float(np.mean(peak >= k)) <= most
