"""The boat's estimates as a Frame publishes them: value with its 10 % and 90 % quantiles. Pure."""

from __future__ import annotations

import math

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
