"""From what a reel's counter shows to the line that is really out. Pure.

A counter counts turns of the spool and shows `turn_m` for each, N = counter/turn. Line leaves from the outside, so the
spool's radius falls: the line's area on the spool's side is what has left,
    r^2 = R^2 - L d^2/(pi w),   dL/dN = 2 pi r   =>   L = 2 pi R N - pi (d^2/w) N^2
with R the radius with nothing out [m], w the spool's width [m], d the effective thickness of the line [m]: d^2 is the
area one line takes up on the spool, gaps and all. So true length over reading falls along a straight line.
Fit: ln R and ln d to taped marks, Gauss-Newton on weighted squares with a weak normal prior on each; their covariance
gives the band of the factor at every reading. Turn and width only say in which units R and d come out.
Without marks the factor is one of UNMARKED for every reading (messages.py).
Valid: one kind of line down to the last mark's place on the spool, the spool as full as when the marks were taped.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.configured import UNMARKED, UNMARKED_CABLE, Coefficient, Config, Reel, ReelMark, Rod
from assistant.lines.draws import at_normal, at_normals
from assistant.messages import Z90

Array = NDArray[np.float64]

RADIUS_SIGMA = 0.12
"""Of ln(2 pi R/turn), about 0. Common practice, no source: "a 60 can be 50 ft", so a sixth is nothing unusual."""
THICKNESS_OVER_DIAMETER, THICKNESS_SIGMA = 1.2, 0.3
"""Effective thickness over the line's diameter, and sigma of its logarithm. Judgement: a level wind lays turns
crosswise with gaps (up to half as thick again), wet braid flattens (down to 0.8)."""
FLOOR = 0.01
"""Sigma of the factor that no number of marks takes away. Judgement: taped and fished under another pull, laid
unevenly."""
FLOOR_FEW = 0.02  # the same with one or two marks, which cannot show a misread one
ENOUGH_MARKS = 3  # from here on both parameters are fitted; below, the radius alone
SETTLED = 1e-9  # of both logarithms, where the fit ends
EMPTY = 0.3  # of R: no spool is thinner than its core (judgement)

SPOOLS_M: Sequence[tuple[float, float, float]] = ((0.0, 0.1524, 0.045), (0.0007, 0.2438, 0.06))
"""(from this line diameter, length shown per turn, spool width) [m] of a usual trolling reel and of a large one for
copper and lead-core; from memory of such reels, replaced by `turn` and `width` of the register."""


@dataclass(frozen=True, slots=True)
class Spool:
    """radius_m: with nothing out; thickness_m: effective, of the line on it; covariance: (2, 2) of their logarithms."""

    turn_m: float
    width_m: float
    radius_m: float
    thickness_m: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    floor: float


@dataclass(frozen=True, slots=True)
class Curve:
    """True line out by counter reading: from a fitted spool, or one factor where there are no marks."""

    full: float  # true length over reading with nothing out
    loss_per_m: float  # what that falls by per metre shown
    evidence: str
    spool: Spool | None = None
    flat: Coefficient | None = None  # without a spool

    def true_m(self, counter_m: float) -> float:
        """True line out [m] at a counter reading [m]; beyond an empty spool by the core's radius."""
        c = min(counter_m, self._empty_m())
        return c * (self.full - self.loss_per_m * c) + (counter_m - c) * EMPTY * self.full

    def ratio(self, counter_m: float) -> float:
        """True line out over the reading, at a reading [m]."""
        return self.true_m(counter_m) / counter_m if counter_m > 0.0 else self.full

    def counter_m(self, true_m: float) -> float:
        """The reading [m] at which so much line [m] is out."""
        empty = self._empty_m()
        if true_m > self.true_m(empty):
            return empty + (true_m - self.true_m(empty)) / (EMPTY * self.full)
        root = math.sqrt(self.full**2 - 4.0 * self.loss_per_m * true_m)
        return 2.0 * true_m / (self.full + root)

    def factor(self, counter_m: float) -> Coefficient:
        """The same ratio with its band."""
        if self.flat is not None or self.spool is None:
            return self.flat or Coefficient(self.full, self.full, self.full, self.evidence)
        value = self.ratio(counter_m)
        c = min(counter_m, self._empty_m())
        by_radius, by_thickness = self.full, -2.0 * self.loss_per_m * c
        (rr, rd), (_, dd) = self.spool.covariance
        variance = by_radius**2 * rr + 2.0 * by_radius * by_thickness * rd + by_thickness**2 * dd
        half = Z90 * math.sqrt(variance + (self.spool.floor * value) ** 2)
        return Coefficient(value, max(value - half, 0.1 * value), value + half, self.evidence)

    def _empty_m(self) -> float:
        return (1.0 - EMPTY) * self.full / (2.0 * self.loss_per_m) if self.loss_per_m > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class _Taped:
    """Marks against a spool given as theta = (ln R, ln d), with the prior of both."""

    turns: Array
    true_m: Array
    sigma_m: Array
    width_m: float
    prior: Array
    precision: Array

    def misses(self, theta: Array) -> tuple[Array, Array]:
        """How far the marks are off [sigmas], and the (n, 2) slopes of what the spool says."""
        by_radius = 2.0 * math.pi * math.exp(theta[0]) * self.turns
        lost = math.pi * math.exp(2.0 * theta[1]) / self.width_m * self.turns**2
        slopes = np.stack([by_radius, -2.0 * lost], axis=1) / self.sigma_m[:, None]
        return (self.true_m - by_radius + lost) / self.sigma_m, slopes

    def cost(self, theta: Array) -> float:
        """Minus twice the logarithm of the posterior, but for a constant."""
        off = theta - self.prior
        return float((self.misses(theta)[0] ** 2).sum() + off @ self.precision @ off)

    def normal(self, theta: Array) -> Array:
        """Gauss and Newton's matrix: the inverse of the posterior covariance."""
        slopes = self.misses(theta)[1]
        return np.asarray(slopes.T @ slopes + self.precision)

    def step(self, theta: Array, radius_only: bool) -> Array:
        """One step downhill, halved until it is one."""
        misses, slopes = self.misses(theta)
        pull = slopes.T @ misses - self.precision @ (theta - self.prior)
        normal = self.normal(theta)
        step = np.array([pull[0] / normal[0, 0], 0.0]) if radius_only else np.linalg.solve(normal, pull)
        while self.cost(theta + step) > self.cost(theta) and np.abs(step).max() > SETTLED:
            step = 0.5 * step
        return np.asarray(step)


