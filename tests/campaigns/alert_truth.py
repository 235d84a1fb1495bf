"""What was really so on a simulated day, second by second, and whether what was told of it was true.

A warning or an alarm is true when what it tells is so at its time (10 s either way), or, of what is foreseen, by half
again the time it gave and a minute. Tolerances are those of what is shown: a foot, a tenth of a mile an hour.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.pairs import closest, first_nodes
from assistant.alerts.engine import RANKS
from assistant.messages import Alert
from assistant.units import FOOT_M, MPH_MPS
from sim.water import Lake
from sim.world import World

Array = NDArray[np.float64]

NODES = 33
TOUCH_M, CROSS_M = 0.0, 0.5  # a touch; lines so near catch each other
CLEAR_M = 0.6  # a touch or crossing is over once so far clear
NOW_S, LATE_S, BEFORE_S = 10.0, 60.0, 180.0
LEAD_S = 20.0
SPEED_TOLERANCE_MPS = 0.1 * MPH_MPS


@dataclass(frozen=True)
class Told:
    """A sound that began."""

    t_s: float
    alert: Alert


@dataclass
class Truth:
    """One row a second: gap to the bottom, depth, lure speed by rod; gap by pair; and what was told."""

    rods: tuple[str, ...]
    lake: Lake
    times_s: list[float] = field(default_factory=list)
    gaps_m: list[Array] = field(default_factory=list)
    depths_m: list[Array] = field(default_factory=list)
    speeds_mps: list[Array] = field(default_factory=list)
    pairs_m: list[Array] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    shown: list[tuple[Alert, ...]] = field(default_factory=list)  # what stands, at each row
    _before: Mapping[str, Alert] = field(default_factory=dict)

    def add(self, t_s: float, world: World, alerts: Sequence[Alert]) -> None:
        """A second."""
        north, east = self.lake.surface_mps()
        lines, gaps = [], []
        for one in world.lines:
            nodes = one.line.nodes_m[::-1]
            low = nodes[int(nodes[:, 2].argmax())]
            gaps.append(self.lake.depth_m(low[0] + north * world.t_s, low[1] + east * world.t_s) - low[2])
            lines.append(evenly(nodes))
        points = np.stack(lines)[None]
        near = closest(points, first_nodes(points[0]), np.zeros((len(lines), len(lines)), np.bool_))
        quantities = world.line_quantities()
        self.times_s.append(t_s)
        self.gaps_m.append(np.array(gaps))
        self.depths_m.append(np.array([quantities[rod]["depth_m"] for rod in self.rods]))
        self.speeds_mps.append(np.array([quantities[rod]["lure_speed_mps"] for rod in self.rods]))
        self.pairs_m.append(np.array([near.by_pair_m[pair] for pair in self._pairs()]))
        self._hear(t_s, alerts)

    def _pairs(self) -> list[tuple[int, int]]:
        return list(itertools.combinations(range(len(self.rods)), 2))

    def _hear(self, t_s: float, alerts: Sequence[Alert]) -> None:
        now = {alert.key: alert for alert in alerts if alert.phase != "gone"}
        for key, alert in now.items():
            old = self._before.get(key)
            worse = old is not None and RANKS.index(alert.priority) > RANKS.index(old.priority)
            if alert.audible and (old is None or not old.audible or worse):
                self.told.append(Told(t_s, alert))
        self.shown.append(tuple(now.values()))
        self._before = now

    def judged(self) -> dict[str, Any]:
        """Figures: how much of what was told was true, how much of what happened was told."""
        verdicts = [(one, self._true(one)) for one in self.told if one.alert.priority != "caution"]
        known = [(one, true) for one, true in verdicts if true is not None]
        happened = self._happened()
        told = [self._announced(*one) for one in happened]
        return {
            "judged": len(known),
            "not_judged": len(verdicts) - len(known),
            "true": sum(true for _, true in known),
            "false_told": [f"{one.t_s:.0f} s: {one.alert.text}" for one, true in known if not true],
            "happened": len(happened),
            "announced": sum(lead is not None for lead in told),
            "announced_20_s_ahead": sum(lead is not None and lead >= LEAD_S for lead in told),
            "missed": [
                f"{t_s:.0f} s: {what}"
                for (t_s, what), lead in zip(happened, told, strict=True)
                if lead is None
            ],
        }

    def _rows(self, from_s: float, to_s: float) -> slice:
        return slice(
            int(np.searchsorted(self.times_s, from_s)), int(np.searchsorted(self.times_s, to_s, "right"))
        )

    def _true(self, one: Told) -> bool | None:
        """None: it is of nothing the simulator knows."""
        alert, evidence = one.alert, one.alert.evidence
        in_s = float(str(evidence.get("in_s", 0.0)))
        ahead = "in_s" in evidence
        rows = self._rows(one.t_s - NOW_S, one.t_s + (1.5 * in_s + LATE_S if ahead else NOW_S))
        columns = [self.rods.index(rod) for rod in alert.rods if rod in self.rods]
        kind = alert.key
        if kind.startswith(("bottom", "slowed")):
            return bool((np.array(self.gaps_m[rows])[:, columns[:1]] <= TOUCH_M + FOOT_M).any())
        if kind.startswith("cross"):
            pair = self._pairs().index((min(columns), max(columns)))
            return bool((np.array(self.pairs_m[rows])[:, pair] <= CROSS_M + FOOT_M).any())
        if "depth" in kind and "limit" in evidence:
            sign = -1.0 if kind.endswith("above") else 1.0
            return self._beyond(self.depths_m[rows], columns[:1], sign, evidence["limit"], FOOT_M)
        if kind in ("lure slow", "lure fast", "will be slow", "will be fast"):
            sign = -1.0 if kind.endswith("slow") else 1.0
            return self._beyond(self.speeds_mps[rows], columns, sign, evidence["limit"], SPEED_TOLERANCE_MPS)
        return None

    @staticmethod
    def _beyond(
        rows: Sequence[Array],
        columns: Collection[int],
        sign: float,
        limit: float | str | None,
        tolerance: float,
    ) -> bool:
        values = np.array(rows)[:, list(columns)]
        return bool((sign * (values - float(str(limit))) >= -tolerance).any())

    def _happened(self) -> list[tuple[float, str]]:
        """Every touch and crossing: when it began, and whose."""
        found = []
        pairs = [f"{self.rods[a]} {self.rods[b]}" for a, b in self._pairs()]
        for table, names, limit in (
            (np.array(self.gaps_m), self.rods, TOUCH_M),
            (np.array(self.pairs_m), pairs, CROSS_M),
        ):
            for column, name in enumerate(names):
                clear = True
                for t_s, value in zip(self.times_s, table[:, column], strict=True):
                    if clear and value <= limit:
                        found.append((t_s, name))
                        clear = False
                    elif value > limit + CLEAR_M:
                        clear = True
        return sorted(found)

    def _announced(self, t_s: float, what: str) -> float | None:
        """For how long before it began the alert stood [s]; None: it did not."""
        rows = self._rows(t_s - BEFORE_S, t_s + 5.0)
        both = " and ".join(what.split())

        def of_it(alerts: Sequence[Alert]) -> bool:
            if " " in what:
                return any(alert.key.startswith("cross") and both in alert.text for alert in alerts)
            return any(alert.key.startswith(("bottom", "slowed")) and what in alert.rods for alert in alerts)

        times = [t for t, alerts in zip(self.times_s[rows], self.shown[rows], strict=True) if of_it(alerts)]
        return t_s - times[0] if times else None


def evenly(nodes: Array) -> Array:
    """(NODES, 3) the same line in pieces of one length."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], NODES)
    return np.stack([np.interp(at, along, axis) for axis in nodes.T], axis=1)
