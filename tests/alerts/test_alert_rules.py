"""What the rules see in a spread that is right, and in one that is wrong in one way.

Expected: what a captain would say of the situation (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from assistant import config
from assistant.alerts import rules
from assistant.alerts.look import WORDS, Look
from assistant.configured import AlertLimits, Config
from assistant.messages import BOAT_QUANTITIES, BoatState, Estimate, LineState, Q, State

WANTED = AlertLimits(lure_slow_mps=0.7, lure_fast_mps=1.4, wanted_m={"C": (12.0, 15.0)})
CONFIG: Config = replace(config.load(), alerts=WANTED)


def boat(**changed: Estimate) -> BoatState:
    good: dict[str, Any] = {name: Estimate(1.0, 0.05, "ok", 0.5, "test") for name in BOAT_QUANTITIES}
    good["rate_of_turn_radps"] = Estimate(0.0, 0.001, "ok", 0.5, "test")
    return BoatState(0.0, None, **{**good, **changed})


def line(rod: str, side: str, **changed: Any) -> LineState:
    def q(value: float, unit: str, state: State = "ok") -> Q:
        return Q(value, value - 0.5, value + 0.5, unit, state, 0.5, "model")

    swing = {"port": -6.0, "starboard": 6.0, "centre": 0.0}[side]
    good: dict[str, Any] = {
        "depth_m": q(13.0, "m"), "swing_m": q(swing, "m"), "setback_m": q(30.0, "m"), "tension_n": q(20.0, "N"),
        "lure_speed_mps": q(1.05, "m/s"), "rod_state": "fishing",
    }  # fmt: skip
    return LineState(0.0, rod, **{**good, **changed})


def look(changed: dict[str, dict[str, Any]] | None = None, **more: Any) -> Look:
    lines = {rod.name: line(rod.name, rod.side, **(changed or {}).get(rod.name, {})) for rod in CONFIG.rods}
    told: dict[str, Any] = {
        "boat": boat(),
        "held": (),
        "straight_s": 600.0,
        "known": tuple(BOAT_QUANTITIES),
        **more,
    }
    return Look(CONFIG, lines=lines, **told)


def texts(seen: Look) -> list[str]:
    return [finding.text for finding in rules.findings(seen)]


def speed(value: float) -> Q:
    return Q(value, value - 0.05, value + 0.05, "m/s", "ok", 0.5, "model")


def depth(value: float) -> Q:
    return Q(value, value - 1.0, value + 1.0, "m", "ok", 0.5, "model")


def test_a_spread_that_is_right_says_nothing() -> None:
    assert texts(look()) == []


def test_slow_lures_are_one_situation() -> None:
    slow = {rod: {"lure_speed_mps": speed(0.5)} for rod in ("P1", "P2", "S1")}
    assert texts(look(slow)) == ["P2, P1, S1: lure 1.1 mph, below 1.6 mph"]
    assert texts(look({rod.name: {"lure_speed_mps": speed(0.5)} for rod in CONFIG.rods})) == [
        "all lines: lure 1.1 mph, below 1.6 mph"
    ]


@pytest.mark.parametrize(
    "more", [{"straight_s": 20.0}, {"boat": boat(stw_mps=Estimate(0.1, 0.05, "ok", 0.5, "t"))}]
)
def test_nor_in_a_turn_nor_with_the_boat_stopped(more: dict[str, Any]) -> None:
    wrong = {"P1": {"lure_speed_mps": speed(0.3)}, "C": {"depth_m": depth(9.0)}}
    assert len(texts(look(wrong))) == 2
    assert texts(look(wrong, **more)) == []


def test_depth_left_its_band_with_a_deadband_back() -> None:
    out = look({"C": {"depth_m": depth(11.9)}})
    assert texts(out) == ["C at 39 ft, above its 39 ft to 49 ft"]
    back = {"C": {"depth_m": depth(12.2)}}
    assert texts(look(back)) == []
    assert texts(look(back, held=("off depth above",))) != []  # only a foot or a tenth further in does it go
    assert rules.findings(out)[0].evidence["limit"] == 12.0


def test_several_off_depth_are_one_situation_told_by_the_worst() -> None:
    wanted = {"C": (12.0, 15.0), "W": (20.0, 25.0), "P1": (20.0, 25.0)}
    config_ = replace(CONFIG, alerts=replace(WANTED, wanted_m=wanted))
    seen = look(
        {"C": {"depth_m": depth(11.9)}, "W": {"depth_m": depth(15.0)}, "P1": {"depth_m": depth(26.0)}}
    )
    assert texts(replace(seen, config=config_)) == [
        "W at 49 ft, above its 66 ft to 82 ft; C too",
        "P1 at 85 ft, below its 66 ft to 82 ft",
    ]


@pytest.mark.parametrize("state", ["aboard", "going out", "coming in", "fish on", "unknown"])
def test_only_a_line_that_fishes_is_judged(state: str) -> None:
    wrong = {
        "rod_state": state,
        "depth_m": depth(3.0),
        "lure_speed_mps": speed(0.2),
        "conditions": ("line folding",),
    }
    assert texts(look({"C": wrong})) == []


def test_while_lines_are_set_only_the_wrong_ones_speak() -> None:
    """Two of them still run out, far too shallow and slow; the one that fishes is too slow: told of it alone."""
    setting = {"rod_state": "going out", "depth_m": depth(1.0), "lure_speed_mps": speed(0.2)}
    seen = look({"P1": setting, "S1": setting, "C": {"lure_speed_mps": speed(0.5)}})
    (one,) = rules.findings(seen)
    assert (one.key, one.rods) == ("lure slow", ("C",))


def test_a_lost_instrument_is_told_once_with_what_it_means() -> None:
    lost = Estimate(None, None, "dead", 40.0, "udp:1/RMC", "silent for 40 s")
    found = rules.findings(look(boat=boat(sog_mps=lost, cog_rad=lost, lat_deg=lost, lon_deg=lost)))
    assert [f.text for f in found] == ["GPS dead: no ground speed, current or place"]
    assert found[0].evidence["cause"] == "silent for 40 s"


def test_what_was_never_there_is_not_lost() -> None:
    none = Estimate(cause="never received")
    known = [name for name in BOAT_QUANTITIES if name != "water_temp_c"]
    assert texts(look(boat=boat(water_temp_c=none), known=known)) == []


def test_all_silent_is_one_situation() -> None:
    dead = Estimate(None, None, "dead", 40.0, "none", "silent for 40 s")
    assert texts(look(boat=boat(**dict.fromkeys(BOAT_QUANTITIES, dead)))) == [
        "instruments lost: GPS, speed log, heading, sounder, thermometer"
    ]


def test_a_planer_on_the_wrong_side() -> None:
    wrong = {"P1": {"swing_m": Q(5.0, 3.0, 7.0, "m", "ok", 0.5, "model")}}
    assert texts(look(wrong)) == ["P1 planer pulls to the wrong side: check its setting"]
    assert texts(look({"P1": {"swing_m": Q(0.5, -1.0, 2.0, "m", "ok", 0.5, "model")}})) == []  # cannot tell
    assert texts(look({"R1": {"swing_m": Q(5.0, 3.0, 7.0, "m", "ok", 0.5, "model")}})) == []  # no planer


def test_each_has_its_evidence_and_is_spoken_in_few_words() -> None:
    """What it was, against what, how sure and how old; or why an instrument is not believed."""
    dead = Estimate(None, None, "dead", 40.0, "udp:1/RMC", "silent for 40 s")
    wrong: dict[str, dict[str, Any]] = {
        "P1": {"lure_speed_mps": speed(0.5), "swing_m": Q(5.0, 3.0, 7.0, "m", "ok", 0.5, "model")},
        "C": {"depth_m": depth(9.0), "conditions": ("line folding",)},
        "P2": {"lure_speed_mps": speed(1.9), "conditions": ("not digging",)},
    }
    found = rules.findings(
        look(wrong, boat=boat(sog_mps=dead, stw_mps=Estimate(1.0, 0.05, "doubtful", 0.5, "t", "frozen")))
    )
    assert len({one.key for one in found}) == 8
    for one in found:
        assert {"age_s", "source"} <= set(one.evidence) and {"value", "cause"} & set(one.evidence), one.key
        assert 0 < len(one.said.split()) <= WORDS, one.said
