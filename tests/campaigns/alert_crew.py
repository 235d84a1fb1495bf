"""A crew that acts on what it is told, as README.md says one should.

Some 15-20 s after the sound of a warning or an alarm: of a touch it winds in what the alert says and tells that to the
flow, and lets it out again when no touch has been told of that rod for a while; of a crossing in a turn it eases the
turn to half its rate, to the same heading. Of anything else it takes note.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from assistant.messages import Alert, LineSetting
from assistant.units import parse_length_m
from sim.boat import Leg
from sim.world import World

ACTS_S = (15.0, 20.0)
OUT_AGAIN_S = 300.0
"""Judgement: so long after the last word of the bottom under a rod its line goes out again."""
BUSY_S = 60.0
"""A crew that is at a line does not begin anew when it is told again."""
EASED = 0.5
LIFT = re.compile(r"lift (?:\w+ )?(\d+ (?:ft|m))")


@dataclass
class Crew:
    """Who acts.

    Args:
        counters_m: by rod, line out on its counter; factors: true line over counter; legs: the boat's plan.
    """

    counters_m: dict[str, float]
    factors: Mapping[str, float]
    legs: tuple[Leg, ...]
    rng: np.random.Generator
    lifted: int = 0
    eased: int = 0
    _waiting: list[tuple[float, Alert]] = field(default_factory=list)
    _home_m: dict[str, float] = field(default_factory=dict)  # of lines that were wound in
    _told_s: dict[str, float] = field(default_factory=dict)  # when last a touch stood, by rod
    _acted_s: dict[str, float] = field(default_factory=dict)  # by key

    def hear(self, t_s: float, sounds: Sequence[Alert], shown: Sequence[Alert]) -> None:
        """What sounds at t_s [s], and what stands."""
        for alert in sounds:
            if alert.priority != "caution":
                self._waiting.append((t_s + float(self.rng.uniform(*ACTS_S)), alert))
        for alert in shown:
            if alert.key.startswith(("bottom", "slowed")) and alert.phase != "gone":
                self._told_s.update(dict.fromkeys(alert.rods, t_s))

    def act(self, t_s: float, world: World) -> tuple[LineSetting, ...]:
        """What is due is done; returns what is told to the flow."""
        done = []
        due = [alert for at_s, alert in self._waiting if at_s <= t_s]
        self._waiting = [one for one in self._waiting if one[0] > t_s]
        for alert in due:
            if t_s - self._acted_s.get(alert.key, -BUSY_S) < BUSY_S:
                continue
            self._acted_s[alert.key] = t_s
            lift = LIFT.search(alert.text)
            if alert.key.startswith("cross"):
                self._ease(t_s, world)
            elif alert.key.startswith(("bottom", "slowed")) and lift is not None:
                self.lifted += 1
                done.append(self._wound(t_s, world, alert.rods[0], -parse_length_m(lift[1])))
        for rod, home_m in list(self._home_m.items()):
            if t_s - self._told_s.get(rod, t_s) > OUT_AGAIN_S:
                done.append(self._wound(t_s, world, rod, home_m - self.counters_m[rod]))
                del self._home_m[rod]
        return tuple(done)

    def _wound(self, t_s: float, world: World, rod: str, by_m: float) -> LineSetting:
        self._home_m.setdefault(rod, self.counters_m[rod])
        self.counters_m[rod] += by_m
        next(one for one in world.lines if one.rig.rod == rod).wind(by_m * self.factors[rod])
        self._told_s[rod] = t_s
        return LineSetting(t_s, rod, line_out_m=self.counters_m[rod])

    def _ease(self, t_s: float, world: World) -> None:
        """The turn goes on at EASED of its rate, if there is one and it was not eased before."""
        ends = np.cumsum([leg.duration_s for leg in self.legs])
        k = int(np.searchsorted(ends, t_s, side="right"))
        turns = [leg.heading_rad is None for leg in self.legs]
        if k >= len(self.legs) or not turns[k] or turns[k - 1]:
            return
        leg, left_s = self.legs[k], float(ends[k]) - t_s
        before = replace(leg, duration_s=leg.duration_s - left_s)
        eased = replace(leg, duration_s=left_s / EASED, turn_radps=EASED * leg.turn_radps)
        self.legs = (*self.legs[:k], before, eased, *self.legs[k + 1 :])
        self.eased += 1
        world.follow(self.legs)
