"""What was really so on a simulated day, second by second, and whether what was told of it was true.

A warning or an alarm is true when what it tells is so at its time (10 s either way), or, of what is foreseen, by half
again the time it gave and a minute. Tolerances are those of what is shown: a foot, a tenth of a mile an hour.
"""

from __future__ import annotations

import copy
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
AGAIN_S = 300.0  # sooner, what would have been is the same touch or crossing
OF_LINES = ("bottom", "slowed", "cross")
SPEED_TOLERANCE_MPS = 0.1 * MPH_MPS


@dataclass
class Record:
    """One row a second of what is so: gap to the bottom, depth, lure speed by rod; gap by pair."""

    rods: tuple[str, ...]
    lake: Lake
    times_s: list[float] = field(default_factory=list)
    gaps_m: list[Array] = field(default_factory=list)
    depths_m: list[Array] = field(default_factory=list)
    speeds_mps: list[Array] = field(default_factory=list)
    pairs_m: list[Array] = field(default_factory=list)

    def add(self, t_s: float, world: World) -> None:
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
        self.pairs_m.append(np.array([near.by_pair_m[pair] for pair in self.pairs]))

    @property
    def pairs(self) -> list[tuple[int, int]]:
        """Columns of pairs_m."""
        return list(itertools.combinations(range(len(self.rods)), 2))

    def pair(self, rods: Sequence[str]) -> int:
        """The column of one pair."""
        columns = [self.rods.index(rod) for rod in rods]
        return self.pairs.index((min(columns), max(columns)))

    def rows(self, from_s: float, to_s: float) -> slice:
        """Those rows."""
        first, last = np.searchsorted(self.times_s, from_s), np.searchsorted(self.times_s, to_s, "right")
        return slice(int(first), int(last))

    def part(self, from_s: float, to_s: float) -> Record:
        """Those rows by themselves."""
        rows = self.rows(from_s, to_s)
        tables = (self.times_s, self.gaps_m, self.depths_m, self.speeds_mps, self.pairs_m)
        return Record(self.rods, self.lake, *(table[rows] for table in tables))

    def happened(self) -> list[tuple[float, str]]:
        """Every touch and crossing: when it began, and whose."""
        found = []
        pairs = [f"{self.rods[a]} {self.rods[b]}" for a, b in self.pairs]
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


@dataclass(frozen=True)
class Sound:
    """A sound that began, and what is so about then, in a world in which nobody acts on it; None: a caution."""

    t_s: float
    alert: Alert
    about: Record | None


