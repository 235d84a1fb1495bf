"""The configured rods marched by the live kernel along a given way of the boat, many steps in one call."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Config
from assistant.lines import motion, spread
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, Fleet, marched, settled
from assistant.lines.gear import RodSetting, towed

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
    finer: int = spread.FINER,
) -> tuple[Fleet, int, int, bool]:
    """March along all rows of tips (K+1, 6, R), as the live lines do; mains_m: (K+1, R) if line runs.

    Returns:
        The fleet, the steps in which a group failed, those in which one was rescued, whether the next must restart.
    """
    lost, rescues = 0, 0
    same = fleet.mains_m.reshape(-1)[: fleet.count]
    for k in range(1, len(tips)):
        main = same if mains_m is None else mains_m[k]
        fleet, failed, restart = marched(fleet, tips[k], main, STILL, dt, restart, tolerance_m, finer)
        lost += failed
        rescues += restart
    return fleet, lost, rescues, restart
