"""An Estimate as a published Q: quantiles in order, within what is possible, nothing for what is dead."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.frame import published, published_boat
from assistant.messages import BOAT_QUANTITIES, Z90, BoatState, Estimate


def test_z90_is_the_normal_quantile() -> None:
    """Against the standard library's own inverse normal."""
    assert pytest.approx(NormalDist().inv_cdf(0.9), rel=1e-12) == Z90


@given(
    name=st.sampled_from(sorted(BOAT_QUANTITIES)),
    value=st.floats(0.0, 6.28),
    sigma=st.none() | st.floats(0.0, 1e6),
    state=st.sampled_from(["ok", "doubtful", "stale"]),
)
def test_low_value_high_are_in_order(name: str, value: float, sigma: float | None, state: str) -> None:
    q = published(name, Estimate(value, sigma, state, 0.5, "test"))  # type: ignore[arg-type]
    assert (q.value, q.state, q.age_s, q.source, q.unit) == (value, state, 0.5, "test", BOAT_QUANTITIES[name])
    assert (q.low is None) == (q.high is None) == (sigma is None)
    if q.low is not None and q.high is not None:
        assert q.low <= value <= q.high
        if BOAT_QUANTITIES[name] == "rad":
            assert q.high - q.low <= 2.0 * math.pi + 1e-9
        if BOAT_QUANTITIES[name] in ("m", "m/s"):
            assert q.low >= 0.0


def test_a_direction_near_north_keeps_its_band_around_it() -> None:
    q = published("heading_rad", Estimate(0.05, 0.1, "ok", 0.0, "test"))
    assert q.low == pytest.approx(0.05 - 0.1 * Z90)
    assert q.low < 0.0


@pytest.mark.parametrize(
    "estimate", [Estimate(), Estimate(3.0, 1.0, "dead"), Estimate(math.nan, 1.0, "ok"), Estimate(math.inf)]
)
def test_what_is_dead_or_no_number_has_no_number(estimate: Estimate) -> None:
    q = published("stw_mps", estimate)
    assert (q.value, q.low, q.high, q.state) == (None, None, None, "dead")


def test_every_quantity_is_published() -> None:
    assert list(published_boat(BoatState(1.0))) == list(BOAT_QUANTITIES)
