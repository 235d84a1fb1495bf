"""Where each line is towed from: a rod tip, a side board, or a point of another rod's line.

Board: rides on the surface beside the boat as if fixed to it, and sags aft by sag_m_per_n times the line's own pull,
followed with a lag of BOARD_LAG_S and never further than it runs out.
Attached (a second release on a cable, a slider): one way only. The other line's point drives this one; what this one
pulls is not felt there. The point is the other line's at the step before, carried on by its velocity.
Line number = rod x members + member, as in the ensemble.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Board, Config, Rod
from assistant.lines import layout
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, Fleet, settled
from assistant.lines.layout import LANES
from assistant.lines.motion import tips
from assistant.lines.segment import pull_at_tip

Array = NDArray[np.float64]

BOARD_LAG_S = 10.0  # judgement: a board takes some boat lengths to find its place


@dataclass(frozen=True, slots=True)
class Hung:
    """A rod's lines that hang on another's, number by number: how far above its node at the end of the line out [m]
    (None: half way up).
    """

    lines: slice
    hosts: NDArray[np.intp]
    node: int
    above_m: float | None


@dataclass(frozen=True, slots=True)
class Boats:
    """The boat of each line: place [m] and speed [m/s], one or (n,) each; heading [rad], rate of turn [rad/s]."""

    north_m: Array | float
    east_m: Array | float
    speed_mps: Array | float
    heading_rad: float
    turn_radps: float

    def tips(self, places_m: Array) -> Array:
        """(6, n) position and velocity of points fixed to the boats."""
        return tips(self.north_m, self.east_m, self.speed_mps, self.heading_rad, self.turn_radps, places_m)


@dataclass(frozen=True, slots=True)
class TowPoints:
    """n lines: rod tips, and what is towed from, (n, 3) forward, starboard, height; sag [m/N] and its limit [m]."""

    rod_tips_m: Array
    places_m: Array
    sag_m_per_n: Array
    sag_most_m: Array
    hung: tuple[Hung, ...]
    plain: bool  # every line runs from its rod tip

    def at(self, boats: Boats, sag_m: Array, sag_mps: Array, fleet: Fleet | None, dt: float) -> Array:
        """(6, n) tow points, position and velocity.

        Args:
            sag_m, sag_mps: (n,) of boards; fleet: the lines dt [s] ago (None: what hangs on another is at its rod tip).
        """
        if self.plain:
            return boats.tips(self.places_m)
        out = boats.tips(self.places_m - np.outer(sag_m, [1.0, 0.0, 0.0]))
        out[3] -= sag_mps * math.cos(boats.heading_rad)
        out[4] -= sag_mps * math.sin(boats.heading_rad)
        if fleet is not None:
            for hung in self.hung:
                out[:, hung.lines] = _on_lines(fleet, hung, dt)
        return out

    def sagged(self, sag_m: Array, fleet: Fleet, dt: float) -> Array:
        """(n,) how far boards sag [m] after dt [s] with the lines' present pull (dt infinite: once settled)."""
        if self.plain:
            return sag_m
        wanted = np.minimum(self.sag_m_per_n * pulls_n(fleet), self.sag_most_m)
        return np.asarray(sag_m + (1.0 - math.exp(-dt / BOARD_LAG_S)) * (wanted - sag_m))

    def beyond_tips(self, boats: Boats, fleet: Fleet) -> Array:
        """(n, 2) swing (+ to starboard) and setback [m] of the tow points from the rod tips."""
        if self.plain:
            return np.zeros((len(self.places_m), 2))
        starts = fleet.tips.transpose(1, 0, 2).reshape(6, -1)[:, : fleet.count]
        north, east = starts[:2] - boats.tips(self.rod_tips_m)[:2]
        c, s = math.cos(boats.heading_rad), math.sin(boats.heading_rad)
        return np.stack([c * east - s * north, -(c * north + s * east)], axis=1)


