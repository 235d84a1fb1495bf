"""Thousands of draws of one rig, towed straight in still water, at once.

The laws of gear.py and chain.py are plain arithmetic: they take arrays, one number per draw, as well as numbers. In
still water a line that is wet all along has a shape that does not depend on its depth, so one integration from the
free end gives it (steady.py). The dry top of a real one is taken as steep as the wet line there: the tow height comes
off the depth.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.configured import Coefficient, Config, Rod
from assistant.lines.chain import Water, body_columns, segment_columns
from assistant.lines.gear import Draw, RodSetting, towed
from assistant.lines.steady import climb

Array = NDArray[np.float64]
Draws = Callable[[str, str, Coefficient], Array]
"""Like gear.Draw, with a value for each draw."""

RELATIVE = 1e-3  # error per step of the integration
_FAR_M = 1e6  # wet whatever the line does

_compiled = njit(cache=True, nogil=True, error_model="numpy")


@_compiled
def _climb_all(segments: Array, bodies: Array, speed_mps: Array, depth_m: Array) -> None:
    """Fill depth_m (n, S) with every joint's depth below the top, free end first; NaN where nothing pulls."""
    out = np.empty((segments.shape[1] + 1, 6))
    tow, end, still = np.zeros(3), np.zeros(3), np.empty((0, 3))
    for i in range(segments.shape[0]):
        tow[0], end[2] = speed_mps[i], _FAR_M
        fits = climb(segments[i], bodies[i], tow, still, end, RELATIVE, out)
        for j in range(depth_m.shape[1]):
            depth_m[i, j] = out[j, 2] - out[-1, 2] if fits else math.nan


def depths_m(
    config: Config, rod: Rod, water: Water, draw: Draws, line_out_m: Array, speed_mps: Array
) -> tuple[Array, Array]:
    """Depth [m] of the lure and of the first body from the reel, one of each per draw; NaN: no shape.

    Args:
        line_out_m: (n,) true line out; speed_mps: (n,) of the boat.
    """
    chain = towed(config, rod, RodSetting(rod.line_out_m), water, cast("Draw", draw))
    main = chain.segments[chain.running]
    longer = main.length_m + (line_out_m - rod.line_out_m)
    parts = list(chain.segments)
    parts[chain.running] = replace(main, length_m=cast("float", longer))
    tied = [*chain.bodies, *[None] * (len(parts) - len(chain.bodies))]
    segments = np.stack([_columns(segment_columns(part, water), len(line_out_m)) for part in parts], axis=1)
    bodies = np.stack([_columns(body_columns(body, water), len(line_out_m)) for body in tied], axis=1)
    depth_m = np.empty((len(line_out_m), len(parts)))
    _climb_all(segments, bodies, speed_mps, depth_m)
    first = max(k for k, body in enumerate(tied) if body is not None)
    return depth_m[:, 0] - chain.tow_height_m, depth_m[:, first] - chain.tow_height_m


def _columns(values: tuple[float, ...], count: int) -> Array:
    """(count, columns) of numbers that are one for all draws, or one for each."""
    return np.stack([np.broadcast_to(np.asarray(value, dtype=float), count) for value in values], axis=1)
