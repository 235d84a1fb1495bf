"""The configured rods marched by the live kernel along a given way of the boat, many steps in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from assistant.lines import motion, spread
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, Fleet, by_group, settled
from assistant.lines.gear import RodSetting, towed
from assistant.lines.kernel import march
from assistant.messages import Config

Array = NDArray[np.float64]

STILL = np.zeros((0, 3))


def water_of(loaded: Config) -> Water:
    """Still water of the configured kind."""
    return Water(loaded.boat.water_density_kg_m3, loaded.boat.gravity_m_s2)


def chains_of(loaded: Config, settings: Sequence[RodSetting] | None = None) -> list[Towed]:
    """What every rod tows, as rigged or as set."""
    if settings is None:
        settings = [RodSetting(rod.line_out_m) for rod in loaded.rods]
    pairs = zip(loaded.rods, settings, strict=True)
    return [towed(loaded, rod, now, water_of(loaded)) for rod, now in pairs]


def tips_along(loaded: Config, way: Array, wave: tuple[Array, Array] | None = None) -> Array:
    """(K, 6, R) rod tips.

    Args:
        way: (K, 5) north, east [m], speed [m/s], heading [rad], rate of turn [rad/s]; wave: lift [m] and its rate of
        all rod tips, (K,) each.
    """
    places = np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in loaded.rods])
    same = np.ones(len(places))
    rows = [motion.tips(n * same, e * same, v * same, h, w, places) for n, e, v, h, w in way]
    tips = np.array(rows)
    if wave is not None:
        tips[:, 2] -= wave[0][:, None]
        tips[:, 5] -= wave[1][:, None]
    return tips


def start(chains: Sequence[Towed], water: Water, cut: Cut, tip: Array) -> Fleet:
    """Lines in their steady shapes; tip: (6, R)."""
    count = len(chains)
    return settled(chains, [water] * count, cut, tip, STILL, np.zeros((count, 2)))


def go(
    fleet: Fleet,
    tips: Array,
    dt: float,
    restart: bool,
    tolerance_m: float = spread.TOLERANCE_M,
    mains_m: Array | None = None,
) -> tuple[Fleet, int, int]:
    """March along all rows of tips (K+1, 6, R); mains_m: (K+1, R) if line runs.

    Returns:
        The fleet, the groups that failed, the steps that needed rescue (then the next call must restart).
    """
    works, lanes = fleet.works.copy(), by_group(tips)
    same = np.repeat(fleet.mains_m[:, None, :], len(tips), axis=1)
    mains = same if mains_m is None else by_group(mains_m)
    done = [
        march(
            works[g], fleet.cut.total, fleet.has_body[g], fleet.share[g], STILL, lanes[g], mains[g], dt, restart,
            tolerance_m,
        )
        for g in range(len(works))
    ]  # fmt: skip
    after = replace(fleet, works=works, tips=lanes[:, -1], mains_m=mains[:, -1])
    return after, sum(d < 0 for d in done), sum(max(d, 0) for d in done)
