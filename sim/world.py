"""The lake, the boat and its lines in time: what is true, at any instant.

Everything is reckoned in the frame of the surface layer, which drifts over the ground at a constant velocity.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from assistant.units import wrap_tau
from sim.boat import Boat, BoatTruth, Leg, rod_tip_m
from sim.chain import Water
from sim.forces import Array, water_at
from sim.gear import Rig
from sim.march import Line
from sim.scenario import Scenario
from sim.towing import in_boat_axes, mesh

BOAT_STEP_S = 0.02
LEAST_ELEMENTS = 4
WOUND_MPS = 0.8
"""Judgement: how fast a crew winds line in, or lets it out, from a boat under way."""

EARTH_A_M, EARTH_E2 = 6378137.0, 6.69437999014e-3  # WGS 84


class TruthLine:
    """One rod's line under way."""

    def __init__(self, rig: Rig, water: Water, elements: int) -> None:
        self.rig = rig
        self._bodies = rig.bodies_at(0.0)
        parts = mesh(rig.segments, elements, LEAST_ELEMENTS)
        self.line = Line(rig.segments, self._bodies, water, parts, dry=True)
        self._out_m = self._wanted_m = rig.segments[-1].length_m
        self._running = False

    def wind(self, by_m: float) -> None:
        """From now on its main line gets longer by so much, or (below 0) shorter, beside what still runs."""
        self._wanted_m = max(self._wanted_m + by_m, 0.0)

    def line_out(self, from_s: float, to_s: float) -> Callable[[float], float] | None:
        """Length of the main line over that time, while it runs and when it has just stopped; None: as it is."""
        before, most = self._out_m, WOUND_MPS * (to_s - from_s)
        left = self._wanted_m - before
        if left == 0.0 and not self._running:
            return None
        self._running = left != 0.0
        way = max(-most, min(most, left))
        self._out_m = self._wanted_m if way == left else before + way
        return lambda t_s: before + way * (t_s - from_s) / (to_s - from_s)

    def tip_m(self, boat: BoatTruth) -> Array:
        """(3,) rod tip, north, east, down."""
        return np.array(
            rod_tip_m(boat, self.rig.tip_forward_m, self.rig.tip_starboard_m, self.rig.tip_height_m)
        )

    def change_if_due(self, t_s: float) -> None:
        """The planer lets go or digs again, a fish hangs on or not."""
        bodies = self.rig.bodies_at(t_s)
        if bodies != self._bodies:
            self._bodies = bodies
            for segment, body in enumerate(bodies):
                self.line.put_body(segment, body)

    @property
    def lowest_m(self) -> tuple[float, float, float]:
        """North, east, down of its deepest point."""
        nodes = self.line.nodes_m
        north, east, down = nodes[int(np.argmax(nodes[:, 2]))]
        return float(north), float(east), float(down)

    def quantities(self, boat: BoatTruth, profile: Array) -> dict[str, float]:
        """What is true of this line, by the names of LINE_QUANTITIES."""
        lure = self.line.nodes_m[0]
        aft, starboard = in_boat_axes((lure - self.tip_m(boat))[:2], boat.heading_rad)
        water = np.empty(4)
        water_at(float(lure[2]), profile, water)
        through = self.line.end_velocity_mps - np.array([water[0], water[1], 0.0])
        return {
            "depth_m": float(lure[2]),
            "swing_m": starboard,
            "setback_m": aft,
            "tension_n": self.line.top_tension_n,
            "lure_speed_mps": float(np.linalg.norm(through)),
        }


