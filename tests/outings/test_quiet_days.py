"""Short form of the judge's calibration on invented days (tests/campaigns/quiet_days.py)."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))
import quiet_days as campaign

N = 24


def test_wrong_seldom_and_right_often() -> None:
    """24 days at 4 strikes an hour: no more wrong than 5 % allow, no fewer right than 50 % allow (each at 1 %)."""
    found = campaign.judged(3, N, campaign.World(rate_low=4.0, rate_high=4.0))
    with_cause, without = found["with_cause"], found["without"]
    assert isinstance(with_cause, dict) and isinstance(without, dict)
    assert sum(with_cause.values()) == sum(without.values()) == N // 2
    wrong = with_cause.get("wrong", 0) + without.get("wrong", 0)
    assert wrong <= stats.binom.ppf(0.99, N, 0.05)
    assert with_cause.get("right", 0) >= stats.binom.ppf(0.01, N // 2, 0.5)


def test_what_no_rule_can_beat() -> None:
    """By hand at 3 an hour: no strike within the hour 4.98 %, the rest of 5 % from one strike: e^-0.75 and a bit."""
    assert campaign.most_possible(3.0) == pytest.approx(0.4729, abs=0.0005)
    for rate in (1.5, 5.0):
        strikes = range(60)
        cut = stats.poisson.pmf(strikes, 0.25 * rate)
        constant = stats.poisson.pmf(strikes, rate)
        below = stats.poisson.cdf(strikes, rate) <= 0.05
        assert cut[below].sum() <= campaign.most_possible(rate) <= cut[: below.sum() + 1].sum()
        assert constant[below].sum() <= 0.05
