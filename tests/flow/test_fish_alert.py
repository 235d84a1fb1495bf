"""A fish on, through the whole flow: told, forecast at once, alert; then the boat does slow, and what was said comes.

Expected: what is said is what the lines do afterwards in the flow itself, over the depth that the sounder shows.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache

from flow_tools import STEP_S, with_sum
from test_alerts_flow import instruments

from assistant import config, locate, pipeline
from assistant.ahead.following import Followed, followed, question_of
from assistant.ahead.forecast import forecast
from assistant.ahead.recorded import as_input
from assistant.alerts.look import WORDS
from assistant.configured import AlertLimits
from assistant.messages import Alert, Frame, Inputs, LineSetting, Outlook, Sentence
from assistant.outings.happenings import parse_event

STRIKE_S, SLOWS_S, END_S = 60.0, 80.0, 210.0
BOTTOM_M = 24.0
RODS = ("P2", "W", "C")
EVERY_S = 5.0  # between two forecasts on a straight course


def texts(t_s: float, place: list[float]) -> list[str]:
    """1.9 kn straight on; from SLOWS_S on as slow as for a fish."""
    speed = 1.9 if t_s < SLOWS_S else 1.05 + 0.85 * math.exp((SLOWS_S - t_s) / 6.0)
    said = instruments(t_s, 200.0, speed, place)
    return [with_sum(f"SDDPT,{BOTTOM_M - 0.3:.1f},0.3") if "DPT" in text else text for text in said]


@cache
def day(told_as: str = '{"rod": "P2", "kind": "fish on"}') -> list[Frame]:
    """A frame every half second, with forecasts as the daemon makes them; the strike is told as the page tells it."""
    loaded = config.load()
    rods = tuple(rod for rod in loaded.rods if rod.name in RODS)
    rods = tuple(
        replace(rod, line_out_m=26.0) if rod.name == "W" else rod for rod in rods
    )  # well off the bottom
    loaded = replace(loaded, rods=rods, alerts=AlertLimits(lure_slow_mps=0.8))
    boat, lines, past = locate.initial(loaded.boat), pipeline.initial_lines(loaded, "simulated"), Followed()
    strike = parse_event(told_as.encode(), RODS, (), STRIKE_S, "typed")
    place, outlook, due_s = [10.0, 10.0], None, 0.0
    frames = []
    for tick in range(math.ceil(END_S / STEP_S)):
        t_s = tick * STEP_S
        said = tuple(Sentence(t_s, "test", text) for text in texts(t_s, place)) if tick % 4 == 0 else ()
        told = (LineSetting(t_s, **strike.setting),) if strike.setting and t_s == STRIKE_S else ()  # type: ignore[arg-type]
        events = (strike.event,) if t_s == STRIKE_S else ()
        due_s = t_s if t_s == STRIKE_S else due_s  # as lookahead.py: a strike is forecast at once
        inputs = Inputs(t_s, said, told, events=events, outlook=outlook)
        boat, instant = locate.located(boat, inputs, wanted=tick % 2 == 0)
        outlook = None
        if instant.boat is None:
            lines = pipeline.follow(lines, instant)
            continue
        lines, frame = pipeline.frame_of(lines, instant)
        frames.append(frame)
        motion = lines.spread.motion
        past = followed(past, t_s, *boat.steering[1:], motion, instant.boat)
        if t_s >= due_s:
            outlook, due_s = looked_ahead(lines, past, instant, loaded.boat.fish_speed_mps), t_s + EVERY_S
    return frames


def looked_ahead(
    lines: pipeline.LinesState, past: Followed, instant: locate.Instant, fish_mps: float
) -> Outlook | None:
    """What the forecaster answers."""
    assert instant.boat is not None
    asked = question_of(past, instant.boat, pipeline.rod_states(lines), fish_mps)
    if asked is None:
        return None
    told = forecast(lines.spread, asked.manoeuvre, past.learned.response(), past.soundings)
    return None if told is None else as_input(replace(told, kind=asked.kind, state=asked.state))


def alerts_at(t_s: float, frames: list[Frame] | None = None) -> dict[str, Alert]:
    frame = next(one for one in frames or day() if one.t_s >= t_s)
    return {alert.key: alert for alert in frame.alerts}


def test_the_slowdown_is_told_within_two_seconds_of_the_strike_with_a_lift_and_a_speed() -> None:
    assert not any(key.startswith(("slowed", "bottom")) for key in alerts_at(STRIKE_S - 0.5))
    told = alerts_at(STRIKE_S + 2.0)
    (key,) = (key for key in told if key.startswith("slowed"))
    alert = told[key]
    words = r"W on the bottom in \d+ s: lift W \d+ ft or hold 1\.\d mph; clear first: W, C"
    assert re.fullmatch(words, alert.text)
    assert alert.audible and alert.priority != "caution" and 0 < len(alert.said.split()) <= WORDS
    assert {"value", "low", "high", "limit", "age_s", "in_s"} <= set(alert.evidence)


def test_what_it_says_comes_when_the_boat_slows_and_all_that_touches_was_named() -> None:
    """Its time counts from when the boat does slow; half again of it and 10 s, much as calls are judged elsewhere."""
    frames = [frame for frame in day() if frame.t_s > SLOWS_S]
    told = alerts_at(SLOWS_S - 1.0)["slowed W"]
    down = {rod: [frame.lines[rod].depth_m.value or 0.0 for frame in frames] for rod in ("W", "C")}
    assert {rod for rod, depths in down.items() if max(depths) > BOTTOM_M} == set(told.rods)
    began_s = next(frame.t_s for frame, depth in zip(frames, down["W"], strict=True) if depth > BOTTOM_M)
    in_s = float(str(told.evidence["in_s"]))
    assert 0.5 * in_s < began_s - SLOWS_S < 1.5 * in_s + 10.0


def test_the_bottom_once_the_boat_has_slowed_is_the_same_cause_and_not_heard_again() -> None:
    heard = []
    before: set[str] = set()
    for frame in day():
        now = {alert.key for alert in frame.alerts if alert.audible}
        heard += sorted(now - before)
        before = now
    assert heard == ["slowed W"]
    assert alerts_at(END_S - 60.0)["bottom W"].phase == "acknowledged"  # shown all the same


def test_a_lure_too_slow_is_shown_and_mute_while_the_fish_is_on() -> None:
    shown = [alert for frame in day() for alert in frame.alerts if alert.key == "lure slow"]
    assert shown and all(alert.silent == "fish on" and not alert.audible for alert in shown)


def test_a_fish_nobody_has_given_a_rod_is_forecast_at_once_and_mutes_the_same() -> None:
    frames = day('{"kind": "fish on"}')
    assert all(line.rod_state == "fishing" for frame in frames for line in frame.lines.values())
    told = alerts_at(STRIKE_S + 2.0, frames)
    assert any(key.startswith("slowed") and {"P2", "W"} <= set(alert.rods) for key, alert in told.items())
    shown = [alert for frame in frames for alert in frame.alerts if alert.key == "lure slow"]
    assert shown and all(alert.silent == "fish on" for alert in shown)