def fit(marks: Sequence[ReelMark], diameter_m: float, turn_m: float, width_m: float) -> Spool:
    """The most probable spool behind taped marks.

    Args:
        marks: at least one; diameter_m: of the line; turn_m, width_m: of the reel.
    Raises:
        ValueError: no marks.
    """
    if not marks:
        raise ValueError("no marks to fit")
    taped = _Taped(
        np.array([m.counter_m for m in marks]) / turn_m,
        np.array([m.true_m for m in marks]),
        np.array([m.sigma_m for m in marks]),
        width_m,
        np.log([turn_m / (2.0 * math.pi), THICKNESS_OVER_DIAMETER * diameter_m]),
        np.diag([RADIUS_SIGMA**-2, THICKNESS_SIGMA**-2]),
    )
    few = len(marks) < ENOUGH_MARKS
    theta = taped.prior
    for _ in range(50):
        step = taped.step(theta, few)
        theta = theta + step
        if np.abs(step).max() <= SETTLED:
            break
    normal = taped.normal(theta)
    (rr, rd), (_, dd) = _scale_only(normal) if few else np.linalg.inv(normal).tolist()
    radius, thickness = math.exp(theta[0]), math.exp(theta[1])
    return Spool(turn_m, width_m, radius, thickness, ((rr, rd), (rd, dd)), FLOOR_FEW if few else FLOOR)


def _scale_only(normal: Array) -> list[list[float]]:
    """Covariance when the radius alone is fitted: the thickness keeps its prior, and the radius follows it."""
    dd = THICKNESS_SIGMA**2
    follows = -float(normal[0, 1] / normal[0, 0])
    return [[1.0 / float(normal[0, 0]) + follows**2 * dd, follows * dd], [follows * dd, dd]]


