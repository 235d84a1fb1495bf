"""Rates, floods and chattering, against counting by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.alerts.statistics import Told
from assistant.messages import Alert


def alert(key: str, since_s: float, phase: str = "active", audible: bool = True) -> Alert:
    return Alert(since_s, key, None, "warning", key, phase, audible=audible)


def test_ten_alerts_in_an_hour() -> None:
    told = Told()
    for t in range(3601):
        t_s = float(t)
        standing = [alert("a", t - t % 360)] if t % 360 < 30 and t < 3600 else []
        told.add(t_s, standing)
    summary = told.summary()
    assert summary["hours"] == 1.0
    assert summary["told"] == 10
    assert summary["per_10_min"] == pytest.approx(10 / 6, abs=1e-3)
    assert summary["worst_10_min"] == 2  # 0 and 360; 720 is more than ten minutes after 0
    assert not summary["flood"] and summary["chattering"] == [] and summary["over_an_hour"] == []
    assert summary["most_often"] == {"a": 10}


def test_three_of_one_key_in_a_minute_chatter_and_eleven_in_ten_minutes_flood() -> None:
    told = Told()
    for t in range(600):
        told.add(float(t), [alert(f"k{t // 50 % 4}", t - t % 50)] if t % 50 < 10 else [])
    assert told.summary()["flood"] is True and told.summary()["chattering"] == []
    for t in range(600, 660):
        told.add(float(t), [alert("c", t - t % 20)] if t % 20 < 5 else [])
    assert told.summary()["chattering"] == ["c"]


def test_what_makes_no_sound_is_counted_apart_and_a_gap_is_no_time() -> None:
    told = Told()
    told.add(0.0, [alert("a", 0.0, "acknowledged", audible=False)])
    told.add(1.0, [alert("a", 0.0, "acknowledged", audible=False)])
    told.add(5000.0, [alert("a", 0.0, "acknowledged", audible=False), alert("b", 5000.0)])
    told.add(5001.0, [alert("b", 5000.0, "acknowledged", audible=False)])
    summary = told.summary()
    assert (summary["told"], summary["shown_silently"], summary["acknowledged"]) == (1, 1, 1)
    assert summary["over_an_hour"] == ["a"]
    assert told.seconds == 2.0


def test_what_becomes_more_urgent_is_counted_again_as_what_it_is() -> None:
    told = Told()
    for t in range(20):
        now = alert("bottom W", 0.0)
        told.add(float(t), [now if t < 10 else replace(now, priority="alarm")])
    assert told.summary()["told"] == 2
    assert told.summary()["shares"] == {"alarm": 0.5, "warning": 0.5, "caution": 0.0}
