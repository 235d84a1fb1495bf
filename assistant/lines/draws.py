"""What is not known, as draws: one standard normal number per member and uncertain quantity, spread evenly.

A coefficient's low and high are its 10 % and 90 % quantiles; it follows a normal law with its own width on each side
of the value (in the logarithm where low > 0), so the value is the median. Each quantity takes the 32 quantiles of the
normal law in an order of its own (Latin hypercube, McKay, Beckman & Conover 1979): quantiles of the result settle with
far fewer members than plain random draws.
"""

from __future__ import annotations

import hashlib
import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Coefficient
from assistant.messages import Z90

Array = NDArray[np.float64]

MEMBERS = 32
_LEVELS = np.array([NormalDist().inv_cdf((k + 0.5) / MEMBERS) for k in range(MEMBERS)])


def seeded(seed: int, key: str) -> np.random.Generator:
    """Random numbers of one uncertain quantity; the same for the same seed and key."""
    digest = hashlib.sha256(f"{seed}/{key}".encode()).digest()
    return np.random.default_rng(int.from_bytes(digest[:8], "big"))


def normal_draws(seed: int, key: str) -> Array:
    """(MEMBERS,) standard normal numbers of one uncertain quantity; the same for the same seed and key."""
    return np.asarray(_LEVELS[seeded(seed, key).permutation(MEMBERS)])


def at_normal(coefficient: Coefficient, z: float) -> float:
    """The coefficient's value at standard normal z: z = -1.28 gives low, 0 the value, 1.28 high."""
    side = coefficient.high if z > 0 else coefficient.low
    share = abs(z) / Z90
    if coefficient.low > 0.0:
        return coefficient.value * math.exp(share * math.log(side / coefficient.value))
    return coefficient.value + share * (side - coefficient.value)


def at_normals(coefficient: Coefficient, z: Array) -> Array:
    """The coefficient's value at each of many standard normal numbers; see at_normal."""
    share = np.abs(z) / Z90
    value, low, high = coefficient.value, coefficient.low, coefficient.high
    if low > 0.0:
        return np.asarray(value * np.where(z > 0.0, high / value, low / value) ** share)
    return np.asarray(value + share * np.where(z > 0.0, high - value, low - value))


def normals_of(coefficient: Coefficient, values: Array) -> Array:
    """At which standard normal numbers a coefficient with low > 0 has these values: at_normals the other way round."""
    above = values > coefficient.value
    side = np.where(above, coefficient.high, coefficient.low)
    return np.asarray(
        np.where(above, Z90, -Z90) * np.log(values / coefficient.value) / np.log(side / coefficient.value)
    )


def weibull_quantiles(values: Array) -> tuple[Array, Array]:
    """10 % and 90 % quantiles over the last axis by the Weibull rule, position p (n + 1).

    That rule makes a band of n draws hold the next draw in 80 % of cases on average; the usual one of 32 only in 75 %.
    """
    ordered = np.sort(values, axis=-1)
    n = ordered.shape[-1]
    place = 0.1 * (n + 1) - 1.0
    k = int(place)
    part = place - k
    low = ordered[..., k] + part * (ordered[..., k + 1] - ordered[..., k])
    high = ordered[..., n - 1 - k] - part * (ordered[..., n - 1 - k] - ordered[..., n - 2 - k])
    return low, high