def used_marks(reel: Reel) -> tuple[ReelMark, ...]:
    """The marks taped since the line last changed: what was taped before says nothing about it now."""
    since = line_since(reel)[1]
    return tuple(m for m in reel.marks if m.date >= since)


def line_since(reel: Reel) -> tuple[str, str]:
    """What was last done to the line, in words, and when (ISO date)."""
    done = [("spooled", reel.spooled), ("respooled", reel.respooled), ("cut back", reel.cut_back)]
    return max(((word, date) for word, date in done if date), key=lambda pair: pair[1])


def curve_of(config: Config, rod: Rod) -> Curve:
    """The counter curve of a rod: from its reel's marks, else the rod's own factor (wide where not configured)."""
    reel = next((reel for reel in config.reels if reel.rod == rod.name), None)
    if reel is None:
        return _flat(rod, "no marks")
    marks, (word, since) = used_marks(reel), line_since(reel)
    expired = len(reel.marks) - len(marks)
    old = f"; {expired} from before it was {word} {since} not used" if expired else ""
    if not marks:
        return _flat(rod, f"no marks{old}")
    latest = max(m.date for m in marks)
    few = ": scale only" if len(marks) < ENOUGH_MARKS else ""
    evidence = f"{len(marks)} mark{'s' if len(marks) > 1 else ''}, last taped {latest}{few}{old}"
    return curve(marks, *_dimensions(config, reel), evidence)


def _flat(rod: Rod, words: str) -> Curve:
    known = "wide" if rod.counter in (UNMARKED, UNMARKED_CABLE) else "as configured"
    return Curve(rod.counter.value, 0.0, f"{words}: {known} ({rod.counter.source})", flat=rod.counter)


def curve(
    marks: Sequence[ReelMark], diameter_m: float, turn_m: float, width_m: float, evidence: str
) -> Curve:
    """The counter curve of the spool fitted to marks; arguments as of `fit`."""
    spool = fit(marks, diameter_m, turn_m, width_m)
    loss = math.pi * spool.thickness_m**2 / (width_m * turn_m**2)
    return Curve(2.0 * math.pi * spool.radius_m / turn_m, loss, evidence, spool)


def _dimensions(config: Config, reel: Reel) -> tuple[float, float, float]:
    """Line diameter, turn and width [m] of a reel, usual ones where the register does not say."""
    diameter = config.lines[reel.line].coefficients["diameter_m"].value
    _, turn, width = max(spool for spool in SPOOLS_M if spool[0] <= diameter)
    return diameter, reel.turn_m or turn, reel.width_m or width


@dataclass(frozen=True, slots=True)
class Counters:
    """The counters of several rods, each read by as many lines: line number = rod x lines of each + line."""

    curves: tuple[Curve, ...]
    z: Array  # (R, E) how far each line's true length is off its curve [sigmas]

    def factors(self, counter_m: Sequence[float] | Array) -> Array:
        """(R * E,) true line out over reading, at the readings (R,) [m]."""
        rows = [
            at_normals(c.factor(float(m)), z) for c, m, z in zip(self.curves, counter_m, self.z, strict=True)
        ]
        return np.asarray(np.concatenate(rows), dtype=float)

    def outs_m(self, counter_m: Sequence[float] | Array) -> Array:
        """(R * E,) true line out [m] at the readings (R,) [m]."""
        return np.asarray(self.factors(counter_m) * np.repeat(counter_m, self.z.shape[1]))

    def out_m(self, line: int, counter_m: float) -> float:
        """True line out [m] of one line at its reading [m]."""
        rod, member = divmod(line, self.z.shape[1])
        return counter_m * at_normal(self.curves[rod].factor(counter_m), float(self.z[rod, member]))


def counters_of(config: Config, z: Array) -> Counters:
    """The counters of a config's rods; z: see Counters."""
    return Counters(tuple(curve_of(config, rod) for rod in config.rods), z)
