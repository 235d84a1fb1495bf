"""What a calibration rests on: the raw readings of one run, gathered from the flow, and means over blocks of it. Pure.

A block is BLOCK_S of readings that are all there. Velocities are (north, east) [m/s]; angles [rad] clockwise from
true north; the log's reading is what it showed, whatever factor is configured. Nothing that is under suspicion (a
stuck log, two GPS that differ, a frozen compass) is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from assistant.estimate import heading as headings
from assistant.estimate.sources import Key, Track
from assistant.locate import LocateState

Array = NDArray[np.float64]

BLOCK_S = 10.0
"""Longer than the memory of a receiver's slow error, short against a leg."""
FEWEST = 4  # readings of each kind in a block
RECEIVER_MEMORY_S = 8.0
RECEIVER_SIGMA_MPS = 0.05  # slow error of a small-boat receiver, per component (as estimate/ground.py has it)
TURN_GAP_S = 2.5  # a compass silent for longer tells no turn


@dataclass(slots=True)
class Gathered:
    """Readings as they came, by role: (t_s, value ...); grows with every step."""

    log: list[tuple[float, float]] = field(default_factory=list)
    compass: list[tuple[float, float, float]] = field(default_factory=list)  # reading, what makes it true
    ground: list[tuple[float, float, float]] = field(default_factory=list)  # north, east
    depth: list[tuple[float, float]] = field(default_factory=list)  # below the transducer
    magnetic: bool = True  # the compass reads magnetic
    variation_known: bool = True
    sent_offset_m: float | None = None  # what the sounder's own sentence adds

    def take(self, state: LocateState) -> None:
        """Note what is new after one step of the flow's first half."""
        boat, now_s = state.estimate, state.steering.t_s
        log = self._fresh(state, "speed", self.log, now_s)
        if log is not None and (
            boat.log is None or not (boat.log.stuck or boat.log.suspect_since_s is not None)
        ):
            self.log.append((log[1].t_s, log[1].value))
        compass = self._fresh(state, "heading", self.compass, now_s)
        if compass is not None and not compass[1].frozen:
            self._compass(state, *compass)
        ground = self._fresh(state, "ground", self.ground, now_s)
        course = boat.tracks.get(("cog_rad", ground[0][1])) if ground is not None else None
        if ground is not None and course is not None and course.t_s == ground[1].t_s and not boat.apart.words:
            sog, cog = ground[1].value, course.value
            self.ground.append((ground[1].t_s, sog * math.cos(cog), sog * math.sin(cog)))
        depth = self._fresh(state, "depth", self.depth, now_s)
        if depth is not None:
            self.depth.append((depth[1].t_s, depth[1].value))
            sent = boat.tracks.get(("transducer_offset_m", depth[0][1]))
            self.sent_offset_m = sent.value if sent is not None and sent.value > 0.0 else None

    def _compass(self, state: LocateState, key: Key, track: Track) -> None:
        boat = state.estimate
        chosen = boat.chosen.get("variation")
        variation = boat.tracks[chosen] if chosen is not None else None
        model_rad = boat.model.value_rad if boat.model else None
        plain = replace(boat.config, compass_offset_deg=0.0)
        add, _, _, known = headings.to_true(key, variation, model_rad, plain)
        self.magnetic, self.variation_known = key[0] == "heading_magnetic_rad", known
        self.compass.append((track.t_s, track.value, add))

    @staticmethod
    def _fresh(
        state: LocateState,
        role: str,
        kept: list[tuple[float, float]] | list[tuple[float, float, float]],
        now_s: float,
    ) -> tuple[Key, Track] | None:
        """The source that speaks for a role, if it has said something since what was kept last."""
        key = state.estimate.chosen.get(role)
        if key is None:
            return None
        track = state.estimate.tracks[key]
        new = not kept or track.t_s > kept[-1][0]
        return (key, track) if new and track.unproven == 0 and now_s - track.t_s <= track.stale_s else None


@dataclass(frozen=True, slots=True)
class Blocks:
    """Means over blocks, one row each; NaN where the boat has no such instrument."""

    t_s: Array  # (N,) middle
    ground_mps: Array  # (N, 2)
    log_mps: Array  # (N,) as read
    reading_rad: Array  # (N,) compass as read
    heading_rad: Array  # (N,) the same with the variation: true, but for offset and deviation
    turned_rad: Array  # (N,) by how far the compass turned within the block, + to starboard
    sigma_mps: float = RECEIVER_SIGMA_MPS * math.sqrt(2.0 * RECEIVER_MEMORY_S / BLOCK_S)  # of ground_mps

    def __len__(self) -> int:
        return len(self.t_s)

    def chosen(self, rows: Array | NDArray[np.bool_]) -> Blocks:
        """Some of the rows."""
        return Blocks(
            self.t_s[rows],
            self.ground_mps[rows],
            self.log_mps[rows],
            self.reading_rad[rows],
            self.heading_rad[rows],
            self.turned_rad[rows],
            self.sigma_mps,
        )


def mean_angle(angles_rad: Array) -> float:
    """The direction of the mean of unit vectors [rad]."""
    return math.atan2(float(np.sin(angles_rad).mean()), float(np.cos(angles_rad).mean()))


def blocks_of(run: Gathered) -> Blocks:
    """The run in blocks of BLOCK_S; only those in which every instrument of this boat spoke all along."""
    log, compass, ground = (
        np.array(s) if s else np.zeros((0, 3)) for s in (run.log, run.compass, run.ground)
    )
    rows: list[tuple[float, ...]] = []
    if len(ground):
        first, last = float(ground[0, 0]), float(ground[-1, 0])
        starts = np.arange(first, last - BLOCK_S + 1.5, BLOCK_S)
        rows = [row for begin in starts if (row := _block(begin, log, compass, ground)) is not None]
    table = np.array(rows, dtype=float).reshape(len(rows), 7)
    return Blocks(table[:, 0], table[:, 1:3], table[:, 3], table[:, 4], table[:, 5], table[:, 6])


def _block(begin_s: float, log: Array, compass: Array, ground: Array) -> tuple[float, ...] | None:
    def inside(series: Array) -> Array:
        at = np.searchsorted(series[:, 0], (begin_s, begin_s + BLOCK_S))
        return series[at[0] : at[1]]

    fixes = inside(ground)
    if len(fixes) < FEWEST:
        return None
    read = reading = heading = turned = math.nan
    if len(log):
        logged = inside(log)
        if len(logged) < FEWEST:
            return None
        read = float(logged[:, 1].mean())
    if len(compass):
        seen = inside(compass)
        if len(seen) < FEWEST or float(np.diff(seen[:, 0]).max()) > TURN_GAP_S:
            return None
        reading, heading = mean_angle(seen[:, 1]), mean_angle(seen[:, 1] + seen[:, 2])
        way = np.unwrap(seen[:, 1])
        slope = float(np.polyfit(seen[:, 0] - seen[0, 0], way, 1)[0])
        turned = slope * BLOCK_S
    north, east = fixes[:, 1].mean(), fixes[:, 2].mean()
    return begin_s + 0.5 * BLOCK_S, float(north), float(east), read, reading, heading, turned