class World:
    """Boat and lines, settled at t = 0 and then marched.

    Args:
        scenario: what happens.
        rigs: the rods, none to leave the lines out.
        water: density and gravity.
        seed: of the waves.
    Raises:
        NoSolution: a line has no settled shape at the first leg's speed.
    """

    def __init__(self, scenario: Scenario, rigs: Sequence[Rig], water: Water, seed: int) -> None:
        self._scenario, self._steps, self._water = scenario, 0, water
        self._line_steps = max(1, round(scenario.line_step_s / BOAT_STEP_S))
        self._moved_m = (0.0, 0.0)  # of the surface layer over the ground since the start
        rng = np.random.default_rng([seed, 1])
        self._boat = Boat(scenario.legs, scenario.handling, scenario.repeat, rng)
        self._profile = scenario.lake.profile(0.0)
        self._lat_deg, self._lon_deg = scenario.lat_deg, scenario.lon_deg
        water = replace(water, profile=self._profile)
        self.lines = [TruthLine(rig, water, scenario.line_elements) for rig in rigs]
        self._line_boat = self._boat.now
        for one in self.lines:
            one.line.settle(one.tip_m(self._boat.now), self._boat.now.stw_mps, self._boat.now.heading_rad)

    @property
    def t_s(self) -> float:
        """Time of the boat [s]."""
        return self._steps * BOAT_STEP_S

    def follow(self, legs: Sequence[Leg]) -> None:
        """Go on by another plan, counted from t = 0 as the first one was."""
        self._boat.follow(legs)

    def step(self) -> None:
        """Go on by BOAT_STEP_S; the lines follow every so many of them."""
        flow = self._scenario.lake.surface_mps(self.t_s)
        self._moved_m = self._moved_m[0] + flow[0] * BOAT_STEP_S, self._moved_m[1] + flow[1] * BOAT_STEP_S
        self._boat.step(BOAT_STEP_S)
        self._steps += 1
        north, east = self._ground_mps()
        self._move(north * BOAT_STEP_S, east * BOAT_STEP_S)
        if self._steps % self._line_steps == 0:
            self._march_lines()

    def _march_lines(self) -> None:
        before, now = self._line_boat, self._boat.now
        self._profile = self._scenario.lake.profile(now.t_s)
        for one in self.lines:
            one.line.water = replace(self._water, profile=self._profile)
            one.change_if_due(before.t_s)
            start, end = one.tip_m(before), one.tip_m(now)

            def tip(t_s: float, start: Array = start, end: Array = end) -> Array:
                share = (t_s - before.t_s) / (now.t_s - before.t_s)
                return start + share * (end - start)

            out_m = one.line_out(before.t_s, now.t_s)
            one.line.march(before.t_s, now.t_s - before.t_s, tip, out_m)
        self._line_boat = now

    def _ground_mps(self) -> tuple[float, float]:
        boat = self._boat.now
        north, east = self._scenario.lake.surface_mps(self.t_s)
        return north + boat.stw_mps * math.cos(boat.heading_rad), east + boat.stw_mps * math.sin(
            boat.heading_rad
        )

    def _move(self, north_m: float, east_m: float) -> None:
        s = math.sin(math.radians(self._lat_deg))
        w = 1.0 - EARTH_E2 * s * s
        meridian, prime = EARTH_A_M * (1.0 - EARTH_E2) / w**1.5, EARTH_A_M / math.sqrt(w)
        self._lon_deg += math.degrees(east_m / (prime * math.cos(math.radians(self._lat_deg))))
        self._lat_deg += math.degrees(north_m / meridian)

    def boat_quantities(self) -> dict[str, float]:
        """What is true of the boat, by the names of BOAT_QUANTITIES."""
        boat, lake = self._boat.now, self._scenario.lake
        north, east = self._ground_mps()
        surface_north, surface_east = lake.surface_mps(self.t_s)
        return {
            "stw_mps": boat.stw_mps,
            "heading_rad": boat.heading_rad,
            "sog_mps": math.hypot(north, east),
            "cog_rad": wrap_tau(math.atan2(east, north)),
            "set_rad": wrap_tau(math.atan2(surface_east, surface_north)),
            "drift_mps": math.hypot(surface_north, surface_east),
            "water_depth_m": self._bottom_m(boat.north_m, boat.east_m),
            "water_temp_c": lake.temp_c(0.0),
            "rate_of_turn_radps": boat.turn_radps,
            "lat_deg": self._lat_deg,
            "lon_deg": self._lon_deg,
        }

    def _bottom_m(self, north_m: float, east_m: float) -> float:
        """Depth of the bottom at a place of the surface layer."""
        return self._scenario.lake.depth_m(north_m + self._moved_m[0], east_m + self._moved_m[1])

    def touches(self, rod: str) -> bool:
        """Whether a rod's line is on the bottom: the lines here go through it."""
        lowest = [one.lowest_m for one in self.lines if one.rig.rod == rod]
        return any(down >= self._bottom_m(north, east) for north, east, down in lowest)

    def pull_n(self, rod: str) -> float:
        """Pull on a rod's tip."""
        return next(one.line.top_tension_n for one in self.lines if one.rig.rod == rod)

    def line_quantities(self) -> dict[str, dict[str, float]]:
        """What is true of every line, by rod; asked at a time when the lines have caught up with the boat."""
        return {one.rig.rod: one.quantities(self._boat.now, self._profile) for one in self.lines}
