"""What the page tells of the computer: when, how often, and that it ends by itself."""

from __future__ import annotations

from dataclasses import replace

from assistant.alerts.engine import REALARM_S
from assistant.alerts.machine import OFF_S, ON_S, MachineWatch, look
from assistant.messages import Alert, AlertAction, Frame
from assistant.outings.recorder import Status as Recording
from assistant.page_alerts import PageAlerts
from firmware_bridge.mqtt import Status as Broker

STEP_S = 0.5


def told(
    seconds: float,
    recording: str = "",
    broker: str = "",
    state: MachineWatch | None = None,
    at_s: float = 0.0,
) -> tuple[MachineWatch, list[tuple[Alert, ...]]]:
    watch = state or MachineWatch()
    out: list[tuple[Alert, ...]] = []
    for k in range(round(seconds / STEP_S)):
        watch, alerts = look(watch, at_s + k * STEP_S, recording, broker)
        out.append(alerts)
    return watch, out


def test_a_disk_that_fails_is_told_after_five_seconds_and_gone_ten_after_it_is_back() -> None:
    watch, alerts = told(20.0, recording="disk full")
    first = next(k for k, now in enumerate(alerts) if now) * STEP_S
    assert first == ON_S and alerts[-1][0].audible
    assert (alerts[-1][0].priority, alerts[-1][0].text) == ("caution", "not recording: disk full")
    _, after = told(40.0, state=watch, at_s=20.0)
    assert after[round(OFF_S / STEP_S) + 1][0].phase == "gone" and after[-1] == ()


def test_a_broker_that_never_was_is_not_lost() -> None:
    assert told(60.0, broker="connection refused")[1][-1] == ()
    watch, _ = told(10.0)
    _, alerts = told(20.0, broker="connection refused", state=watch, at_s=10.0)
    assert alerts[-1][0].key == "broker lost" and len(alerts[-1][0].said.split()) <= 8


def test_a_broker_that_comes_and_goes_is_heard_once_in_five_minutes() -> None:
    watch, before = MachineWatch(), False
    sounds: list[float] = []
    for k in range(round(2 * REALARM_S / STEP_S)):
        watch, alerts = look(watch, k * STEP_S, broker="gone" if k % 60 >= 20 else "")
        audible = any(alert.audible for alert in alerts)
        sounds += [k * STEP_S] if audible and not before else []
        before = audible
    assert len(sounds) <= 2


def test_seen_is_seen() -> None:
    watch, _ = told(10.0, recording="disk full")
    _, alerts = look(watch, 10.0, "disk full", actions=[AlertAction(10.0, "acknowledge", "not recording")])
    assert (alerts[0].phase, alerts[0].audible) == ("acknowledged", False)


def test_the_page_gets_them_beside_those_of_the_frame_and_they_are_acknowledged_with_them() -> None:
    frame = Frame(
        0.0, None, 0, "live", {}, {}, (Alert(0.0, "bottom W", "W", "alarm", "W on the bottom", "active"),)
    )
    acted: list[AlertAction] = []
    page = PageAlerts("embedded", acted.append)
    failing, connected = Recording(None, False, "disk full"), Broker("b", True, "")
    for k in range(20):
        shown = page.on(replace(frame, t_s=k * STEP_S), failing, connected)
    assert [alert.key for alert in shown.alerts] == ["bottom W", "not recording"]
    page.act(AlertAction(9.5, "acknowledge", "not recording"))
    assert [a.phase for a in page.on(replace(frame, t_s=10.0), failing, connected).alerts] == [
        "active",
        "acknowledged",
    ]
    assert [action.key for action in acted] == ["not recording"]
