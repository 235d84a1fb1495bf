"""What the rules say of a forecast made by hand.

Expected: what a captain would want to hear of it (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_alert_rules import CONFIG, look

from assistant.ahead import words
from assistant.ahead.manoeuvre import STRAIGHT_ON, Manoeuvre, planned, slowed, steered
from assistant.ahead.outlook import Bottom, Forecast, LineAhead, PairAhead, Worst
from assistant.alerts import rules
from assistant.alerts import watch as watching
from assistant.alerts.engine import Finding
from assistant.alerts.look import WORDS, Look
from assistant.alerts.watch import Watch
from assistant.messages import Alert
from assistant.units import FOOT_M

TIMES_S = np.arange(0.0, 181.0, 6.0)
NOTHING = Worst(math.nan, math.nan, math.nan, math.nan)
DEG = math.pi / 180.0


def rows(start: float, end: float, from_s: float, to_s: float, half: float) -> Any:
    """(K, 3) from one value to another between two times, with a band."""
    value = np.interp(TIMES_S, [from_s, to_s], [start, end])
    return np.stack([value, value - half, value + half], axis=1)


def line(rod: str, gap: Any = None, depth: Any = None, speed: Any = None) -> LineAhead:
    depth = rows(13.0, 13.0, 0.0, 1.0, 1.0) if depth is None else depth
    speed = rows(1.05, 1.05, 0.0, 1.0, 0.1) if speed is None else speed
    bottom = None
    if gap is not None:
        k = int(gap[:, 0].argmin())
        bottom = Bottom(
            gap, Worst(float(gap[k, 0]), float(gap[k, 1]), float(gap[k, 2]), float(TIMES_S[k])), 1.0
        )
    return LineAhead(rod, True, depth, speed, depth, NOTHING, NOTHING, NOTHING, NOTHING, NOTHING, bottom)


def told(*lines: LineAhead, pairs: tuple[PairAhead, ...] = (), **more: Any) -> Forecast:
    by_rod = {rod.name: line(rod.name) for rod in CONFIG.rods} | {one.rod: one for one in lines}
    usual: dict[str, Any] = {"manoeuvre": STRAIGHT_ON, "kind": "straight", **more}
    return Forecast(100.0, times_s=TIMES_S, lines=by_rod, pairs=pairs, **usual)


def seen(forecast: Forecast | None, t_s: float = 102.0, **more: Any) -> list[Finding]:
    return rules.findings(replace(look(**more), outlook=forecast, t_s=t_s))


SINKS = rows(5.0, -3.0, 30.0, 110.0, 1.0)  # touches 78 s from when it is judged, by the middle of the band


def test_no_forecast_and_a_quiet_one_say_nothing() -> None:
    assert seen(None) == [] and seen(told()) == []


def test_a_touch_ahead_is_a_warning_with_a_remedy() -> None:
    """A gap that is 3 m too small at the worst, 1.5 m wanted: 4.5 m up, on a line 13 m down and 33 m long: 37 ft."""
    (one,) = seen(told(line("W", SINKS)))
    length = math.hypot(13.0, 30.0)
    assert 35.0 < 4.5 * length / 13.0 / FOOT_M < 40.0
    assert (one.key, one.priority) == ("bottom W", "warning")
    assert one.text == "W on the bottom in 70 s: lift 40 ft"
    assert one.said == "W bottom in 70 seconds, lift 40 feet"
    assert (one.evidence["value"], one.evidence["limit"], one.evidence["low"]) == (-3.0, 0.0, -4.0)


def test_it_is_an_alarm_when_near_and_when_there() -> None:
    assert seen(told(line("W", SINKS), kind="straight"), t_s=102.0)[0].priority == "warning"
    soon = line("W", rows(1.0, -3.0, 0.0, 60.0, 1.0))
    assert [(f.priority, f.text[:24]) for f in seen(told(soon))] == [("alarm", "W on the bottom in 10 s:")]
    there = line("W", rows(-1.0, -1.0, 0.0, 60.0, 1.0))
    assert [(f.priority, f.text) for f in seen(told(there))] == [("alarm", "W on the bottom now: lift 25 ft")]


def test_several_touches_are_one_situation_of_the_first_to_touch() -> None:
    later = rows(5.0, -3.0, 60.0, 150.0, 1.0)
    (one,) = seen(told(line("W", later), line("C", SINKS)))
    assert (one.key, one.rods) == ("bottom C", ("C", "W"))
    (same,) = seen(told(line("W", later), line("C", SINKS)), held=("bottom W",))
    assert same.key == "bottom W"  # what was told stays the one that is told


@pytest.mark.parametrize("t_s", [99.0, 130.0])
def test_an_old_forecast_says_nothing(t_s: float) -> None:
    assert seen(told(line("W", SINKS)), t_s=t_s) == []


def test_what_rests_on_doubt_only_cautions() -> None:
    assert [f.priority for f in seen(told(line("W", SINKS), state="doubtful", cause="speed by GPS"))] == [
        "caution"
    ]
    assert seen(told(line("W", SINKS), state="stale")) == []


def test_a_line_that_does_not_fish_and_a_bottom_not_known_say_nothing() -> None:
    gone = replace(line("W", SINKS), firm=False)
    assert seen(told(gone)) == [] and seen(told(line("W", np.full_like(SINKS, np.nan)))) == []


def test_deliberate_curves_are_told_only_what_is_nearly_sure() -> None:
    """A turn of so far 50 degrees may be one of them: the gap must be gone three times of four."""
    curve, turn = steered(50.0 * DEG, 2.0 * DEG), steered(155.0 * DEG, 2.0 * DEG)
    unsure = line("W", rows(5.0, -3.0, 30.0, 110.0, 8.0))
    assert seen(told(unsure, manoeuvre=curve, kind="turn")) == []
    assert [f.key for f in seen(told(unsure, manoeuvre=turn, kind="turn"))] == ["bottom W"]
    sure = line("W", rows(2.0, -2.0, 0.0, 40.0, 0.5))
    assert [f.key for f in seen(told(sure, manoeuvre=curve, kind="turn"))] == ["bottom W"]


def test_what_a_turn_must_go_on_for_is_told_when_it_is_likely_to() -> None:
    """100 degrees gone: of such turns 4 in 7 go on for another 80, 5.5 in 7 for another 30 (the table of stops); at 1
    deg/s what comes in 78 s takes 63 degrees of them, what comes in 28 s takes 13."""
    turn: dict[str, Any] = {"manoeuvre": steered(100.0 * DEG, 1.0 * DEG), "kind": "turn"}
    assert seen(told(line("W", SINKS), **turn)) == []
    soon = line("W", rows(2.0, -2.0, 0.0, 60.0, 1.0))
    assert [f.key for f in seen(told(soon, **turn))] == ["bottom W"]
    assert seen(told(pairs=(pair(0.1, 80.0),), **turn)) == []
    assert [f.key for f in seen(told(pairs=(pair(0.1, 30.0),), **turn))] == ["cross P2 P1"]
    meant = planned(80.0 * DEG, 1.0 * DEG)
    assert [f.key for f in seen(told(line("W", SINKS), manoeuvre=meant, kind="turn"))] == ["bottom W"]


def pair(value: float, at_s: float) -> PairAhead:
    return PairAhead(("P2", "P1"), Worst(value, 0.0, value + 0.3, at_s), (-20.0, 3.0, 12.0))


def test_lines_that_will_cross() -> None:
    turn: dict[str, Any] = {"manoeuvre": planned(2.0, 0.03), "kind": "turn"}
    (one,) = seen(told(pairs=(pair(0.1, 62.0),), **turn))
    assert one.text == "P2 and P1 cross in 60 s, 39 ft down: easing the turn may keep them apart"
    assert (one.priority, one.said) == ("warning", "P2 and P1 cross in 60 seconds")
    assert [f.priority for f in seen(told(pairs=(pair(0.1, 22.0),), **turn))] == ["alarm"]
    (near,) = seen(told(pairs=(pair(0.8, 62.0),), **turn))  # may cross: nobody knows lines to half a metre
    assert (near.key, near.priority, near.said) == (one.key, "caution", "P2 and P1 near in 60 seconds")
    assert near.silent == "not sure"
    assert near.text == "P2 and P1 pass within 3 ft in 60 s, 39 ft down: easing the turn may keep them apart"
    assert seen(told(pairs=(pair(1.1, 62.0),), **turn)) == []
    assert seen(told(pairs=(pair(0.1, 0.0),), **turn)) == []  # they are nearest now: nothing new


def test_with_a_fish_on_what_slowing_does_and_the_speed_that_does_not() -> None:
    """Sinking from 13 to 23 m as the boat slows from 1.0 to 0.5 m/s, bottom at 20: 18.5 m is 1.5 off it: 0.725 m/s."""
    depth = rows(13.0, 23.0, 0.0, 100.0, 1.0)
    sinks = line("C", rows(7.0, -3.0, 0.0, 100.0, 1.0), depth)
    (one,) = seen(told(sinks, manoeuvre=slowed(0.5), kind="fish"))
    assert one.key == "slowed C"
    assert one.text == "C on the bottom in 60 s: lift C 40 ft or hold 1.7 mph"
    assert one.said == "C bottom 60 seconds, lift or hold 1.7"
    also = line("W", rows(7.0, -3.0, 0.0, 120.0, 1.0), depth)
    (both,) = seen(told(sinks, also, manoeuvre=slowed(0.5), kind="fish"))
    assert both.text.endswith("; clear first: C, W")


def test_a_turn_that_lifts_a_line_for_long_and_one_that_does_for_a_moment() -> None:
    turn: dict[str, Any] = {"manoeuvre": planned(2.0, 0.03), "kind": "turn"}
    up = line("C", depth=rows(13.0, 10.0, 20.0, 80.0, 1.0))
    (one,) = seen(told(up, **turn))
    assert one.text == "C: this turn lifts it to 33 ft in 40 s, above its 39 ft to 49 ft"
    assert (one.said, one.evidence["limit"]) == ("C up to 33 feet", 12.0)
    moment = np.interp(TIMES_S, [40.0, 55.0, 70.0], [13.0, 10.0, 13.0])
    brief = line("C", depth=np.stack([moment, moment - 1.0, moment + 1.0], axis=1))
    assert seen(told(brief, **turn)) == []
    assert seen(told(up)) == []  # straight on: what is so is told when it is so


def test_lures_a_turn_makes_too_slow_are_one_situation_with_what_follows_under_it() -> None:
    slow = rows(1.05, 0.4, 20.0, 80.0, 0.1)
    lines = [line("P1", speed=slow), line("C", speed=slow, depth=rows(13.0, 20.0, 20.0, 80.0, 1.0))]
    ahead = told(*lines, manoeuvre=planned(2.0, 0.03), kind="turn")
    found = seen(ahead)
    assert [f.key for f in found] == ["will be off depth below", "will be slow"]
    assert found[1].said == "P1 and C too slow in 50 seconds"
    now, state = look(), Watch()
    alerts: tuple[Alert, ...] = ()
    for tick in range(10):
        state, alerts = watching.look(state, CONFIG, now.boat, now.lines, 102.0 + 0.5 * tick, ahead)
    assert [(a.key, a.said != "") for a in alerts] == [("will be slow", True)]
    assert [text[:30] for text in alerts[0].under] == [found[0].text[:30]]


@given(st.floats(-20.0, 5.0), st.floats(0.0, 170.0), st.sampled_from(["straight", "turn", "fish", "speed"]))
def test_spoken_forms_are_short_and_begin_with_the_rod(least: float, at_s: float, kind: str) -> None:
    gap = rows(5.0, least, at_s, at_s + 10.0, 0.5)
    manoeuvre: Manoeuvre = slowed(0.5) if kind == "fish" else planned(2.0, 0.03)
    lines = [line("C", gap, rows(13.0, 13.0 - least, at_s, at_s + 10.0, 1.0)), line("W", gap)]
    for one in seen(told(*lines, pairs=(pair(0.1, at_s),), manoeuvre=manoeuvre, kind=kind)):
        assert 0 < len(one.said.split()) <= WORDS
        assert one.said.startswith((*one.rods, "All lines"))


@given(
    st.floats(0.3, 1.5), st.floats(0.1, 1.0), st.floats(5.0, 40.0), st.floats(0.0, 30.0), st.floats(1.0, 60.0)
)
def test_a_speed_to_hold_is_between_and_none_where_none_does(
    now: float, share: float, depth: float, sink: float, most: float
) -> None:
    held = words.hold_mps(now, share * now, depth, depth + sink, most, "metric")
    if held is not None:
        assert share * now <= held < now and depth < most < depth + sink
    else:
        assert not depth < most < depth + sink or now - share * now <= 0.05 or most - depth < sink


def test_look_has_no_forecast_unless_told() -> None:
    assert isinstance(look(), Look) and look().outlook is None
