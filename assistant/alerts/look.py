"""What the rules see, and what a row of their table is. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from assistant.ahead.outlook import Forecast
from assistant.alerts.engine import Finding
from assistant.alerts.felt import Felt
from assistant.configured import Config, Rod
from assistant.messages import BoatState, LineState, Priority, Q, Seen
from assistant.units import DISPLAY_UNITS

Evidence = Mapping[str, float | str | None]

TURNING_RADPS = math.radians(0.5)
AFTER_TURN_S = 90.0
"""A turn moves every line, and the captain knows: depth and lure speed are judged again this long after it."""

STOPPED_MPS = 0.26
"""Half a knot through the water: the boat has stopped, and no lure is meant to run."""

STRAIGHT_FOR_SIDE_S = 60.0
DEADBAND = 0.1
WORDS = 8
"""A spoken sentence has no more."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the rules see."""

    config: Config
    boat: BoatState
    lines: Mapping[str, LineState]
    held: Collection[str]  # keys of situations that stand: the deadband applies
    straight_s: float  # since the last turn ended
    known: Collection[str]  # boat quantities that were ok at some time
    outlook: Forecast | None = None  # None: nothing is forecast
    seen: Mapping[str, Mapping[str, Seen]] = field(
        default_factory=dict
    )  # by rod and kind: sensors there, the crew
    t_s: float = 0.0
    felt: Mapping[str, Felt] = field(default_factory=dict)  # by rod, where there is a pull input

    def firm(self) -> Iterator[tuple[Rod, LineState]]:
        """Rods whose line fishes and whose numbers are known."""
        for rod in self.config.rods:
            line = self.lines[rod.name]
            if line.rod_state == "fishing" and line.depth_m.state in ("ok", "doubtful"):
                yield rod, line

    def listed(self, rods: Collection[str]) -> str:
        """ "P2, P1", or "all lines" where all that fish are meant."""
        return "all lines" if len(rods) > 2 and len(rods) == sum(1 for _ in self.firm()) else ", ".join(rods)

    def called(self, rods: Sequence[str]) -> str:
        """Rods as spoken, in three words at most."""
        if len(rods) > 2:
            return "All lines" if len(rods) == sum(1 for _ in self.firm()) else f"{rods[0]} and others"
        return " and ".join(rods)

    def trolling(self) -> bool:
        """Under way, and long enough after a turn."""
        stw = self.boat.stw_mps.value
        return self.straight_s >= AFTER_TURN_S and stw is not None and stw >= STOPPED_MPS

    def shown(self, value: float, unit: str) -> str:
        """A value with its unit as the crew reads it."""
        row = DISPLAY_UNITS[self.config.boat.units][unit]
        return f"{value * row.scale + row.offset:.{row.digits}f} {row.label}"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of RULES."""

    name: str
    priority: Priority
    see: Callable[[Look, Rule], Iterator[Finding]]
    on_s: float = 3.0
    off_s: float = 10.0

    def finding(
        self,
        text: str,
        rods: tuple[str, ...] = (),
        key: str | None = None,
        *,
        said: str = "",
        priority: Priority | None = None,
        evidence: Evidence = MappingProxyType({}),
        same: tuple[str, ...] = (),
    ) -> Finding:
        """A situation of this rule; `said`: as spoken, the rod first, WORDS words at most."""
        key, priority = key or self.name, priority or self.priority
        return Finding(key, priority, text, self.on_s, self.off_s, rods, evidence, said=said, same=same)


def band_of(q: Q) -> Evidence:
    """The evidence a published number brings: its band, age and source."""
    return {"low": q.low, "high": q.high, "age_s": q.age_s, "source": q.source}
