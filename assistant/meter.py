"""Counts and times what the daemon does, for the summary at its end."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

SLIP_S = 0.1  # a step later than this behind its instant is a slip
KEEP = 200_000  # latest latencies kept: over an hour at 50 sentences a second


def quantile(values: Iterable[float], share: float) -> float | None:
    """The smallest value that at least `share` of `values` do not exceed; None of nothing."""
    ordered = sorted(values)
    if not ordered:
        return None
    rank = max(1, -int(-share * len(ordered) // 1))
    return ordered[min(rank, len(ordered)) - 1]


SETTLING = 40
"""First steps whose lateness is not in the quantiles: the lines settle, the forecasting process starts."""


def _worst_ms(values_s: Iterable[float]) -> dict[str, float | None]:
    kept = list(values_s)
    quantiles = {"p99_9": quantile(kept, 0.999), "max": quantile(kept, 1.0)}
    return {name: None if v is None else round(1000.0 * v, 2) for name, v in quantiles.items()}


@dataclass(slots=True)
class Meter:
    """What the summary says. Latency [s]: from a sentence's frame instant, or its arrival if later, to
    the moment the first frame at or after it has been handed out to broker and page."""

    steps: int = 0
    slips: int = 0
    worst_late_s: float = 0.0
    latencies_s: deque[float] = field(default_factory=lambda: deque(maxlen=KEEP))
    lates_s: deque[float] = field(default_factory=lambda: deque(maxlen=KEEP))
    steps_late_s: deque[float] = field(default_factory=lambda: deque(maxlen=KEEP))

    def stepped(self, late_s: float) -> None:
        """Note one step and how late behind its instant it began [s]."""
        self.steps += 1
        self.slips += late_s > SLIP_S
        self.worst_late_s = max(self.worst_late_s, late_s)
        self.steps_late_s.append(late_s)

    def woke(self, late_s: float) -> None:
        """Note how late the event loop woke a task [s]."""
        self.lates_s.append(late_s)

    def late_ms(self) -> dict[str, float | None]:
        """How late the event loop woke a task [ms]; None before the first time."""
        return _worst_ms(self.lates_s)

    def steps_late_ms(self) -> dict[str, float | None]:
        """How late behind their instants steps began, the first SETTLING left out [ms]."""
        return _worst_ms(list(self.steps_late_s)[SETTLING:])

    def published(self, latencies_s: Iterable[float]) -> None:
        """Note the latency of every sentence that a publication was the first to hold."""
        self.latencies_s.extend(latencies_s)

    def latency_ms(self) -> dict[str, float | None]:
        """Median and 99 % quantile of the latency [ms]; None before the first."""
        quantiles = {"p50": quantile(self.latencies_s, 0.5), "p99": quantile(self.latencies_s, 0.99)}
        return {name: None if v is None else round(1000.0 * v, 2) for name, v in quantiles.items()}
