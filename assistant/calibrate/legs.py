"""Legs: stretches of a run on one heading at one speed, and which of them are reciprocal. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from assistant.calibrate.evidence import BLOCK_S, Array, Blocks, mean_angle
from assistant.calibrate.solve import wrapped

HEADING_RAD = math.radians(12.0)  # how far a block may lie off its leg
SPEED_MPS, SPEED_SHARE = 0.12, 0.08
LEAST_S = 40.0
RECIPROCAL_RAD = math.radians(45.0)
SLOWEST_MPS = 0.5  # below, neither a wheel nor a course says much
GROUP_MPS = 0.22  # half a mile an hour apart: two speeds; nearer: one
GROUP_SPAN_MPS = 0.35


@dataclass(frozen=True, slots=True)
class Leg:
    """Means over one leg."""

    t_s: float
    seconds: float
    ground_mps: tuple[float, float]
    log_mps: float
    heading_rad: float  # by compass, else by course over ground
    reading_rad: float


def direction(blocks: Blocks) -> Array:
    """(N,) heading of each block, the course over ground where there is no compass."""
    course = np.arctan2(blocks.ground_mps[:, 1], blocks.ground_mps[:, 0])
    return np.where(np.isnan(blocks.heading_rad), course, blocks.heading_rad)


def legs_of(blocks: Blocks) -> list[Leg]:
    """All legs of a run; the first block after a turn is left out, for the receiver's lag."""
    heading = direction(blocks)
    found, rows = [], list[int]()
    for k in range(len(blocks)):
        turning = abs(blocks.turned_rad[k]) > HEADING_RAD
        slow = not blocks.log_mps[k] > SLOWEST_MPS
        if rows and not _belongs(blocks, heading, rows, k):
            found.append(rows)
            rows = []
        if not turning and not slow:
            rows = [*rows, k]
        elif rows:
            found.append(rows)
            rows = []
    found.append(rows)
    return [_leg(blocks, heading, rows[1:]) for rows in found if (len(rows) - 1) * BLOCK_S >= LEAST_S]


def _belongs(blocks: Blocks, heading: Array, rows: list[int], k: int) -> bool:
    apart = blocks.t_s[k] - blocks.t_s[rows[-1]] > 2.5 * BLOCK_S
    way = mean_angle(heading[rows])
    speed = float(blocks.log_mps[rows].mean())
    off = abs(float(wrapped(np.array(heading[k] - way))))
    return (
        not apart
        and off < HEADING_RAD
        and abs(blocks.log_mps[k] - speed) < max(SPEED_MPS, SPEED_SHARE * speed)
    )


def _leg(blocks: Blocks, heading: Array, rows: list[int]) -> Leg:
    north, east = blocks.ground_mps[rows].mean(axis=0)
    return Leg(
        float(blocks.t_s[rows].mean()),
        len(rows) * BLOCK_S,
        (float(north), float(east)),
        float(blocks.log_mps[rows].mean()),
        mean_angle(heading[rows]) % math.tau,
        mean_angle(blocks.reading_rad[rows]) % math.tau,
    )


def as_rows(legs: list[Leg], compass: bool) -> tuple[Blocks, Array]:
    """Legs as rows of a fit, and how many blocks each stands for."""
    heading = np.array([leg.heading_rad if compass else math.nan for leg in legs])
    rows = Blocks(
        np.array([leg.t_s for leg in legs]),
        np.array([leg.ground_mps for leg in legs]).reshape(-1, 2),
        np.array([leg.log_mps for leg in legs]),
        np.array([leg.reading_rad for leg in legs]),
        heading,
        np.zeros(len(legs)),
    )
    return rows, np.array([leg.seconds / BLOCK_S for leg in legs])


def speed_groups(legs: list[Leg]) -> list[list[Leg]]:
    """Legs by speed, slowest first; a gap of GROUP_MPS, or more than GROUP_SPAN_MPS within, parts two groups."""
    groups: list[list[Leg]] = []
    for leg in sorted(legs, key=lambda leg: leg.log_mps):
        near = groups and leg.log_mps - groups[-1][-1].log_mps < GROUP_MPS
        if near and leg.log_mps - groups[-1][0].log_mps < GROUP_SPAN_MPS:
            groups[-1].append(leg)
        else:
            groups.append([leg])
    return groups


def reciprocal(group: list[Leg]) -> bool:
    """Whether two legs of a group run against each other."""
    return any(
        abs(float(wrapped(np.array(one.heading_rad - two.heading_rad + math.pi)))) < RECIPROCAL_RAD
        for k, one in enumerate(group)
        for two in group[:k]
    )
