"""The boat's estimates as a Frame publishes them: value with its 10 % and 90 % quantiles. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping

from assistant.messages import BOAT_QUANTITIES, Z90, BoatState, Estimate, Q

LIMITS: dict[str, tuple[float, float]] = {
    "sog_mps": (0.0, math.inf),
    "drift_mps": (0.0, math.inf),
    "stw_mps": (0.0, math.inf),
    "water_depth_m": (0.0, math.inf),
    "lat_deg": (-90.0, 90.0),
}
"""What a band cannot reach beyond: a depth is not above the surface, a speed not below 0."""

FULL_BAND_RAD = math.pi  # a direction known no better than this is not known at all


ALL_SILENT = "all silent"
ONLY_GPS = "only GPS"
LOST: Mapping[str, str] = {
    "no speed log": "stw_mps",
    "no heading": "heading_rad",
    "no GPS": "sog_mps",
    "no sounder": "water_depth_m",
    "no temperature": "water_temp_c",
}
"""Degraded mode -> the quantity that is lost or computed from a stand-in."""

STAND_INS = ("GPS only", "ground minus last current", "course over ground", "course minus last current")
"""Sources of a speed or a heading that nobody measures."""


def degraded_modes(boat: Mapping[str, Q]) -> tuple[str, ...]:
    """Names of what is missing at this instant, in the order of LOST; one name where one says it all."""
    silent = [name for name, quantity in LOST.items() if boat[quantity].state in ("stale", "dead")]
    if len(silent) == len(LOST):
        return (ALL_SILENT,)
    lost = tuple(
        name for name, quantity in LOST.items() if name in silent or boat[quantity].source in STAND_INS
    )
    return (ONLY_GPS,) if len(lost) == len(LOST) - 1 and "no GPS" not in lost else lost


def published(name: str, estimate: Estimate) -> Q:
    """One Estimate as a Q. A direction's band is unwrapped around its value, so that low <= value <= high."""
    unit = BOAT_QUANTITIES[name]
    value = estimate.value
    if value is None or estimate.state == "dead" or not math.isfinite(value):
        return Q(None, None, None, unit, "dead", estimate.age_s, estimate.source)
    if estimate.sigma is None or not math.isfinite(estimate.sigma):
        return Q(value, None, None, unit, estimate.state, estimate.age_s, estimate.source)
    half = Z90 * estimate.sigma
    if unit == "rad":
        half = min(half, FULL_BAND_RAD)
    least, most = LIMITS.get(name, (-math.inf, math.inf))
    low, high = max(value - half, least), min(value + half, most)
    return Q(value, min(low, value), max(high, value), unit, estimate.state, estimate.age_s, estimate.source)


def published_boat(boat: BoatState) -> dict[str, Q]:
    """Every boat quantity as a Q, in the order of BOAT_QUANTITIES."""
    return {name: published(name, getattr(boat, name)) for name in BOAT_QUANTITIES}
