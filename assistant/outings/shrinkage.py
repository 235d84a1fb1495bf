"""Rates of many rods, depths or speeds, each drawn toward what all have in common as its own count is thin. Pure.

Strikes under one condition are Poisson in its rod-hours, the rates of all conditions a gamma law around the common
rate. Where that rate lies and how narrow the law is are learned from the counts themselves, and what they leave open
stays open; so a rod with one strike in an hour is not called the best of the boat.

Source: gamma-Poisson shrinkage, Gelman et al. 2013, Bayesian Data Analysis, sections 2.6-2.7; even prior
of the shared part, Christiansen & Morris 1997, J. Am. Stat. Assoc. 92, 618-632; incomplete gamma by its
series and continued fraction, Abramowitz & Stegun 1964, 6.5.29 and 6.5.31.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

TAIL = 0.1
SHARES = tuple((k + 0.5) / 24.0 for k in range(24))
"""Of what all have in common in the rate of a condition of usual effort: an even prior between none and all."""
STEPS = tuple(k / 8.0 for k in range(-8, 9))
"""Places of the common rate around that of all strikes in all hours; 1 is three times as far off as is usual."""
BISECTIONS = 50
TERMS = 400
TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Rate:
    """One condition's strikes per rod-hour, drawn toward the common rate, with 10 % and 90 % quantiles."""

    label: str
    rod_hours: float
    strikes: int
    rate: float
    low: float
    high: float


def shrunk(counts: Sequence[tuple[str, float, int]]) -> list[Rate]:
    """Every condition's rate, in the order given.

    Args:
        counts: label, rod-hours above 0, strikes.
    """
    laws = _laws(counts)
    return [_rate(label, t, k, laws) for label, t, k in counts]


def _laws(counts: Sequence[tuple[str, float, int]]) -> list[tuple[float, float, float]]:
    """Weight, shape and rate of every law around a common rate that the counts leave likely."""
    if not counts:
        return []
    hours, strikes = sum(t for _, t, _ in counts), sum(k for _, _, k in counts)
    usual = hours / len(counts)
    pooled = (strikes + 0.5) / hours
    spread = 3.0 * math.sqrt(1.0 / (strikes + 1.0) + 1.0 / len(counts))  # of the counts, and of what differs
    laws = [
        (pooled * math.exp(spread * step), usual * share / (1.0 - share))
        for step in STEPS
        for share in SHARES
    ]
    evidence = [math.fsum(_evidence(k, t, common * b, b) for _, t, k in counts) for common, b in laws]
    top = max(evidence)
    weights = [math.exp(one - top) for one in evidence]
    total = math.fsum(weights)
    return [(w / total, common * b, b) for w, (common, b) in zip(weights, laws, strict=True)]


def _rate(label: str, hours: float, strikes: int, laws: Sequence[tuple[float, float, float]]) -> Rate:
    """One condition under all laws: the gamma law with the mean and the variance of their mixture."""
    each = [(w, (shape + strikes) / (b + hours), b + hours) for w, shape, b in laws]
    mean = math.fsum(w * m for w, m, _ in each)
    variance = math.fsum(w * (m / b + (m - mean) ** 2) for w, m, b in each)
    shape, scale = mean * mean / variance, variance / mean
    low, high = (gamma_quantile(shape, p) * scale for p in (TAIL, 1.0 - TAIL))
    return Rate(label, hours, strikes, mean, low, high)


def _evidence(strikes: int, hours: float, shape: float, rate: float) -> float:
    """Log chance of a count when its rate follows that gamma law: negative binomial, less what no law changes."""
    return (
        math.lgamma(shape + strikes)
        - math.lgamma(shape)
        + shape * math.log(rate / (rate + hours))
        - strikes * math.log(rate + hours)
    )


def gamma_quantile(shape: float, chance: float) -> float:
    """Where a gamma law of that shape and rate 1 has `chance` below it."""
    low, high = 0.0, shape + 10.0 * math.sqrt(shape) + 10.0
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if gamma_below(shape, middle) > chance else (middle, high)
    return 0.5 * (low + high)


def gamma_below(shape: float, x: float) -> float:
    """Share of a gamma law of that shape and rate 1 below x: the regularised incomplete gamma function."""
    if x <= 0.0:
        return 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1.0:
        term = total = 1.0 / shape
        for n in range(1, TERMS):
            term *= x / (shape + n)
            total += term
            if term < total * 1e-16:
                break
        return min(1.0, front * total)
    b = x + 1.0 - shape
    c, d = 1.0 / TINY, 1.0 / b
    h = d
    for n in range(1, TERMS):  # Lentz's way through the fraction
        a = -n * (n - shape)
        b += 2.0
        d = 1.0 / (a * d + b or TINY)
        c = b + a / c or TINY
        h *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return max(0.0, 1.0 - front * h)
