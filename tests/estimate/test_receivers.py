"""Two GPS receivers: named when they differ for 10 s, never averaged, failed over when one falls silent."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from estimate_days import DEG, Sea, Tick, day, run, without

from assistant.messages import BoatState, Reading
from assistant.units import KNOT_MPS

SEA = Sea(stw=lambda t_s: 1.1, heading=lambda t_s: 1.0, minutes=2.0, current_mps=0.1)
GPS = ("lat_deg", "lon_deg", "sog_mps", "cog_rad")


def with_second(change: Callable[[Reading], float]) -> list[Tick]:
    """The day with a second receiver on another wire, its values changed from 60 s on."""

    def heard(tick: Tick) -> Tick:
        others = (
            replace(r, source="two/RMC", value=change(r) if r.t_s > 60.0 else r.value)
            for r in tick.readings
            if r.quantity in GPS
        )
        return Tick(tick.truth, (*tick.readings, *others))

    return [heard(tick) for tick in day(5, SEA)]


def causes(shown: list[BoatState]) -> list[str]:
    return [b.sog_mps.cause for b in shown]


@pytest.mark.parametrize(
    ("quantity", "by", "word"),
    [
        ("lat_deg", 60.0 / 111_120.0, "position"),
        ("sog_mps", 0.6 * KNOT_MPS, "speed"),
        ("cog_rad", 25.0 * DEG, "course"),
    ],
)
def test_receivers_that_differ_are_named_after_ten_seconds(quantity: str, by: float, word: str) -> None:
    ticks = with_second(lambda r: r.value + (by if r.quantity == quantity else 0.0))
    shown, alone = run(ticks), run(day(5, SEA))
    first = next(k for k, cause in enumerate(causes(shown)) if "two GPS differ" in cause)
    assert 69.0 < ticks[first].truth.t_s <= 73.0
    named = shown[-1].sog_mps
    assert (named.state, named.source) == ("doubtful", "sim/RMC")
    assert "sim and two" in named.cause and named.cause.endswith(word)
    for q in GPS:
        assert (
            getattr(shown[-1], q).state == "doubtful"
            and getattr(shown[-1], q).value == getattr(alone[-1], q).value
        )
    assert shown[-1].stw_mps.state == "ok", "the log does not need them"
    assert shown[-1].drift_mps.state != "ok"


@pytest.mark.parametrize(
    ("quantity", "by"), [("lat_deg", 30.0 / 111_120.0), ("sog_mps", 0.3 * KNOT_MPS), ("cog_rad", 12.0 * DEG)]
)
def test_small_differences_are_no_news(quantity: str, by: float) -> None:
    shown = run(with_second(lambda r: r.value + (by if r.quantity == quantity else 0.0)))
    assert not any("differ" in cause for cause in causes(shown))


def test_they_agree_again_and_a_silent_one_is_replaced() -> None:
    ticks = with_second(lambda r: r.value + (0.001 if r.quantity == "lat_deg" and r.t_s < 80.0 else 0.0))
    shown = run(ticks)
    assert any("differ" in cause for cause in causes(shown)) and shown[-1].lat_deg.state == "ok"
    same = with_second(lambda r: r.value)
    lost = [
        Tick(t.truth, tuple(r for r in t.readings if r.source != "sim/RMC" or t.truth.t_s < 70.0))
        for t in same
    ]
    assert {b.sog_mps.source for b in run(lost)[-100:]} == {"two/RMC"}
    assert run(without(same, "RMC", 70.0))[-1].sog_mps.value is None
