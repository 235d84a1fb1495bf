"""When the engine speaks: delays, one alert per situation, acknowledge, mute, shelve.

Expected behaviour: IEC 62682:2014 and IMO MSC.302(87), 5 and 7 (states, silencing for 30 s, same state everywhere;
from memory); chattering and flood figures as ISA-18.2-2016 counts them (3 a minute, more than 10 in 10 min).
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from assistant.alerts.engine import (
    GONE_S,
    MUTE_S,
    REALARM_S,
    SHELVE_MAX_S,
    UNSURE,
    AlertState,
    Finding,
    judge,
)
from assistant.messages import Alert, AlertAction, Priority

STEP_S = 0.5


def found(key: str = "a", priority: Priority = "warning", on_s: float = 3.0, off_s: float = 10.0) -> Finding:
    return Finding(key, priority, f"{key} is wrong", on_s, off_s)


def told(
    seen: list[list[Finding]], actions: dict[int, list[AlertAction]] | None = None, step_s: float = STEP_S
) -> list[tuple[Alert, ...]]:
    """The alerts of every look."""
    state, out = AlertState(), []
    for tick, findings in enumerate(seen):
        state, alerts = judge(state, findings, tick * step_s, (actions or {}).get(tick, []))
        out.append(alerts)
    return out


def phases(looks: list[tuple[Alert, ...]], key: str = "a") -> list[str]:
    return [next((alert.phase for alert in alerts if alert.key == key), "") for alerts in looks]


def onsets(looks: list[tuple[Alert, ...]]) -> list[tuple[float, str]]:
    """(time, key) of every sound that begins."""
    out, sounding = [], set()
    for tick, alerts in enumerate(looks):
        now = {alert.key for alert in alerts if alert.audible}
        out += [(tick * STEP_S, key) for key in sorted(now - sounding)]
        sounding = now
    return out


def test_it_stands_after_its_delay_and_goes_after_its_other_delay() -> None:
    seen = [[found()]] * 20 + [[]] * 60
    got = phases(told(seen))
    assert got.index("active") * STEP_S == 3.0
    last = len(got) - 1 - got[::-1].index("active")
    assert last * STEP_S == 9.5 + 10.0 - STEP_S
    assert got.count("gone") * STEP_S == GONE_S + STEP_S
    assert got[-1] == ""


def test_a_flicker_shorter_than_the_delay_is_never_told() -> None:
    assert not any(told(([[found()]] * 5 + [[]]) * 40))


@given(st.lists(st.booleans(), min_size=1, max_size=1200))
def test_it_never_chatters(on: list[bool]) -> None:
    """However a limit is crossed to and fro: no second sound within REALARM_S."""
    times = [t for t, _ in onsets(told([[found()] if one else [] for one in on]))]
    assert all(b - a >= REALARM_S for a, b in itertools.pairwise(times))


@given(st.lists(st.sets(st.sampled_from("abc")), min_size=1, max_size=200))
def test_one_alert_a_key_and_the_most_urgent_first(keys: list[set[str]]) -> None:
    priorities: dict[str, Priority] = {"a": "caution", "b": "alarm", "c": "warning"}
    looks = told([[found(key, priorities[key], on_s=0.0) for key in one] for one in keys])
    for alerts in looks:
        assert max(Counter(alert.key for alert in alerts).values(), default=1) == 1
        ranks = [("alarm", "warning", "caution").index(alert.priority) for alert in alerts]
        assert ranks == sorted(ranks)


def test_a_situation_back_within_five_minutes_is_shown_but_makes_no_sound() -> None:
    once = [[found()]] * 20 + [[]] * 40
    looks = told(once + [[found()]] * 20 + [[]] * 560 + [[found()]] * 20)
    assert phases(looks)[70] == "acknowledged"
    assert [t for t, _ in onsets(looks)] == [3.0, (60 + 20 + 560) * STEP_S + 3.0]


def test_what_has_become_more_urgent_sounds_again() -> None:
    acknowledge = {20: [AlertAction(10.0, "acknowledge", "a")]}
    looks = told([[found()]] * 40 + [[found(priority="alarm")]] * 10, acknowledge)
    assert phases(looks)[30] == "acknowledged"
    assert onsets(looks) == [(3.0, "a"), (20.0, "a")]


def test_what_is_urgent_to_and_fro_is_heard_once_as_either() -> None:
    looks = told(
        [[found(priority="alarm" if tick > 12 and tick // 4 % 2 else "warning")] for tick in range(80)]
    )
    heard = [next((str(alert.priority) for alert in alerts if alert.audible), "") for alerts in looks]
    assert [b for a, b in itertools.pairwise(["", *heard]) if a != b] == ["warning", "alarm"]


def test_what_was_an_alarm_is_no_second_one_within_five_minutes_though_it_began_anew_as_a_warning() -> None:
    seen = [[found(priority="alarm")]] * 20 + [[]] * 40 + [[found()]] * 20 + [[found(priority="alarm")]] * 20
    assert [t for t, _ in onsets(told(seen))] == [3.0]


def test_what_was_heard_of_the_same_cause_under_another_name_was_heard() -> None:
    other = replace(found("b"), same=("a",))
    seen = [[found("a")]] * 20 + [[other]] * 20 + [[replace(other, priority="alarm")]] * 5
    assert onsets(told(seen)) == [(3.0, "a"), (20.0, "b")]  # a warning of it; the alarm is news


def test_what_is_not_sure_is_shown_and_heard_once_it_is_and_does_not_fall_back() -> None:
    unsure = replace(found(priority="caution"), silent=UNSURE)
    looks = told([[unsure]] * 20 + [[found()]] * 10 + [[unsure]] * 10)
    assert phases(looks)[15] == "active" and onsets(looks) == [(10.0, "a")]
    assert all(alerts[0].audible for alerts in looks[20:])


def test_acknowledging_one_leaves_the_other() -> None:
    looks = told([[found("a"), found("b")]] * 40, {20: [AlertAction(10.0, "acknowledge", "a")]})
    assert {alert.key: (alert.phase, alert.audible) for alert in looks[-1]} == {
        "a": ("acknowledged", False),
        "b": ("active", True),
    }


def test_mute_ends_by_itself() -> None:
    looks = told([[found()]] * 200, {20: [AlertAction(10.0, "mute")]})
    audible = [any(alert.audible for alert in alerts) for alerts in looks]
    assert not any(audible[20 : 20 + int(MUTE_S / STEP_S)])
    assert all(audible[20 + int(MUTE_S / STEP_S) :])


def test_a_shelved_one_stays_silent_no_longer_than_an_hour() -> None:
    """Even if asked for more, and even if it comes back worse meanwhile."""
    asked = {1: [AlertAction(1.0, "shelve", "a", seconds=1e9)]}
    seen = [[found(on_s=0.0)]] * 5 + [[found(priority="alarm", on_s=0.0)]] * (int(SHELVE_MAX_S) + 10)
    looks = told(seen, asked, step_s=1.0)
    first = next(k for k, alerts in enumerate(looks) if k > 1 and any(a.audible for a in alerts))
    assert first == 1 + int(SHELVE_MAX_S)


def test_an_action_on_an_alert_that_is_gone_does_nothing() -> None:
    looks = told([[]] * 3, {1: [AlertAction(0.5, "acknowledge", "x"), AlertAction(0.5, "shelve", None)]})
    assert not any(looks)