def tow_points(config: Config, cut: Cut, each: int, sag: Callable[[Rod, Board, int], float]) -> TowPoints:
    """The tow points of `each` lines per rod.

    Args:
        cut: of the fleet they march in; sag: sag_m_per_n of a rod's board for member k.
    """
    rods = config.rods
    number = {rod.name: k for k, rod in enumerate(rods)}
    hung = []
    for k, rod in enumerate(rods):
        if rod.attached is not None:
            host = number[rod.attached.rod]
            hosts = np.arange(host * each, (host + 1) * each)
            node = _end_node(rods[host], cut)
            hung.append(Hung(slice(k * each, (k + 1) * each), hosts, node, rod.attached.above_m))
    boards = [(rod, rod.board) for rod in rods]
    sags = [0.0 if board is None else sag(rod, board, m) for rod, board in boards for m in range(each)]
    most = [0.0 if board is None else board.out_m for _, board in boards]
    tip = np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in rods])
    return TowPoints(
        np.repeat(tip, each, axis=0),
        np.repeat(np.array([_place(rod) for rod in rods]), each, axis=0),
        np.array(sags),
        np.repeat(np.array(most), each),
        tuple(hung),
        plain=not hung and not any(board for _, board in boards),
    )


def _place(rod: Rod) -> tuple[float, float, float]:
    if rod.board is None:
        return rod.tip_forward_m, rod.tip_starboard_m, rod.tip_height_m
    out = rod.board.out_m if rod.side == "starboard" else -rod.board.out_m
    return rod.tip_forward_m - rod.board.aft_m, rod.tip_starboard_m + out, 0.0


def _end_node(rod: Rod, cut: Cut) -> int:
    """Number of the node at the end of what the counter counts."""
    lines = [part for part in rod.rig if part.line is not None]
    below = len(lines) - 1 - sum(part.counted for part in lines)
    return cut.total - (max(cut.below, below) if below else 0)


def pulls_n(fleet: Fleet) -> Array:
    """(n,) pull at the tow points [N]."""
    out = np.empty((len(fleet.works), LANES))
    for work, pull in zip(fleet.works, out, strict=True):
        pull_at_tip(work, pull)
    return out.reshape(-1)[: fleet.count]


def _on_lines(fleet: Fleet, hung: Hung, dt: float) -> Array:
    """(6, lines) points of the hosts, dt [s] after the fleet's last step."""
    groups, lanes = np.divmod(hung.hosts, LANES)
    nodes = fleet.views()[groups, :, :, lanes][:, hung.node :: -1]  # (lines, nodes up from the end, fields)
    below = np.zeros(nodes.shape[:2])
    np.cumsum(nodes[:, :-1, layout.LENGTH], axis=1, out=below[:, 1:])
    top = below[:, -1]
    above = np.minimum(0.5 * top if hung.above_m is None else hung.above_m, top)
    under = np.minimum(np.count_nonzero(below <= above[:, None], axis=1), hung.node) - 1
    each = np.arange(len(under))
    share = ((above - below[each, under]) / (below[each, under + 1] - below[each, under]))[:, None]
    rows = np.concatenate(
        [nodes[:, :, layout.X1 : layout.X1 + 3], nodes[:, :, layout.VX1 : layout.VX1 + 3]], axis=2
    )
    points = (1.0 - share) * rows[each, under] + share * rows[each, under + 1]
    points[:, :3] += dt * points[:, 3:]
    return np.asarray(points.T)


def settled_towed(
    points: TowPoints,
    boats: Boats,
    chains: Sequence[Towed],
    waters: Sequence[Water],
    cut: Cut,
    profile: Array,
    deep_mps: Array,
) -> tuple[Fleet, Array]:
    """A fleet in its steady shapes (see fleet.settled), and how far its boards sag (n,) [m].

    What hangs on another line, or pulls a board aft, is settled again once the others have their shapes.
    """
    still = np.zeros(len(chains))
    fleet = settled(chains, waters, cut, points.at(boats, still, still, None, 0.0), profile, deep_mps)
    if points.plain:
        return fleet, still
    sag = points.sagged(still, fleet, math.inf)
    tow = points.at(boats, sag, still, fleet, 0.0)
    again = list(chains)
    for hung in points.hung:
        for k in range(hung.lines.start, hung.lines.stop):
            again[k] = replace(chains[k], tow_height_m=-float(tow[2, k]))
    return settled(again, waters, cut, tow, profile, deep_mps), sag
