"""The lake, the boat and its lines in time: what is true, at any instant.

Everything is reckoned in the frame of the surface layer, which drifts over the ground at a constant velocity.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from assistant.units import wrap_tau
from sim.boat import Boat, BoatTruth, rod_tip_m
from sim.chain import Water
from sim.forces import Array, water_at
from sim.gear import Rig
from sim.march import Line
from sim.scenario import Scenario
from sim.towing import in_boat_axes, mesh

BOAT_STEP_S = 0.02
LINE_STEPS = 5
"""Boat steps in one step of the lines: 0.1 s. With the elements below, against steps of 0.02 s on 3.5 times the
elements: every depth of the demo spread within 2 cm (copper 5 cm) through half a circle over a layered current."""

MAIN_ELEMENTS, LEAST_ELEMENTS = 28, 4

EARTH_A_M, EARTH_E2 = 6378137.0, 6.69437999014e-3  # WGS 84


class TruthLine:
    """One rod's line under way."""

    def __init__(self, rig: Rig, water: Water) -> None:
        self.rig = rig
        elements = mesh(rig.segments, MAIN_ELEMENTS, LEAST_ELEMENTS)
        self.line = Line(rig.segments, rig.bodies, water, elements, dry=True)
        self._tripped = False

    def tip_m(self, boat: BoatTruth) -> Array:
        """(3,) rod tip, north, east, down."""
        return np.array(
            rod_tip_m(boat, self.rig.tip_forward_m, self.rig.tip_starboard_m, self.rig.tip_height_m)
        )

    def trip_if_due(self, t_s: float) -> None:
        """The planer lets go at its time."""
        if not self._tripped and t_s >= self.rig.tripped_at_s:
            self._tripped = True
            for segment, body in enumerate(self.rig.tripped):
                self.line.put_body(segment, body)

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
        rng = np.random.default_rng([seed, 1])
        self._boat = Boat(scenario.legs, scenario.handling, scenario.repeat, rng)
        self._profile = scenario.lake.profile(0.0)
        self._lat_deg, self._lon_deg = scenario.lat_deg, scenario.lon_deg
        self.lines = [TruthLine(rig, replace(water, profile=self._profile)) for rig in rigs]
        self._line_boat = self._boat.now
        for one in self.lines:
            one.trip_if_due(0.0)
            one.line.settle(one.tip_m(self._boat.now), self._boat.now.stw_mps, self._boat.now.heading_rad)

    @property
    def t_s(self) -> float:
        """Time of the boat [s]."""
        return self._steps * BOAT_STEP_S

    def step(self) -> None:
        """Go on by BOAT_STEP_S; the lines follow every LINE_STEPS of them."""
        self._boat.step(BOAT_STEP_S)
        self._steps += 1
        north, east = self._ground_mps()
        self._move(north * BOAT_STEP_S, east * BOAT_STEP_S)
        if self._steps % LINE_STEPS == 0:
            self._march_lines()

    def _march_lines(self) -> None:
        before, now = self._line_boat, self._boat.now
        self._profile = self._scenario.lake.profile(now.t_s)
        for one in self.lines:
            one.line.water = replace(self._water, profile=self._profile)
            one.trip_if_due(before.t_s)
            start, end = one.tip_m(before), one.tip_m(now)

            def tip(t_s: float, start: Array = start, end: Array = end) -> Array:
                share = (t_s - before.t_s) / (now.t_s - before.t_s)
                return start + share * (end - start)

            one.line.march(before.t_s, now.t_s - before.t_s, tip)
        self._line_boat = now

    def _ground_mps(self) -> tuple[float, float]:
        boat = self._boat.now
        north, east = self._scenario.lake.surface_mps()
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
        surface_north, surface_east = lake.surface_mps()
        return {
            "stw_mps": boat.stw_mps,
            "heading_rad": boat.heading_rad,
            "sog_mps": math.hypot(north, east),
            "cog_rad": wrap_tau(math.atan2(east, north)),
            "set_rad": wrap_tau(math.atan2(surface_east, surface_north)),
            "drift_mps": math.hypot(surface_north, surface_east),
            "water_depth_m": lake.depth_m(
                boat.north_m + surface_north * boat.t_s, boat.east_m + surface_east * boat.t_s
            ),
            "water_temp_c": lake.temp_c(0.0),
            "rate_of_turn_radps": boat.turn_radps,
            "lat_deg": self._lat_deg,
            "lon_deg": self._lon_deg,
        }

    def line_quantities(self) -> dict[str, dict[str, float]]:
        """What is true of every line, by rod; asked at a time when the lines have caught up with the boat."""
        return {one.rig.rod: one.quantities(self._boat.now, self._profile) for one in self.lines}
