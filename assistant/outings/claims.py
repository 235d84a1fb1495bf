"""Exact tests for what is said of a day: "the inside line caught", "this is the hot rod", "its twin did not".

Counts are compared given their sum: with equal rates n_a of n strikes are binomial with the share of effort as chance.
All sums are exact; nothing leans on large numbers, for a day has ten strikes.

Sources: conditional test of two Poisson rates, Przyborowski and Wilenski 1940, Biometrika 31, 313-323; exact limits,
Clopper and Pearson 1934, Biometrika 26, 404-413; generating function of the multinomial maximum, Feller 1968, ch. II.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

SURE = 0.05  # below: "differs"; the usual one in twenty, said with the figure
TIE = 1.0 + 1e-9  # two outcomes equally likely but for rounding count as equally likely
BISECTIONS = 60


@dataclass(frozen=True, slots=True)
class Claim:
    """One comparison: the chance of one as lopsided if nothing differs, how many were made, and what to say."""

    about: str
    chance: float  # with multiplicity already in it
    compared: int  # among how many the best was picked; 1: named beforehand
    ratio_low: float | None  # 95 % limits of the ratio of rates; None: not asked
    ratio_high: float | None  # inf: no upper limit
    words: str


def binomial_at_least(count: int, trials: int, chance: float) -> float:
    """P(X >= count) of a binomial."""
    return min(1.0, math.fsum(_binomial(k, trials, chance) for k in range(max(count, 0), trials + 1)))


def _binomial(count: int, trials: int, chance: float) -> float:
    """P(X = count) of a binomial."""
    return float(math.comb(trials, count) * chance**count * (1.0 - chance) ** (trials - count))


def two_sided(count: int, trials: int, chance: float) -> float:
    """Chance of an outcome no likelier than `count` of `trials`: the exact two-sided binomial test."""
    seen = _binomial(count, trials, chance) * TIE
    probabilities = [_binomial(k, trials, chance) for k in range(trials + 1)]
    return min(1.0, math.fsum(p for p in probabilities if p <= seen))


def share_limits(count: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson limits of a binomial's chance."""
    tail = (1.0 - level) / 2.0
    low = 0.0 if count == 0 else _solve(lambda p: binomial_at_least(count, trials, p) - tail)
    high = (
        1.0 if count == trials else _solve(lambda p: tail - (1.0 - binomial_at_least(count + 1, trials, p)))
    )
    return low, high


