"""Rates drawn together, against scipy and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from assistant.outings.shrinkage import gamma_below, gamma_quantile, shrunk


@pytest.mark.parametrize("shape", [0.02, 0.5, 1.0, 3.7, 40.0, 900.0])
def test_incomplete_gamma_is_that_of_scipy(shape: float) -> None:
    for chance in (0.1, 0.5, 0.9):
        x = float(stats.gamma.ppf(chance, shape))
        assert gamma_below(shape, x) == pytest.approx(chance, abs=1e-9)
        assert gamma_quantile(shape, chance) == pytest.approx(x, rel=1e-6, abs=1e-9)


def test_equal_rates_are_drawn_together_and_unequal_ones_left() -> None:
    same = shrunk([(str(k), 10.0, n) for k, n in enumerate((4, 6, 5, 5, 3, 7, 5, 5))])
    raw = 0.4  # between the largest and the least of strikes per rod-hour
    assert max(r.rate for r in same) - min(r.rate for r in same) < 0.4 * raw
    apart = shrunk([("a", 50.0, 100), ("b", 50.0, 2), ("c", 50.0, 10), ("d", 1.0, 0)])
    assert apart[0].rate == pytest.approx(2.0, rel=0.05)
    assert apart[3].rate > 0.1  # a blank of an hour says little


def test_bands_hold_the_true_rate_eight_times_out_of_ten() -> None:
    """Seasons of eight rods, 0.25 strikes an hour; how much they have in common is drawn as the prior says."""
    random, inside, n = np.random.default_rng(4), 0, 0
    for _ in range(200):
        share = random.uniform(0.02, 0.98)
        worth = 35.0 * share / (1.0 - share)
        true = random.gamma(0.25 * worth, 1.0 / worth, 8)
        hours = random.uniform(10.0, 60.0, 8)
        counts = random.poisson(true * hours)
        rates = shrunk(
            [(str(k), float(t), int(c)) for k, (t, c) in enumerate(zip(hours, counts, strict=True))]
        )
        inside += sum(r.low <= x <= r.high for r, x in zip(rates, true, strict=True))
        n += 8
    assert 0.76 < inside / n < 0.84  # 1600 rates: 1 sigma is 0.010


def test_no_strike_at_all() -> None:
    rates = shrunk([("a", 5.0, 0), ("b", 10.0, 0)])
    assert all(0.0 < r.rate < 0.1 and r.low < r.rate < r.high for r in rates)
