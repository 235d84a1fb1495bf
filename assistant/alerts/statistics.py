"""How much was told in an outing, counted as alarm management counts it. Pure.

Rate per 10 minutes, a flood (more than 10 in 10 minutes), chattering (three or more of one key in a minute), standing
long (over an hour): ISA-18.2-2016 and IEC 62682:2014, from memory.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.alerts.engine import RANKS
from assistant.messages import Alert, Priority

PERIOD_S = 600.0
FLOOD = 10
CHATTER_S, CHATTER = 60.0, 3
LONG_S = 3600.0
TOP = 10
PRIORITIES: tuple[Priority, ...] = ("alarm", "warning", "caution")


@dataclass(slots=True)
class Told:
    """Counts of what was told; `add` every frame in order."""

    seconds: float = 0.0
    by_priority: Counter[str] = field(default_factory=Counter)
    by_key: Counter[str] = field(default_factory=Counter)
    silent: int = 0  # shown without a sound: back within five minutes, a fish on, following from another
    acknowledged: int = 0
    worst_period: int = 0  # most sounds within PERIOD_S
    chattering: set[str] = field(default_factory=set)
    long: set[str] = field(default_factory=set)  # stood over LONG_S
    _last_s: float | None = None
    _standing: dict[str, Alert] = field(default_factory=dict)
    _times: deque[float] = field(default_factory=deque)  # of the sounds of the last PERIOD_S
    _recent: dict[str, deque[float]] = field(default_factory=dict)

    def add(self, t_s: float, alerts: Sequence[Alert]) -> None:
        """Count one frame at t_s [s]; a gap in time is not counted as time."""
        if self._last_s is not None and t_s - self._last_s < 10.0:
            self.seconds += t_s - self._last_s
        self._last_s = t_s
        now = {alert.key: alert for alert in alerts if alert.phase != "gone"}
        for key, alert in now.items():
            before = self._standing.get(key)
            worse = before is not None and RANKS.index(alert.priority) > RANKS.index(before.priority)
            if before is None or (alert.audible and worse):  # what has become more urgent is heard again
                self._begin(t_s, alert)
            elif before.phase == "active" and alert.phase == "acknowledged":
                self.acknowledged += 1
            if t_s - alert.t_s > LONG_S:
                self.long.add(key)
        self._standing = now

    def _begin(self, t_s: float, alert: Alert) -> None:
        if not alert.audible:
            self.silent += 1
            return
        self.by_priority[alert.priority] += 1
        self.by_key[alert.key] += 1
        self._times.append(t_s)
        while self._times[0] < t_s - PERIOD_S:
            self._times.popleft()
        self.worst_period = max(self.worst_period, len(self._times))
        recent = self._recent.setdefault(alert.key, deque(maxlen=CHATTER))
        recent.append(t_s)
        if len(recent) == CHATTER and t_s - recent[0] <= CHATTER_S:
            self.chattering.add(alert.key)

    def summary(self) -> dict[str, object]:
        """The figures as plain numbers, ready for JSON."""
        total = self.by_priority.total()
        return {
            "hours": round(self.seconds / 3600.0, 3),
            "told": total,
            "per_10_min": round(total * PERIOD_S / self.seconds, 3) if self.seconds else None,
            "worst_10_min": self.worst_period,
            "flood": self.worst_period > FLOOD,
            "chattering": sorted(self.chattering),
            "over_an_hour": sorted(self.long),
            "shares": {
                name: round(self.by_priority[name] / total, 3) if total else None for name in PRIORITIES
            },
            "shown_silently": self.silent,
            "acknowledged": self.acknowledged,
            "most_often": dict(self.by_key.most_common(TOP)),
        }
