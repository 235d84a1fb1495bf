"""The Frame as the page gets it: with what is wrong with the computer itself among its alerts (alerts/machine.py)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from assistant.alerts import machine
from assistant.alerts.engine import RANKS
from assistant.alerts.machine import MachineWatch
from assistant.messages import AlertAction, Frame
from assistant.outings.recorder import Status as Recording
from firmware_bridge.mqtt import Status as Broker


class PageAlerts:
    """Follows recording and broker; `act` is told what the crew does, `also` where else to tell it."""

    def __init__(self, broker: str, also: Callable[[AlertAction], None]) -> None:
        self._wants_broker, self._also = broker != "none", also
        self._watch = MachineWatch()
        self._actions: list[AlertAction] = []

    def act(self, action: AlertAction) -> None:
        """What the crew did about an alert."""
        self._actions.append(action)
        self._also(action)

    def on(self, frame: Frame, recording: Recording, broker: Broker) -> Frame:
        """The Frame with these alerts too, the most urgent first."""
        actions, self._actions = self._actions, []
        failing = "" if recording.recording else recording.reason or "it cannot be written"
        lost = "" if broker.connected or not self._wants_broker else broker.reason or "no answer"
        self._watch, told = machine.look(self._watch, frame.t_s, failing, lost, actions)
        if not told:
            return frame
        ranked = sorted((*frame.alerts, *told), key=lambda alert: -RANKS.index(alert.priority))
        return replace(frame, alerts=tuple(ranked))
