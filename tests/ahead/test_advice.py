"""Which turn is offered: against a made-up lake in which the answer is known, and against the forecast it rests on."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from ahead_tools import only

from assistant.ahead.advice import Doubt, Wanted, advise, doubt_of
from assistant.ahead.manoeuvre import Manoeuvre, planned
from assistant.ahead.offers import LOOK_AROUND, Advice
from assistant.ahead.outlook import Bottom, Forecast, LineAhead, PairAhead, Worst
from assistant.configured import AlertLimits
from assistant.messages import BOAT_QUANTITIES, BoatState, Estimate, LineState, Q
from assistant.turn import answer

DEG = math.pi / 180.0
TIMES_S = np.arange(0.0, 121.0, 10.0)
WANTED = Wanted(-170.0 * DEG, 2.0 * DEG, 200.0 * DEG, 1.0, AlertLimits(off_bottom_m=1.5, apart_m=1.0))
NOTHING = Worst(math.nan, math.nan, math.nan, math.nan)


def q(value: float) -> Q:
    return Q(value, value - 1.0, value + 1.0, "m", "ok", 0.5, "model")


LINES = {"W": LineState(0.0, "W", q(28.0), q(0.0), q(28.0), q(20.0), q(1.0), (), "fishing")}


def lake(
    spare_m: float,
    per_deg_s: float,
    known: float = 1.0,
    slowest: float = 0.8,
    apart: float = 5.0,
    far_above: bool = False,
) -> Any:
    """The gap of W falls off by so much for each degree a second of port turn; starboard costs twice that."""

    def look(turn: Manoeuvre) -> Forecast:
        side = 1.0 if turn.angle_rad() < 0.0 else 2.0
        faster = 0.0 if turn.speed_mps is None else 2.0 * (turn.speed_mps - 1.0)
        least = spare_m + faster - side * per_deg_s * turn.rate_radps / DEG
        gap = np.interp(TIMES_S, [0.0, 100.0], [spare_m, least])
        rows = np.stack([gap, gap - 1.0, gap + 1.0], axis=1)
        until_s = math.inf if known == 1.0 or far_above else 120.0 * known
        bottom = Bottom(
            rows,
            Worst(least, least - 1.0, least + 1.0, 100.0),
            known,
            "" if known == 1.0 else "not sounded",
            until_s,
        )
        speed = np.full((len(TIMES_S), 3), 1.0)
        one = LineAhead(
            "W",
            True,
            rows,
            speed,
            rows,
            NOTHING,
            NOTHING,
            Worst(slowest, 0.7, 0.9, 60.0),
            NOTHING,
            NOTHING,
            bottom,
        )
        pair = PairAhead(("W", "C"), Worst(apart, apart - 0.5, apart + 0.5, 50.0), (0.0, 0.0, 20.0))
        return Forecast(0.0, turn, TIMES_S, {"W": one}, pairs=(pair,))

    return look


def rates(advice: Advice) -> list[tuple[str, float]]:
    return [(one.side, round(one.rate_radps / DEG, 3)) for one in advice.options]


def test_the_largest_rate_that_keeps_the_gap_each_side() -> None:
    """6 m to spare, 3 m for each deg/s: 1.5 m is kept up to 1.5 deg/s to port, 0.75 to starboard."""
    advice = advise(WANTED, lake(6.0, 3.0), LINES)
    assert rates(advice) == [("port", 1.5), ("starboard", 0.7)]
    assert advice.options[1].angle_rad == pytest.approx(190.0 * DEG)
    assert "W 2-8 ft off the bottom" in advice.options[0].text  # 1.5 m and its band of a metre
    assert LOOK_AROUND in advice.lines()[-1].lower()


def test_a_turn_that_is_fine_is_offered_as_it_was_asked() -> None:
    assert rates(advise(WANTED, lake(9.0, 1.0), LINES))[0] == ("port", 2.0)


def test_more_speed_where_no_rate_does() -> None:
    """At 0.35 deg/s 1.05 m of 2.3 is gone: 1.25 left; a seventh more speed gives 0.3."""
    (port,) = advise(WANTED, lake(2.3, 3.0), LINES).options[:1]
    assert port.speed_mps == pytest.approx(1.15) and port.side == "port"


@pytest.mark.parametrize("more", [{"slowest": 0.2}, {"apart": 0.4}])
def test_nor_a_lure_that_hangs_nor_lines_that_meet(more: dict[str, float]) -> None:
    advice = advise(WANTED, lake(9.0, 1.0, **more), LINES)
    assert not advice.options and advice.why == "none keeps every line clear"


def test_a_turn_in_which_lines_may_cross_is_the_second_best() -> None:
    """The low end of their band is 40 cm from each other at 1.5 deg/s and more, 90 cm below."""
    limits = replace(WANTED.limits, apart_m=0.8)

    def look(turn: Manoeuvre) -> Forecast:
        near = 0.9 if turn.rate_radps > 1.2 * DEG else 1.4
        return lake(9.0, 1.0, apart=near)(turn)  # type: ignore[no-any-return]

    advice = advise(replace(WANTED, limits=limits), look, LINES)
    assert rates(advice)[0] == ("port", 1.0) and "may cross" not in advice.options[0].text
    always = advise(replace(WANTED, limits=limits), lake(9.0, 1.0, apart=0.9), LINES)
    assert rates(always)[0] == ("port", 2.0)
    assert "W and C 1-5 ft apart (they may cross)" in always.options[0].text


def test_only_headings_that_can_be_run() -> None:
    """From 200 to 030 by port passes 120; by starboard 300."""
    limits = replace(WANTED.limits, headings_rad=((190.0 * DEG, 40.0 * DEG),))
    assert rates(advise(replace(WANTED, limits=limits), lake(6.0, 3.0), LINES)) == [("starboard", 0.7)]
    shut = replace(WANTED.limits, headings_rad=((180.0 * DEG, 220.0 * DEG),))
    assert "headings" in advise(replace(WANTED, limits=shut), lake(6.0, 3.0), LINES).why


def test_nothing_while_speed_or_heading_is_in_doubt() -> None:
    assert advise(WANTED, lake(6.0, 3.0), LINES, doubt=Doubt(all="speed doubtful")).lines() == (
        "No steering is offered: speed doubtful.",
    )
    good: dict[str, Any] = {name: Estimate(1.0, 0.05, "ok", 0.5, "test") for name in BOAT_QUANTITIES}
    assert doubt_of(BoatState(0.0, **good)) == Doubt()
    jumps = good["water_depth_m"]._replace(state="doubtful", cause="jumps")
    depth = doubt_of(BoatState(0.0, **{**good, "water_depth_m": jumps}))
    assert depth == Doubt(bottom="depth doubtful (jumps)")
    speed = doubt_of(BoatState(0.0, **{**good, "stw_mps": jumps}))
    assert speed == Doubt(all="speed doubtful (jumps)")


def test_no_word_on_a_bottom_that_is_not_known_but_on_lines_and_lures() -> None:
    """What is sounded still counts: 6 m to spare, 3 m for each deg/s, so 1.5 deg/s to port."""
    for more in ({"known": 0.9}, {"doubt": Doubt(bottom="depth doubtful")}):
        known = float(more.get("known", 1.0))  # type: ignore[arg-type]
        doubt = more.get("doubt", Doubt())
        assert isinstance(doubt, Doubt)
        advice = advise(WANTED, lake(6.0, 3.0, known=known), LINES, doubt=doubt)
        assert rates(advice)[0] == ("port", 1.5)
        assert advice.options[0].unknown == ("W",)
        first = advice.lines()[0]
        why = doubt.bottom or "not sounded"
        assert "W and C 15-18 ft apart" in first and " off the bottom," not in first
        assert first.endswith(f"whether W keeps off the bottom is not known: {why}.")
    deep = advise(WANTED, lake(0.0, 1.5), LINES, doubt=Doubt(bottom="depth doubtful"))
    assert not deep.lift and deep.why == "none keeps every line clear, depth doubtful"


def test_a_line_far_above_all_that_was_sounded_needs_no_sounding() -> None:
    advice = advise(WANTED, lake(6.0, 3.0, known=0.9, far_above=True), LINES)
    assert not advice.options[0].unknown and "W 2-8 ft off the bottom" in advice.options[0].text


def test_what_to_lift_where_no_steering_does_and_where_the_notice_is_too_short() -> None:
    """3 m below the bottom at worst: 4.5 m up, of a line as deep as it is long astern: 6.4 m, so 25 ft."""
    deep = advise(WANTED, lake(0.0, 1.5), LINES)
    assert deep.lift == ("Lift W 25 ft now.",) and deep.why == "none keeps every line clear"
    soon = lake(3.0, 3.0)(planned(-1.0, 3.0 * DEG))
    line = soon.lines["W"]
    assert line.bottom is not None
    near = replace(line, bottom=replace(line.bottom, least=replace(line.bottom.least, at_s=20.0)))
    late = advise(WANTED, lake(9.0, 1.0), LINES, now=replace(soon, lines={"W": near}))
    assert not late.options and late.lift and "30 s" in late.why


def test_an_offered_turn_holds_in_the_model_it_was_found_with() -> None:
    """Asked for again as a turn of its own, it keeps W off the bottom that was typed."""
    loaded, bottom_m = only("W", "C"), 116.0 * 0.3048
    said = json.loads(answer(loaded, "port", 150.0, 3.0, "2.1mph", True, "116ft"))
    port = next(one for one in said["advice"]["options"] if one["side"] == "port")
    assert port["speed_mps"] is None

    def deepest_m(rate: float) -> float:
        rods = json.loads(answer(loaded, "port", 150.0, rate, "2.1mph", True))["rods"]
        return float(rods["W"]["depth_m"]["value"] + rods["W"]["sink_m"]["value"])

    assert deepest_m(port["rate_deg_s"]) <= bottom_m - loaded.alerts.off_bottom_m + 0.1
    assert "off the bottom" in port["text"]
