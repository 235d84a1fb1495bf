"""An Estimate as a published Q: quantiles in order, within what is possible, nothing for what is dead."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.frame import degraded_modes, published, published_boat
from assistant.messages import BOAT_QUANTITIES, Z90, BoatState, Estimate, Frame, Q
from assistant.payloads import frame_payload


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


def of_states(**states: str) -> dict[str, Q]:
    """Published quantities with these states, all others ok."""
    return {
        name: Q(1.0, 0.9, 1.1, unit, states.get(name, "ok"), 0.0, "udp:1/XXX")  # type: ignore[arg-type]
        for name, unit in BOAT_QUANTITIES.items()
    }


def test_degraded_modes_have_names() -> None:
    assert degraded_modes(of_states()) == ()
    assert degraded_modes(of_states(sog_mps="stale", cog_rad="stale")) == ("no GPS",)
    assert degraded_modes(of_states(water_depth_m="dead", water_temp_c="dead")) == (
        "no sounder",
        "no temperature",
    )
    # a doubtful reading of the instrument itself is there; a stand-in is not
    assert degraded_modes(of_states(stw_mps="doubtful")) == ()
    boat = of_states(stw_mps="doubtful", heading_rad="doubtful")
    boat["stw_mps"] = boat["stw_mps"]._replace(source="GPS only")
    assert degraded_modes(boat) == ("no speed log",)
    boat["heading_rad"] = boat["heading_rad"]._replace(source="course over ground")
    boat["water_depth_m"] = boat["water_temp_c"] = of_states(water_depth_m="dead")["water_depth_m"]
    assert degraded_modes(boat) == ("only GPS",)
    assert degraded_modes(published_boat(BoatState(0.0))) == ("all silent",)


def test_the_modes_are_published_with_the_frame() -> None:
    boat = of_states(sog_mps="dead")
    frame = Frame(1.0, None, 0, "live", boat, {}, degraded=degraded_modes(boat))
    assert json.loads(frame_payload(frame))["degraded"] == ["no GPS"]
    assert "degraded" not in json.loads(frame_payload(replace(frame, degraded=())))
