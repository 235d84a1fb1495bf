"""A calibration that no longer fits is shown with what mends it, and makes no sound."""

from __future__ import annotations

from dataclasses import replace

from test_alert_rules import CONFIG, boat, look

from assistant.alerts import engine, rules
from assistant.alerts import watch as watching
from assistant.messages import Misfit


def test_it_is_shown_without_a_sound() -> None:
    off = (Misfit("speed log", 0.15, 0.012, 0.1), Misfit("compass", -0.17, 0.01, 0.11))
    found = rules.findings(look(boat=replace(boat(), misfits=off)))
    told = {one.text for one in found}
    assert told == {
        "speed log reads 13 % low against GPS: spreadwatch calibrate speed",
        "compass 10 degrees high against GPS: spreadwatch calibrate compass",
    }
    state = engine.AlertState()
    for t_s in range(0, 121, 1):
        state, alerts = engine.judge(state, found, float(t_s))
    assert len(alerts) == 2
    assert not any(alert.audible for alert in alerts)
    assert {alert.priority for alert in alerts} == {"caution"}


def test_nor_through_the_whole_watch() -> None:
    seen = look(boat=replace(boat(), misfits=(Misfit("compass", -0.17, 0.01, 0.11),)))
    state = watching.Watch()
    for t_s in range(121):
        state, alerts = watching.look(state, CONFIG, seen.boat, seen.lines, float(t_s))
    assert [(alert.audible, alert.silent) for alert in alerts] == [(False, "no hurry")]


def test_nothing_is_said_of_what_fits() -> None:
    assert rules.findings(look()) == []
