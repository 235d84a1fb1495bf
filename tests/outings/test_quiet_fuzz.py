"""Whatever the table holds, the judge answers, with chances that are chances and numbers that are numbers."""

from __future__ import annotations

import math

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from assistant.outings import quiet
from assistant.outings.effort import Minute, Observed, RodMinute, Strike, tabulate
from assistant.outings.quantities import QUANTITIES, SOMETHING_ELSE
from assistant.outings.quiet_words import difference_words
from assistant.outings.twins import twins

ANY = st.one_of(st.floats(), st.floats(-5.0, 5.0), st.just(1e300), st.just(0.0))
OBSERVED = st.builds(
    Observed, ANY, ANY, st.sampled_from(["measured", "entered", "worked out"]), st.just("x"), st.none() | ANY
)
SEEN = st.dictionaries(st.sampled_from([*QUANTITIES, "nonsense"]), OBSERVED, max_size=4)
MAYBE = st.sampled_from([True, True, True, False, None])
ROD = st.builds(
    RodMinute,
    st.sampled_from("ABC"),
    st.sampled_from(["fishing", "fishing", "fishing", "fish on", "aboard", "unknown"]),
    MAYBE,
    MAYBE,
    dragging=st.booleans(),
    seen=SEEN,
)
MINUTE = st.builds(
    Minute,
    st.one_of(ANY, st.integers(0, 60).map(lambda m: 60.0 * m)),
    st.lists(ROD, max_size=3).map(tuple),
    SEEN,
)
STRIKE = st.builds(Strike, st.floats(-100.0, 4000.0), st.sampled_from(["A", "B", "Z", None]))


@settings(
    max_examples=50, deadline=None, phases=[Phase.generate], suppress_health_check=[HealthCheck.too_slow]
)
@given(rows=st.lists(MINUTE, max_size=40), struck=st.lists(STRIKE, max_size=8), now_s=st.floats(-1e3, 1e4))
def test_the_judge_always_answers(rows: list[Minute], struck: list[Strike], now_s: float) -> None:
    verdict = quiet.judge(rows, struck, now_s)
    assert math.isclose(sum(verdict.beliefs.values()), 1.0, rel_tol=1e-9)
    assert all(0.0 <= share <= 1.0 for share in verdict.beliefs.values())
    assert verdict.beliefs[SOMETHING_ELSE] >= 0.2 - 1e-9
    for silence in (verdict.silence, verdict.silence_if_not):
        assert 0.0 <= silence.chance <= 1.0 and 0.0 <= silence.day_chance <= 1.0
        assert 0.0 <= silence.silent_hours <= silence.hours
    assert all(quiet.spoken(verdict))
    for difference in verdict.differences:
        assert math.isfinite(difference.sigmas)
        assert difference_words(difference, "metric") and difference_words(difference)
    table = tabulate(rows)
    if {"A", "B"} <= set(table.rods):
        assert twins(table, struck, now_s, ("A", "B")).words
