"""What if, as it is typed: understood, or refused with what is wanted."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.ahead.asked import Unclear, of_query
from assistant.ahead.following import Question


def asked(**query: str) -> Question:
    return of_query(query, 1.0, 0.54)


def test_a_turn_by_rate_and_by_radius() -> None:
    by_rate = asked(side="port", degrees="90", rate="3").manoeuvre
    assert by_rate.angle_rad() == pytest.approx(-math.pi / 2)
    assert by_rate.rate_radps == pytest.approx(math.radians(3.0))
    # plane geometry: rate = speed / radius; 120 ft = 36.576 m (NIST SP 811, 2008, B.8)
    by_radius = asked(side="starboard", degrees="180", radius="120ft").manoeuvre
    assert by_radius.rate_radps == pytest.approx(1.0 / 36.576, rel=1e-6)
    assert by_radius.angle_rad() == pytest.approx(math.pi)
    slower = asked(side="starboard", degrees="180", radius="120ft", speed="1mph").manoeuvre
    assert slower.speed_mps == pytest.approx(0.44704)
    assert slower.rate_radps == pytest.approx(0.44704 / 36.576, rel=1e-6)


def test_straight_on_another_speed_and_a_fish() -> None:
    assert asked(side="straight").kind == "straight"
    other = asked(side="straight", speed="1.8 mph")
    assert (other.kind, other.manoeuvre.speed_mps) == ("speed", pytest.approx(1.8 * 0.44704))
    fish = asked(side="fish")
    assert (fish.kind, fish.manoeuvre.speed_mps) == ("fish", 0.54)
    assert asked(side="fish", speed="0.4 m/s").manoeuvre.speed_mps == 0.4


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({}, "want one of port, starboard, straight, fish"),
        ({"side": "up"}, "'up'"),
        ({"side": "port"}, "degrees: want a number above 0"),
        ({"side": "port", "degrees": "nan"}, "degrees nan"),
        ({"side": "port", "degrees": "1e9"}, "want 1 to 360"),
        ({"side": "port", "degrees": "x" * 900}, "want a number"),
        ({"side": "port", "degrees": "90", "rate": "0"}, "rate 0"),
        ({"side": "port", "degrees": "90", "rate": "2", "radius": "100ft"}, "none of it with a rate"),
        ({"side": "port", "degrees": "90", "radius": "100"}, "with its unit"),
        ({"side": "port", "degrees": "90", "radius": "3000ft"}, "degrees a second"),
        ({"side": "port", "degrees": "360", "rate": "0.1"}, "would take 3600 s"),
        ({"side": "fish", "degrees": "90"}, "none of it with fish"),
        ({"side": "straight", "speed": "90mph"}, "speed 40"),
        ({"side": "straight", "sped": "2mph"}, "'sped'"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_words(query: dict[str, str], says: str) -> None:
    with pytest.raises(Unclear) as refused:
        of_query(query, 1.0, 0.54)
    assert says in str(refused.value)
    assert len(str(refused.value)) < 200


NAMES = st.sampled_from(["side", "degrees", "rate", "radius", "speed", "other"])


@settings(deadline=None)
@given(
    st.dictionaries(
        NAMES, st.one_of(st.text(max_size=20), st.floats().map(str), st.sampled_from(["port", "fish"]))
    )
)
def test_any_query_is_understood_or_unclear(query: dict[str, str]) -> None:
    try:
        one = of_query(query, 1.0, 0.54).manoeuvre
    except Unclear:
        return
    assert math.isfinite(one.angle_rad()) and math.isfinite(one.rate_radps)
