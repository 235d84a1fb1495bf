"""What one Signal K client wants of us: paths and how often, as its messages say ("Subscription Protocol", 1.7).

Of a row's settings `path`, `period`, `minPeriod` and `policy` count; what we have changes twice a second, so that
"instant" and "ideal" are the same. Whatever else a client says is passed over.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field

MOST_ROWS = 64
LONGEST_PATH = 200
MESSAGE_BYTES = 16_384
EARLY_S = 0.1  # a value may come so much before its period is over: ours come in steps


@dataclass(slots=True)
class Row:
    """One subscribed path, which may hold `*`, and the least time between two values."""

    parts: tuple[str, ...]
    every_s: float
    sent_s: float = -math.inf

    def covers(self, path: str) -> bool:
        """Whether a path is meant: `*` stands for one part, at the end for all that follow."""
        names = path.split(".")
        if self.parts[-1] == "*":
            if len(names) < len(self.parts):
                return False
        elif len(names) != len(self.parts):
            return False
        return all(part in ("*", name) for part, name in zip(self.parts, names, strict=False))


@dataclass(slots=True)
class Subscriptions:
    """All rows of one client. `own` is the context of our vessel."""

    own: str
    rows: dict[tuple[str, ...], Row] = field(default_factory=dict)

    def everything(self) -> None:
        """Subscribe to all there is."""
        self._add("*", {})

    def take(self, message: str | bytes) -> None:
        """What a client sent; never raises."""
        try:
            asked = json.loads(message) if len(message) <= MESSAGE_BYTES else None
        except (ValueError, RecursionError):
            return
        if not isinstance(asked, dict) or not self._is_ours(asked.get("context", "vessels.self")):
            return
        for word, act in (("unsubscribe", self._drop), ("subscribe", self._add)):
            rows = asked.get(word)
            for row in rows if isinstance(rows, list) else ():
                path = row.get("path") if isinstance(row, dict) else None
                if isinstance(path, str) and 0 < len(path) <= LONGEST_PATH:
                    act(path, row)

    def due(self, paths: list[str], now_s: float) -> list[str]:
        """Those of our paths that are to be sent now."""
        rows = [row for row in self.rows.values() if now_s - row.sent_s >= row.every_s - EARLY_S]
        for row in rows:
            row.sent_s = now_s
        return [path for path in paths if any(row.covers(path) for row in rows)]

    def _is_ours(self, context: object) -> bool:
        return context in ("*", "vessels.*", "vessels.self", "self", self.own)

    def _add(self, path: str, row: dict[str, object]) -> None:
        parts = tuple(path.split("."))
        if row.get("format", "delta") != "delta" or (len(self.rows) >= MOST_ROWS and parts not in self.rows):
            return
        fixed = row.get("policy") == "fixed"
        every = row.get("period", 1000) if fixed else row.get("minPeriod", 0)
        number = isinstance(every, int | float) and not isinstance(every, bool) and 0 <= every <= 86_400_000
        self.rows[parts] = Row(parts, every / 1000.0 if number else 0.0)  # type: ignore[operator]  # a number

    def _drop(self, path: str, row: dict[str, object]) -> None:
        pattern = Row(tuple(path.split(".")), 0.0)
        self.rows = {parts: kept for parts, kept in self.rows.items() if not pattern.covers(".".join(parts))}
