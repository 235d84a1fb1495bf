"""Any number of lines in groups of eight: built, settled, regeared, marched. A Fleet is a value, never changed.

Line k lies in group k // LANES, lane k % LANES; spare lanes of the last group repeat the last line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.chain import Towed, Water
from assistant.lines.folds import Bends, looked, unbent
from assistant.lines.groups import SHORTEST_M, build, live_counts, load_lane, settle_group
from assistant.lines.kernel import march_all
from assistant.lines.layout import FIELDS, LANES

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cut:
    """Into how many pieces a line is cut: in all, and below its main line."""

    total: int
    below: int

    def counts(self, towed: Towed) -> list[int]:
        """Pieces per segment, free end first."""
        return live_counts(towed, self.total, self.below)


@dataclass(frozen=True, slots=True)
class Fleet:
    """G groups of LANES lines, ready for kernel.march_all."""

    cut: Cut
    works: Array  # (G, size), see layout.py
    has_body: NDArray[np.uint8]  # (G, nodes+1)
    share: Array  # (G, nodes+1, LANES) part of the main line in each segment
    mains_m: Array  # (G, LANES) length of the main line
    tips: Array  # (G, 6, LANES) rod tips, position and velocity, at the last step
    count: int  # lines; lanes beyond them repeat the last
    bends: Bends  # looked for by marched(finer=...) only

    def views(self) -> Array:
        """`works` as (G, nodes+1, FIELDS, LANES)."""
        return self.works.reshape(len(self.works), self.cut.total + 1, FIELDS, LANES)

    def folding(self) -> NDArray[np.bool_]:
        """(count,) which lines fold, or did until lately."""
        return self.bends.folding().reshape(-1)[: self.count]

    def positions_m(self) -> Array:
        """(nodes+1, 3, G * LANES) present positions, rod tip first."""
        points = self.views()[:, :, layout.X1 : layout.X1 + 3, :]
        return points.transpose(1, 2, 0, 3).reshape(self.cut.total + 1, 3, -1)


def by_group(values: Array) -> Array:
    """(..., n) -> (G, ..., LANES), the last line repeated in spare lanes."""
    if values.shape[-1] == LANES:
        return np.ascontiguousarray(values)[None]
    spare = -values.shape[-1] % LANES
    if spare:
        values = np.concatenate([values, np.repeat(values[..., -1:], spare, axis=-1)], axis=-1)
    parts = values.reshape(*values.shape[:-1], -1, LANES)
    return np.ascontiguousarray(np.moveaxis(parts, -2, 0))


def settled(
    chains: Sequence[Towed], waters: Sequence[Water], cut: Cut, tips: Array, profile: Array, deep_mps: Array
) -> Fleet:
    """A fleet in its steady shapes.

    Args:
        chains, waters: per line, n of each; tips: (6, n), their velocities taken as constant.
        profile: the kernel's current, scaled and turned by each line's deep_mps (n, 2); for still water (0, 3).
    """
    lanes, turns = by_group(tips), by_group(deep_mps.T)
    groups = []
    for number, first in enumerate(range(0, len(chains), LANES)):
        part = slice(first, first + LANES)
        counts = [cut.counts(chain) for chain in chains[part]]
        group = build(chains[part], counts, waters[first])
        group.view()[:2, layout.TURN, :] = turns[number]
        tip = lanes[number]
        settle_group(group, chains[part], counts, waters[part], tip[:3], tip[3:], profile)
        groups.append(group)
    return Fleet(
        cut,
        np.array([g.work for g in groups]),
        np.array([g.has_body for g in groups]),
        np.array([g.share for g in groups]),
        np.array([g.main_m for g in groups]),
        lanes,
        len(chains),
        unbent(len(groups)),
    )


def regeared(fleet: Fleet, chains: Mapping[int, Towed], water: Water) -> Fleet:
    """The same fleet with other gear on some lines (by number); positions stay. The next step must restart."""
    fresh = replace(fleet, works=fleet.works.copy(), share=fleet.share.copy(), mains_m=fleet.mains_m.copy())
    views = fresh.views()
    last = {
        k: chains[fleet.count - 1]
        for k in range(fleet.count, len(views) * LANES)
        if fleet.count - 1 in chains
    }
    for line, chain in {**chains, **last}.items():
        group, lane = divmod(line, LANES)
        turn = views[group, :2, layout.TURN, lane].copy()
        counts = fleet.cut.counts(chain)
        load_lane(views[group], fresh.share[group], fresh.mains_m[group], lane, chain, counts, water)
        views[group, :2, layout.TURN, lane] = turn
    return fresh


def marched(
    fleet: Fleet,
    tips: Array,
    mains_m: Array,
    profile: Array,
    dt: float,
    restart: bool,
    tolerance: float,
    finer: int | None = None,
) -> tuple[Fleet, bool, bool]:
    """One step of dt [s], or K of them while no line runs.

    Args:
        tips: (6, n) or (K, 6, n) rod tips after each step; mains_m: (n,) length of the main lines after the last.
        profile, restart, tolerance: see kernel.march.
        finer: into how many parts the step of a group is divided while a line of it kinks; None: do not look for bends.
    Returns:
        The fleet after it, whether a group failed (then no more steps were made), whether one was rescued in the last.
    """
    works, after = np.empty_like(fleet.works), by_group(tips if tips.ndim == 3 else tips[None])
    steps = after.shape[1]
    mains = np.maximum(by_group(mains_m), SHORTEST_M)
    bends = fleet.bends
    failed, rescued = march_all(
        fleet.works, works, fleet.cut.total, fleet.has_body, fleet.share, profile,
        np.concatenate([fleet.tips[:, None], after], axis=1), _mains(fleet.mains_m, mains, steps),
        dt, restart, tolerance, bends.parts,
    )  # fmt: skip
    if finer is not None:
        bends = looked(bends, works, fleet.cut.total, dt * steps, finer)
    last = np.ascontiguousarray(after[:, -1])
    fresh = Fleet(fleet.cut, works, fleet.has_body, fleet.share, mains, last, fleet.count, bends)
    return fresh, failed > 0, rescued


def _mains(before: Array, after: Array, steps: int) -> Array:
    """(G, steps+1, LANES) main lines before and after each step: they run in the last one."""
    out = np.repeat(before[:, None], steps + 1, axis=1)
    out[:, -1] = after
    return out
