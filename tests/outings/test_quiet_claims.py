"""Exact claims against scipy's tests and against simulated days."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from assistant.outings import claims


def test_some_rod_of_eight_is_hot_by_luck() -> None:
    """Ten strikes on eight equal rods: some rod has 3 or more in 76.4 %, 4 or more in 21.7 % of days."""
    for limit, percent in ((3, 76.4), (4, 21.7)):
        chance = claims.some_reach(10, [1.0 / 8.0] * 8, [limit] * 8)
        assert 100.0 * chance == pytest.approx(percent, abs=0.1)
        drawn = np.random.default_rng(limit).multinomial(10, [1.0 / 8.0] * 8, 40_000)
        assert (drawn.max(axis=1) >= limit).mean() == pytest.approx(chance, abs=0.01)


def test_hot_rod_with_unequal_effort_by_simulation() -> None:
    """The best rod is the one whose count is rarest for its effort; days drawn by numpy, tails by scipy."""
    hours = {"P1": 5.0, "P2": 2.0, "S1": 1.0, "C": 4.0}
    seen = {"P1": 3, "S1": 3, "C": 1}
    claim = claims.hot_rod(seen, hours)
    shares = np.array(list(hours.values())) / 12.0
    tails = stats.binom.sf(np.array([3, 0, 3, 1]) - 1, 7, shares)
    drawn = np.random.default_rng(1).multinomial(7, shares, 40_000)
    rarest = stats.binom.sf(drawn - 1, 7, shares).min(axis=1)
    assert claim.chance == pytest.approx((rarest <= tails.min() * (1.0 + 1e-9)).mean(), abs=0.01)
    assert claim.words.startswith("S1") and claim.compared == 4


def test_a_hot_rod_is_said_only_beyond_luck() -> None:
    rods = {f"rod {i}": 3.0 for i in range(8)}
    usual = claims.hot_rod({"rod 1": 3, "rod 2": 3, "rod 3": 2, "rod 4": 2}, rods)
    assert "some rod always does" in usual.words and "76 %" in usual.words
    assert "more than luck" in claims.hot_rod({"rod 1": 8, "rod 2": 2}, rods).words
    assert "cannot tell" in claims.hot_rod({}, rods).words


@given(trials=st.integers(1, 40), data=st.data(), chance=st.floats(0.02, 0.98))
def test_two_sided_is_the_binomial_test(trials: int, data: st.DataObject, chance: float) -> None:
    count = data.draw(st.integers(0, trials))
    reference = stats.binomtest(count, trials, chance)
    assert claims.two_sided(count, trials, chance) == pytest.approx(reference.pvalue, abs=1e-6)
    limits = reference.proportion_ci(0.95, "exact")
    assert claims.share_limits(count, trials) == pytest.approx((limits.low, limits.high), abs=1e-9)


def test_inside_against_outside_in_turns() -> None:
    """Ratio of rates and its limits from scipy's share of the strikes; small counts stay undecided."""
    few = claims.compare("turns", ("inside", "outside"), (1, 6), (2.0, 2.0))
    assert few.chance == pytest.approx(0.125) and few.words.startswith("cannot tell them apart")
    many = claims.compare("turns", ("inside", "outside"), (3, 14), (3.0, 2.0))
    share = stats.binomtest(3, 17, 0.6).proportion_ci(0.95, "exact")
    assert many.ratio_low == pytest.approx(share.low / (1.0 - share.low) * 2.0 / 3.0)
    assert many.ratio_high == pytest.approx(share.high / (1.0 - share.high) * 2.0 / 3.0)
    assert many.words.startswith("outside caught more") and many.chance < 0.05


def test_a_picked_pair_pays_for_the_picking() -> None:
    """The chance that any of four such pairs is as lopsided: 1 - (1 - p)^4, by complement."""
    alone = claims.compare("twins", ("P1", "S1"), (6, 0), (2.0, 2.0))
    picked = claims.compare("twins", ("P1", "S1"), (6, 0), (2.0, 2.0), compared=4)
    assert alone.chance == pytest.approx(2.0 * 0.5**6) and "caught more" in alone.words
    assert picked.chance == pytest.approx(1.0 - (1.0 - 2.0 * 0.5**6) ** 4)
    assert picked.words.startswith("cannot tell") and "4 pairs" in picked.words
    assert math.isinf(alone.ratio_high or 0.0)


def test_nothing_to_compare_is_said() -> None:
    assert "cannot tell" in claims.compare("twins", ("P1", "S1"), (0, 0), (1.0, 1.0)).words
    assert "cannot tell" in claims.compare("twins", ("P1", "S1"), (2, 0), (1.0, 0.0)).words


@pytest.mark.parametrize("wrong", [((-1, 0), (1.0, 1.0)), ((1, 0), (0.0, 1.0)), ((1, 0), (math.nan, 1.0))])
def test_impossible_counts_are_refused(wrong: tuple[tuple[int, int], tuple[float, float]]) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        claims.compare("twins", ("P1", "S1"), *wrong)
    with pytest.raises(ValueError, match="hot rod"):
        claims.hot_rod({"a": wrong[0][0], "b": 0}, {"a": wrong[1][0], "b": 1.0})
