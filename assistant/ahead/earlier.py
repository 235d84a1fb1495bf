"""Soundings of earlier outings: kept by position, read where this outing's own track says nothing. Pure.

Rows of latitude, longitude [deg], depth of the bottom below the surface, its sigma [m]. Only what is good in both,
position and depth, is kept. Beyond WITHIN_M of any of them nothing is known.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.messages import BoatState

Array = NDArray[np.float64]

EVERY_M = 10.0  # between two soundings that are kept
REACH_M = 500.0  # lines do not come further from the boat in the time ahead
WITHIN_M = 20.0  # judgement: further from a sounding its depth tells nothing
POSITION_SIGMA_M = 5.0  # judgement: of one position against that of another day, either axis
LEVEL_SIGMA_M = 0.3  # judgement: the level of a lake over a season
MOST = 1500  # near the boat, the nearest


def metres_per_degree(lat_deg: float) -> tuple[float, float]:
    """Of latitude and of longitude [m]: series for the WGS 84 ellipsoid, from memory."""
    lat = math.radians(lat_deg)
    north = 111132.954 - 559.822 * math.cos(2.0 * lat) + 1.175 * math.cos(4.0 * lat)
    east = 111412.84 * math.cos(lat) - 93.5 * math.cos(3.0 * lat) + 0.118 * math.cos(5.0 * lat)
    return north, east


def worth_keeping(boat: BoatState, last: Array | None) -> Array | None:
    """The row (4,) to keep of this instant; None: nothing good, or too near the last one kept."""
    lat, lon, depth = boat.lat_deg, boat.lon_deg, boat.water_depth_m
    if any(one.value is None or one.state != "ok" for one in (lat, lon, depth)):
        return None
    assert lat.value is not None and lon.value is not None and depth.value is not None
    row = np.array([lat.value, lon.value, depth.value, depth.sigma or 0.0])
    if last is not None:
        north, east = metres_per_degree(lat.value)
        if math.hypot((row[0] - last[0]) * north, (row[1] - last[1]) * east) < EVERY_M:
            return None
    return row


def near(rows: Array, boat: BoatState, place_m: tuple[float, float]) -> Array:
    """(M, 4) north, east [m] in the frame of place_m, depth, sigma [m] of what was sounded around the boat.

    Args:
        rows: (N, 4), see above; place_m: where the boat is in that frame (north, east, over ground).
    """
    lat, lon = boat.lat_deg, boat.lon_deg
    if not len(rows) or lat.value is None or lon.value is None or lat.state != "ok":
        return np.zeros((0, 4))
    north, east = metres_per_degree(lat.value)
    off = np.column_stack([(rows[:, 0] - lat.value) * north, (rows[:, 1] - lon.value) * east])
    far = np.hypot(off[:, 0], off[:, 1])
    kept = np.argsort(far, kind="stable")[:MOST]
    kept = kept[far[kept] <= REACH_M]
    sigma = np.hypot(rows[kept, 3], LEVEL_SIGMA_M)
    return np.column_stack([off[kept] + np.array(place_m), rows[kept, 2], sigma])


@njit(cache=True, nogil=True, error_model="numpy")
def read_off(points: Array, places: Array, out: Array) -> None:
    """Rows (Q, 3) of depth, sigma and distance [m] of the nearest of points (M, 4); NaN beyond WITHIN_M."""
    for q in range(places.shape[0]):
        best, nearest = WITHIN_M * WITHIN_M, -1
        for k in range(points.shape[0]):
            dn, de = points[k, 0] - places[q, 0], points[k, 1] - places[q, 1]
            off = dn * dn + de * de
            if off <= best:
                best, nearest = off, k
        out[q, :] = np.nan
        if nearest >= 0:
            out[q, 0], out[q, 1], out[q, 2] = points[nearest, 2], points[nearest, 3], math.sqrt(best)
