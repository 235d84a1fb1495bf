"""What is said of pulls, bends and leans. Expected: common practice (a tripped planer pulls under half), no source."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from test_alert_rules import CONFIG, look
from test_foreseen import told

from assistant.alerts import rules
from assistant.alerts.felt import Felt, felt
from assistant.alerts.look import WORDS, Look
from assistant.alerts.pulls import twin_of
from assistant.messages import Q, Seen

WORDS_OF = {"soft": -1.0, "usual": 0.0, "hard": 1.0, "straight": -1.0, "far back": 1.0}


def pull(value: float) -> dict[str, Seen]:
    return {"pull_n": Seen(Q(value, value - 2.0, value + 2.0, "N", "ok", 0.5, "udp:1/XDR"))}


def word(kind: str, said: str, state: Any = "ok") -> dict[str, Seen]:
    return {kind: Seen(Q(WORDS_OF[said], None, None, "", state, 5.0, "typed"), said)}


def followed(pulls: dict[str, Any], seconds: int = 300) -> dict[str, Felt]:
    """The model says 20 N all the time; pulls: by rod, a function of the second."""
    now: dict[str, Felt] = {}
    lines = look().lines
    for t in range(seconds):
        now = felt(now, lines, {rod: pull(value(t)) for rod, value in pulls.items()}, 1.0)
    return now


def texts(seen: Look) -> list[str]:
    found = rules.findings(seen)
    assert all(0 < len(one.said.split()) <= WORDS for one in found)
    assert all({"value", "limit", "unit", "age_s", "source"} <= set(one.evidence) for one in found)
    return [one.text for one in found]


def with_felt(pulls: dict[str, Any], seconds: int = 300) -> Look:
    return replace(look(), felt=followed(pulls, seconds))


def test_twins_are_the_same_rig_on_the_other_side() -> None:
    twins = {rod.name: twin.name for rod in CONFIG.rods if (twin := twin_of(CONFIG, rod)) is not None}
    assert twins == {"P1": "S1", "S1": "P1", "P2": "S2", "S2": "P2"}  # R1 and R2 tow other lures


def test_nothing_without_a_pull_input_nor_for_one_that_only_reads_otherwise() -> None:
    assert texts(look()) == []
    assert (
        texts(with_felt({"P1": lambda t: 26.0, "S1": lambda t: 14.0})) == []
    )  # a cell and a model that differ


def test_a_pull_that_falls_alone_is_a_trip_and_one_that_falls_with_its_twin_is_not() -> None:
    trips: Any = lambda t: 24.0 if t < 270 else 8.0  # noqa: E731
    alone = with_felt({"P1": trips, "S1": lambda t: 22.0})
    assert texts(alone) == ["P1 pulls 1.9 lb, 5.4 lb expected: tripped? S1 pulls as usual"]
    assert texts(with_felt({"P1": trips, "S1": trips})) == []
    assert texts(with_felt({"C": trips})) == ["C pulls 1.9 lb, 5.4 lb expected: fouled or lost?"]


def test_a_pull_that_rises_drags_something() -> None:
    rises: Any = lambda t: 24.0 if t < 270 else 40.0  # noqa: E731
    (one,) = texts(with_felt({"P1": rises, "S1": lambda t: 22.0}))
    assert one.startswith("P1 pulls 8.9 lb, 5.") and "fouled, or something drags?" in one


@pytest.mark.parametrize("state", ["fish on", "coming in", "aboard"])
def test_a_fish_or_a_hand_on_the_line_is_no_cause_to_look_for(state: str) -> None:
    lines = look({"P1": {"rod_state": state}}).lines
    assert felt(followed({"P1": lambda t: 24.0}), lines, {"P1": pull(50.0)}, 1.0) == {}


def test_waves_do_not_make_it_speak() -> None:
    rng = np.random.default_rng(5)
    swell: Any = lambda t: 24.0 + 8.0 * np.sin(2.1 * t) + rng.normal(0.0, 2.0)  # noqa: E731
    now: dict[str, Felt] = {}
    for t in range(1200):
        now = felt(now, look().lines, {"P1": pull(swell(t))}, 1.0)
        assert texts(replace(look(), felt=now)) == []


def test_a_trip_margin_wants_a_pull_that_was_held() -> None:
    ahead = told(kind="turn")
    line = ahead.lines["P1"]
    peak = replace(line, peak=replace(line.peak, value=30.0, low=26.0, high=34.0, at_s=60.0))
    ahead = replace(ahead, lines={**ahead.lines, "P1": peak})
    held = with_felt({"P1": lambda t: 24.0 + t % 3}, 630)
    assert texts(replace(held, outlook=ahead, t_s=100.0)) == [
        "P1 will pull 8.6 lb in 60 s, has held 5.8 lb: may trip"
    ]
    early = with_felt({"P1": lambda t: 24.0 + t % 3}, 200)
    assert texts(replace(early, outlook=ahead, t_s=100.0)) == []


def test_planers_soft_and_cables_straighter_is_the_deep_water() -> None:
    seen = {"P1": word("bend", "soft"), "S1": word("bend", "soft"), "R1": word("lean", "straight")}
    (one,) = texts(replace(look(), seen=seen))
    assert one.startswith("deep water runs with the boat more than before (P1 soft, R1 straight, S1 soft)")
    other = {"P1": word("bend", "hard"), "S1": word("bend", "hard"), "R1": word("lean", "far back")}
    assert "against the boat" in texts(replace(look(), seen=other))[0]


@pytest.mark.parametrize(
    "seen",
    [
        {"P1": word("bend", "soft"), "S1": word("bend", "soft")},  # no weighted line
        {"P1": word("bend", "soft"), "R1": word("lean", "straight")},  # too few
        {"P1": word("bend", "soft"), "S1": word("bend", "hard"), "R1": word("lean", "straight")},  # against
        {"P1": word("bend", "soft"), "S1": word("bend", "soft"), "R1": word("lean", "straight", "stale")},
    ],
)
def test_it_cannot_tell_from_less(seen: dict[str, Any]) -> None:
    assert texts(replace(look(), seen=seen)) == []