@dataclass
class Truth:
    """What is so, what was told, and what would have been if nobody had listened."""

    record: Record
    told: list[Sound] = field(default_factory=list)
    shown: list[tuple[Alert, ...]] = field(default_factory=list)  # what stands, at each row
    _before: Mapping[str, Alert] = field(default_factory=dict)

    def add(self, t_s: float, world: World, alerts: Sequence[Alert]) -> list[Alert]:
        """A second; returns the sounds that begin."""
        self.record.add(t_s, world)
        now = {alert.key: alert for alert in alerts if alert.phase != "gone"}
        sounds = []
        for key, alert in now.items():
            old = self._before.get(key)
            worse = old is not None and RANKS.index(alert.priority) > RANKS.index(old.priority)
            if alert.audible and (old is None or not old.audible or worse):
                sounds.append(alert)
                about = None if alert.priority == "caution" else self._unheard(t_s, world, alert)
                self.told.append(Sound(t_s, alert, about))
        self.shown.append(tuple(now.values()))
        self._before = now
        return sounds

    def _unheard(self, t_s: float, world: World, alert: Alert) -> Record:
        """What is so from a little before on, as long as it counts, if nobody does more than he does now."""
        ahead = "in_s" in alert.evidence
        until_s = t_s + (1.5 * float(str(alert.evidence["in_s"])) + LATE_S if ahead else NOW_S)
        about, other = self.record.part(t_s - NOW_S, t_s), copy.deepcopy(world)
        for second in range(1, int(until_s - t_s) + 1):
            while other.t_s < t_s + second - 1e-9:
                other.step()
            about.add(t_s + second, other)
        return about

    def judged(self) -> dict[str, Any]:
        """Figures: how much of what was told was true, how much of what happened, or would have, was told."""
        verdicts = [(one, _true(one)) for one in self.told if one.alert.priority != "caution"]
        known = [(one, true) for one, true in verdicts if true is not None]
        happened = [(t_s, what, self._announced(t_s, what)) for t_s, what in self.record.happened()]
        happened += self._prevented(known)
        return {
            "judged": len(known),
            "not_judged": len(verdicts) - len(known),
            "true": sum(true for _, true in known),
            "false_told": [f"{one.t_s:.0f} s: {one.alert.text}" for one, true in known if not true],
            "happened": len(happened),
            "announced": sum(lead is not None for *_, lead in happened),
            "announced_20_s_ahead": sum(lead is not None and lead >= LEAD_S for *_, lead in happened),
            "missed": [f"{t_s:.0f} s: {what}" for t_s, what, lead in happened if lead is None],
        }

    def _prevented(self, known: Sequence[tuple[Sound, bool]]) -> list[tuple[float, str, float | None]]:
        """Touches and crossings that were told truly and, as somebody acted, did not come."""
        found: list[tuple[float, str, float | None]] = []
        came = self.record.happened()
        for one, true in known:
            if not true or one.about is None or not one.alert.key.startswith(OF_LINES):
                continue
            what = " ".join(one.alert.rods[: 2 if one.alert.key.startswith("cross") else 1])
            last_s = one.about.times_s[-1]
            times = [t_s for t_s, whose in one.about.happened() if whose == what and t_s > one.t_s]
            if not times or any(whose == what and one.t_s <= t_s <= last_s for t_s, whose in came):
                continue
            if all(whose != what or times[0] - t_s > AGAIN_S for t_s, whose, _ in found):
                found.append((times[0], what, times[0] - one.t_s))
        return found

    def _announced(self, t_s: float, what: str) -> float | None:
        """For how long before it began the alert stood [s]; None: it did not."""
        rows = self.record.rows(t_s - BEFORE_S, t_s + 5.0)
        both = " and ".join(what.split())

        def of_it(alerts: Sequence[Alert]) -> bool:
            if " " in what:
                return any(
                    alert.key.startswith("cross") and both in alert.text and alert.priority != "caution"
                    for alert in alerts
                )
            return any(alert.key.startswith(("bottom", "slowed")) and what in alert.rods for alert in alerts)

        times = [
            t for t, alerts in zip(self.record.times_s[rows], self.shown[rows], strict=True) if of_it(alerts)
        ]
        return t_s - times[0] if times else None


def _true(one: Sound) -> bool | None:
    """None: it is of nothing the simulator knows."""
    alert, about = one.alert, one.about
    if about is None:
        return None
    columns = [about.rods.index(rod) for rod in alert.rods if rod in about.rods]
    kind, limit = alert.key, alert.evidence.get("limit")
    if kind.startswith(("bottom", "slowed")):
        return bool((np.array(about.gaps_m)[:, columns[:1]] <= TOUCH_M + FOOT_M).any())
    if kind.startswith("cross"):
        return bool((np.array(about.pairs_m)[:, about.pair(alert.rods)] <= CROSS_M + FOOT_M).any())
    if "depth" in kind and limit is not None and kind.endswith(("above", "below")):
        sign = -1.0 if kind.endswith("above") else 1.0
        return _beyond(about.depths_m, columns[:1], sign, limit, FOOT_M)
    if kind in ("lure slow", "lure fast", "will be slow", "will be fast"):
        sign = -1.0 if kind.endswith("slow") else 1.0
        return _beyond(about.speeds_mps, columns, sign, limit, SPEED_TOLERANCE_MPS)
    return None


def _beyond(
    rows: Sequence[Array], columns: Collection[int], sign: float, limit: float | str | None, tolerance: float
) -> bool:
    values = np.array(rows)[:, list(columns)]
    return bool((sign * (values - float(str(limit))) >= -tolerance).any())


def evenly(nodes: Array) -> Array:
    """(NODES, 3) the same line in pieces of one length."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(nodes, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], NODES)
    return np.stack([np.interp(at, along, axis) for axis in nodes.T], axis=1)
