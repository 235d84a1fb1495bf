"""What is wrong with the computer itself, told on the page only: not recording, broker lost. Pure.

It is no part of a Frame: a Frame comes of what the boat's instruments said, and a replay of the outing makes it again.
Delays, acknowledgement and silence are those of every other alert (engine.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.alerts import engine
from assistant.alerts.engine import AlertState, Finding
from assistant.messages import Alert, AlertAction

ON_S, OFF_S = 5.0, 10.0


@dataclass(frozen=True, slots=True)
class MachineWatch:
    """What is remembered between two looks."""

    alerts: AlertState = field(default_factory=AlertState)
    connected: bool = False  # the broker was, at some time


def look(
    watch: MachineWatch,
    t_s: float,
    recording: str = "",
    broker: str = "",
    actions: Sequence[AlertAction] = (),
) -> tuple[MachineWatch, tuple[Alert, ...]]:
    """Judge one instant.

    Args:
        t_s: later than the last look [s]; actions: what the crew did about alerts since then.
        recording: why nothing is recorded; broker: why it is not connected; empty: it is, or is not wanted.
    """
    found = []
    connected = watch.connected or not broker
    if recording:
        found.append(
            _finding("not recording", f"not recording: {recording}", "Outing is not recorded", recording)
        )
    if broker and connected:
        text = f"broker lost: {broker}; this page goes on, other displays do not"
        found.append(_finding("broker lost", text, "Broker lost, page goes on", broker))
    alerts, told = engine.judge(watch.alerts, found, t_s, actions)
    return MachineWatch(alerts, connected), told


def _finding(key: str, text: str, said: str, cause: str) -> Finding:
    return Finding(key, "caution", text, ON_S, OFF_S, evidence={"cause": cause}, said=said)