def _solve(rising: Callable[[float], float]) -> float:
    """Where a rising function of a chance crosses 0."""
    low, high = 0.0, 1.0
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if rising(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


def compare(
    about: str,
    names: tuple[str, str],
    strikes: tuple[int, int],
    hours: tuple[float, float],
    compared: int = 1,
) -> Claim:
    """Two groups of rod-hours against each other: inside and outside lines in turns, a rod and its twin.

    Args:
        strikes, hours: of each [1], [rod-h].
        compared: how many such pairs were looked at before this one was picked; the chance is that of any of them.
    Raises:
        ValueError: counts or hours below 0, or strikes where there was no effort.
    """
    for n, t in zip(strikes, hours, strict=True):
        if n < 0 or not (math.isfinite(t) and t >= 0.0) or (n > 0 and t == 0.0):
            raise ValueError(f"{about}: {n} strikes in {t} rod-hours cannot be")
    if compared < 1:
        raise ValueError(f"{about}: compared {compared}: want 1 or more")
    trials, total = sum(strikes), sum(hours)
    if trials == 0 or min(hours) == 0.0:
        return Claim(about, 1.0, compared, None, None, "cannot tell: no strikes or no effort to compare")
    chance = 1.0 - (1.0 - two_sided(strikes[0], trials, hours[0] / total)) ** compared
    low, high = (_ratio(share, hours) for share in share_limits(strikes[0], trials))
    more = names[0] if strikes[0] * hours[1] >= strikes[1] * hours[0] else names[1]
    counts = f"{names[0]} {strikes[0]} in {hours[0]:.1f} rod-hours, {names[1]} {strikes[1]} in {hours[1]:.1f}"
    answer = f"{more} caught more" if chance < SURE else "cannot tell them apart"
    among = f" with {compared} pairs to pick from" if compared > 1 else ""
    words = f"{answer}: {counts}; as lopsided by chance in {percent(chance)} of days{among}"
    return Claim(about, chance, compared, low, high, words)


def _ratio(share: float, hours: tuple[float, float]) -> float:
    """Ratio of rates that gives the first group this share of the strikes."""
    return math.inf if share >= 1.0 else share / (1.0 - share) * hours[1] / hours[0]


def hot_rod(strikes: Mapping[str, int], hours: Mapping[str, float]) -> Claim:
    """Whether the best rod of the day is more than the best of so many.

    Each rod's count is judged by how rarely its share of the effort brings as many; the chance is that of *some* rod
    being as far out. With equal effort that is the chance of some rod having as many strikes.

    Raises:
        ValueError: counts or hours below 0, or strikes of a rod without effort.
    """
    rods = [rod for rod, t in hours.items() if t > 0.0]
    if any(t < 0.0 or not math.isfinite(t) for t in hours.values()) or any(n < 0 for n in strikes.values()):
        raise ValueError("hot rod: strikes and rod-hours are 0 or more")
    if wrong := [rod for rod, n in strikes.items() if n > 0 and rod not in rods]:
        raise ValueError(f"hot rod: strikes on {', '.join(wrong)} without effort")
    trials, total = sum(strikes.values()), sum(hours[rod] for rod in rods)
    if trials == 0 or len(rods) < 2:
        return Claim("hot rod", 1.0, max(len(rods), 1), None, None, "cannot tell: too few rods or strikes")
    shares = {rod: hours[rod] / total for rod in rods}
    tails = {rod: binomial_at_least(strikes.get(rod, 0), trials, shares[rod]) for rod in rods}
    best = min(tails, key=lambda rod: tails[rod])
    limits = [_first_as_rare(trials, shares[rod], tails[best]) for rod in rods]
    chance = some_reach(trials, [shares[rod] for rod in rods], limits)
    answer = f"{best} is more than luck" if chance < SURE else f"{best} led, and some rod always does"
    words = (
        f"{answer}: {strikes.get(best, 0)} of {trials} strikes; with {len(rods)} equal rods some rod does "
        f"as well in {percent(chance)} of days"
    )
    return Claim("hot rod", chance, len(rods), None, None, words)


def _first_as_rare(trials: int, share: float, tail: float) -> int:
    """Fewest strikes whose chance of being reached is no more than `tail`; trials + 1 if none is."""
    counts = range(trials + 1)
    return next((k for k in counts if binomial_at_least(k, trials, share) <= tail * TIE), trials + 1)


def some_reach(trials: int, shares: Sequence[float], limits: Sequence[int]) -> float:
    """Chance that at least one cell of a multinomial reaches its limit.

    The chance that none does is n! times the coefficient of x^n in the product over the cells of
    sum over j < limit of (share x)^j / j!.
    """
    coefficients = [1.0] + [0.0] * trials
    for share, limit in zip(shares, limits, strict=True):
        cell = [share**j / math.factorial(j) for j in range(min(limit, trials + 1))]
        coefficients = [
            math.fsum(coefficients[n - j] * c for j, c in enumerate(cell) if j <= n)
            for n in range(trials + 1)
        ]
    return min(1.0, max(0.0, 1.0 - math.factorial(trials) * coefficients[trials]))


def percent(chance: float) -> str:
    """A chance for reading: whole per cent, one decimal below 10."""
    value = 100.0 * chance
    return f"{value:.0f} %" if value >= 9.95 else f"{value:.1f} %"
