"""The invented days in a coarse form: the simulator's boat, lake and lines, each line settled anew once a minute.

Boat and lures come out as rows of the judge's table without the assistant's own line model: lures at the depth of a
line that knows of no deep water, pulls worked out by the square of the speed. The whole flow is run by the campaign
`demo_day.py --whole`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from assistant.configured import Config
from assistant.messages import Event, Quiet, RodState
from assistant.outings import lull
from assistant.outings.deep_water import DeepWater, deep_water
from assistant.outings.effort import Minute, Observed, RodMinute
from assistant.outings.growing import HOLD_ROWS, grown
from assistant.outings.lull import Lull
from sim.aboard import Crew
from sim.boat import Boat, BoatTruth
from sim.gear import Rig, read_spread, read_water
from sim.scenario import Scenario, read_scenario
from sim.world import TruthLine

ROOT = Path(__file__).resolve().parents[2]
STEP_S = 0.5  # of the boat
WORDS: Mapping[str, tuple[str, Mapping[str, float]]] = {
    "bend": ("rod_bend", {"soft": -1.0, "usual": 0.0, "hard": 1.0}),
    "lean": ("cable_lean_word", {"straight": -1.0, "usual": 0.0, "far back": 1.0}),
}
STATES: Mapping[str, RodState] = {
    "fish on": "fish on", "landed": "aboard", "lost": "unknown", "back as it was": "fishing",
}  # fmt: skip
WORKED_DEPTH_M = {
    "P1": 25.0,
    "S1": 25.0,
    "P2": 21.0,
    "S2": 21.0,
    "R1": 21.0,
    "R2": 26.0,
    "W": 28.9,
    "C": 20.0,
}
WORKED_PULL_N = 10.0  # at 0.94 m/s; wrong for every rod, as a boat's own numbers are
USUAL_MPS = 0.94


@dataclass
class Coarse:
    """One pass: `minutes()` yields each row with the events told in it."""

    scenario: Scenario
    seed: int = 0

    def __post_init__(self) -> None:
        """Boat, lines and crew."""
        configs = ROOT / "configs"
        self._water = read_water(configs)
        path = configs / self.scenario.spread
        rigs = (
            read_spread(path, configs, self._water, self.scenario.rods) if self.scenario.aboard.rods else []
        )
        self._rigs = {rig.rod: rig for rig in rigs if rig.rod in self.scenario.aboard.rods}
        self._crew = Crew(self.scenario.aboard, self.seed)
        rng = np.random.default_rng([self.seed, 1])
        self._boat = Boat(self.scenario.legs, self.scenario.handling, False, rng)
        self._noise = np.random.default_rng([self.seed, 2])
        self._moved_m = np.zeros(2)
        self.number = 0

    def minutes(self, rods: tuple[str, ...]) -> Iterator[tuple[Minute, list[Event]]]:
        """Every minute of the day and what was told in it."""
        states: dict[str, RodState] = dict.fromkeys(rods, "fishing")
        for start in range(0, round(self.scenario.duration_s), 60):
            truths = self._sail(60.0)
            now = truths[-1]
            lines = {rod: self._settled(rig, now, truths) for rod, rig in self._rigs.items()}
            before = dict(states)
            events, seen = self._told(now.t_s, lines, states)
            rows = tuple(self._row(rod, before[rod], now, lines, seen.get(rod, {})) for rod in rods)
            yield Minute(float(start), rows, self._of_boat(truths)), events

    def _sail(self, seconds: float) -> list[BoatTruth]:
        """The boat through so long."""
        truths = []
        for _ in range(round(seconds / STEP_S)):
            flow = np.array(self.scenario.lake.surface_mps(self._boat.now.t_s))
            self._moved_m += flow * STEP_S
            truths.append(self._boat.step(STEP_S))
        return truths

    def _settled(self, rig: Rig, now: BoatTruth, truths: list[BoatTruth]) -> TruthLine:
        """One line, settled in the water of now at the minute's mean heading."""
        line = TruthLine(rig, replace(self._water, profile=self.scenario.lake.profile(now.t_s)), 10)
        line.change_if_due(now.t_s)
        heading = math.atan2(*(sum(f(b.heading_rad) for b in truths) for f in (math.sin, math.cos)))
        boat = replace(now, heading_rad=heading)
        line.line.settle(line.tip_m(boat), float(np.mean([b.stw_mps for b in truths])), heading)
        return line

    def _bottom_m(self, north_m: float, east_m: float) -> float:
        return self.scenario.lake.depth_m(north_m + self._moved_m[0], east_m + self._moved_m[1])

    def _touches(self, rod: str, lines: Mapping[str, TruthLine]) -> bool:
        if rod not in lines:
            return False
        north, east, down = lines[rod].lowest_m
        return down >= self._bottom_m(north, east)

    def _told(
        self, t_s: float, lines: Mapping[str, TruthLine], states: dict[str, RodState]
    ) -> tuple[list[Event], dict[str, dict[str, Observed]]]:
        """Events of the minute, and what was seen in it; `states` goes on."""
        events: list[Event] = []
        seen: dict[str, dict[str, Observed]] = {}
        for text in self._crew.tell(t_s, lambda rod: self._touches(rod, lines)):
            said = json.loads(text)
            rod, kind, value = said.get("rod"), said["kind"], said.get("value")
            self.number += 1
            events.append(Event(t_s, kind, rod, value, number=self.number))
            if kind in WORDS:
                name, words = WORDS[kind]
                seen.setdefault(rod, {})[name] = Observed(words[value], 0.4, "entered", "typed")
            elif kind == "touch":
                north, east = self._boat.now.north_m, self._boat.now.east_m
                above = WORKED_DEPTH_M.get(rod, 3.0) - self._bottom_m(north, east)
                seen.setdefault(rod, {})["touch_m"] = Observed(above, 3.0, "entered", "touch, typed")
            elif kind == "rod state":
                states[rod] = value
            elif kind in STATES and rod is not None:
                states[rod] = STATES[kind]
        return events, seen

    def _row(
        self,
        rod: str,
        state: RodState,
        now: BoatTruth,
        lines: Mapping[str, TruthLine],
        seen: Mapping[str, Observed],
    ) -> RodMinute:
        found = {**seen, "depth_m": Observed(WORKED_DEPTH_M.get(rod, 3.0), 3.0, "worked out", "VHW")}
        for load in self.scenario.aboard.loads:
            if load.rod == rod:
                pull = lines[rod].line.top_tension_n + 0.2 * float(self._noise.standard_normal())
                found["pull_n"] = Observed(max(0.1, pull), load.sigma_n, "measured", f"XDR {load.name}")
                worked = WORKED_PULL_N * (now.stw_mps / USUAL_MPS) ** 2
                found["worked_pull_n"] = Observed(worked, 1.5, "worked out", "VHW")
        return RodMinute(rod, state, True, True, seen=found)

    def _of_boat(self, truths: list[BoatTruth]) -> dict[str, Observed]:
        """What the instruments make of the boat: compass and log as this boat has them, the log as calibrated."""
        number = self.scenario.instruments
        mean = sum(complex(math.cos(b.heading_rad), math.sin(b.heading_rad)) for b in truths)
        heading = math.atan2(mean.imag, mean.real)
        heading += math.radians(number["compass_deviation_deg"]) * math.sin(heading)
        speed = float(np.mean([b.stw_mps for b in truths]))
        rates = [b.turn_radps for b in truths]
        share = float(np.mean([math.copysign(1.0, r) if abs(r) > math.radians(0.5) else 0.0 for r in rates]))
        drift = complex(*self.scenario.lake.surface_mps(truths[-1].t_s))
        depth = self._bottom_m(truths[-1].north_m, truths[-1].east_m)
        return {
            "heading_rad": Observed(heading, 0.05, "measured", "HDG"),
            "water_speed_mps": Observed(speed * 1.15 * number["log_factor"], 0.05, "measured", "VHW"),
            "turn_side": Observed(share, 0.3, "measured", "HDG"),
            "water_temp_c": Observed(self.scenario.lake.temp_c(0.0), 0.2, "measured", "MTW"),
            "bottom_depth_m": Observed(depth, 0.3, "measured", "DPT"),
            "surface_current": Observed(
                abs(drift), 0.06, "worked out", "GPS", math.atan2(drift.imag, drift.real)
            ),
        }


@dataclass(frozen=True)
class Said:
    """What the judge said at one time, and what it knew of the deep water."""

    quiet: Quiet
    water: DeepWater | None


def coarse(name: str, config: Config, seed: int = 0, every_min: int = 1) -> tuple[list[Said], Lull]:
    """What is said through a whole day, and what is remembered at its end."""
    day = Coarse(read_scenario(name), seed)
    state, found = Lull(), []
    for n, (row, events) in enumerate(day.minutes(tuple(rod.name for rod in config.rods))):
        state = lull.heard(state, events)
        rows = (*state.rows, row)[-HOLD_ROWS:]
        state = replace(state, rows=rows, table=grown(state.table, rows))
        if n % every_min or state.table is None:
            continue
        water = deep_water(state.table, config.boat)
        quiet = lull.said(
            state.table, state.told, row.t_s + 60.0, config, water, row.seen["heading_rad"].value
        )
        if quiet is not None:
            found.append(Said(quiet, water))
    return found, state
