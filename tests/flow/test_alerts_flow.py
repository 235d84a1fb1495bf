"""Alerts through the whole flow: from sentences to what is told, and when."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

from flow_tools import STEP_S, boat_texts, with_sum

from assistant import config, pipeline
from assistant.configured import AlertLimits
from assistant.messages import Alert, AlertAction, Frame, Inputs, Sentence


def instruments(t_s: float, heading_deg: float, speed_kn: float, place: list[float]) -> list[str]:
    """What instruments in waves say once a second; numbers that never change are taken for a stuck instrument."""
    speed, heading = speed_kn + 0.06 * math.sin(2.1 * t_s), heading_deg + 1.5 * math.sin(1.3 * t_s)
    place[0] += speed * math.cos(math.radians(heading)) / 3600.0  # minutes of latitude
    place[1] -= speed * math.sin(math.radians(heading)) / 3600.0 / math.cos(math.radians(45.0))
    said = boat_texts(t_s, heading, speed)
    return [with_sum(_moved(text, place)[1:].partition("*")[0]) for text in said]


def _moved(text: str, place: list[float]) -> str:
    return text.replace("4500.0000", f"45{place[0]:07.4f}").replace("03000.0000", f"030{place[1]:07.4f}")


def frames(duration_s: float, texts: Callable[[float], list[str]], **inputs: AlertAction) -> Iterator[Frame]:
    """A frame every half second of a day on which every rod's depth and the lures' speed are wanted as they begin."""
    loaded = config.load()
    state = pipeline.initial(loaded, "simulated")
    for tick in range(math.ceil(duration_s / STEP_S)):
        t_s = tick * STEP_S
        told = tuple(Sentence(t_s, "test", text) for text in texts(t_s)) if tick % 4 == 0 else ()
        step = Inputs(t_s, told, actions=tuple(a for a in inputs.values() if a.t_s == t_s))
        if tick % 2:
            state = pipeline.advance(state, step)
            continue
        state, frame = pipeline.step(state, step)
        yield frame
        if t_s == 60.0:
            depths = {rod: line.depth_m.value or 0.0 for rod, line in frame.lines.items()}
            wanted = {rod: (0.95 * depth, 1.05 * depth) for rod, depth in depths.items()}
            wishes = replace(loaded, alerts=AlertLimits(0.8, 1.2, wanted))
            state = replace(state, lines=replace(state.lines, config=wishes))


def onsets(shown: list[Frame]) -> list[tuple[float, str]]:
    """(time, key) of each sound that begins."""
    out: list[tuple[float, str]] = []
    before: set[str] = set()
    for frame in shown:
        now = {alert.key for alert in frame.alerts if alert.audible}
        out += [(frame.t_s, key) for key in now - before]
        before = now
    return out


def test_a_receiver_that_falls_silent_is_one_alert_that_goes_by_itself() -> None:
    place = [10.0, 10.0]

    def texts(t_s: float) -> list[str]:
        said = instruments(t_s, 200.0, 1.9, place)
        return [text for text in said if not (100.0 < t_s < 150.0 and "RMC" in text)]

    acknowledge = AlertAction(120.0, "acknowledge", "lost GPS")
    shown = list(frames(220.0, texts, acknowledge=acknowledge))
    ((t_s, key),) = onsets(shown)
    assert key == "lost GPS"
    assert 103.0 < t_s < 115.0  # stale after 4 s, then the on-delay of 3 s

    def alert_at(t: float) -> Alert:
        return next(f for f in shown if f.t_s == t).alerts[0]

    assert alert_at(119.0).phase == "active"
    assert (alert_at(121.0).phase, alert_at(121.0).audible) == ("acknowledged", False)
    assert not shown[-1].alerts


def test_deliberate_curves_make_no_sound_and_a_change_of_speed_does() -> None:
    """Curves of 25 degrees each side for ten minutes; then too slow for two, on a straight course."""

    place = [10.0, 10.0]

    def texts(t_s: float) -> list[str]:
        curve = 25.0 * math.sin(2.0 * math.pi * (t_s - 80.0) / 80.0) if 80.0 < t_s < 640.0 else 0.0
        return instruments(t_s, 200.0 + curve, 2.1 if t_s < 800.0 else 1.2, place)

    told = onsets(list(frames(920.0, texts)))
    assert [key for t_s, key in told if t_s < 800.0] == []
    assert [key for t_s, key in told if t_s > 800.0] == ["lure slow"]  # sunken lures follow from it: no sound
