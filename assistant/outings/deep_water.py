"""The current of the deep layer from what feels it: pulls, rod bends, cable lean, touches of weighted lines. Pure.

State vector: north and east velocity u of the deep layer relative to the surface layer [m/s], now; it turns clockwise
(northern hemisphere) at the inertial rate 2 Omega sin(latitude). A lure in it has the speed |v h - g u| through the
water for a boat at speed v along h, so what goes with a power k of the lure's speed reads, against what is worked out
without a deep current, log(ratio) = a + k log |h - g u / v|, with a constant `a` of its own for each rod. g is the
share of the deep layer at the lure's depth (tanh transition, as configured). Gaussian prior and errors, linearised
anew at each round (Gauss-Newton). Valid for |u| below half of v. With nothing that sees the deep
water there is no answer; where the surface is as cold as the deep there is no deep layer to speak of.

Sources: inertial turning, Gill 1982, Atmosphere-Ocean Dynamics, section 8.3; Bayesian linear model, Gelman et al. 2013,
Bayesian Data Analysis, section 14.8. Exponents: pull by quadratic drag; depth of a weighted line from its 1.6-1.9 fold
at 1.3 instead of 2.4 mph (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.configured import BoatConfig
from assistant.outings.effort import Table, Track

Array = NDArray[np.float64]

EARTH_RADPS = 7.2921e-5  # IERS Conventions 2010
PULL_POWER, DEPTH_POWER = 2.0, -0.9
BLOCK_MIN = 5  # errors of one stretch go together
BLOCK_SIGMA = 0.06  # log ratio: turns, waves and what the line model does not know, over BLOCK_MIN; judgement
ROD_SIGMA = 0.3  # log ratio: how far a rod's pull may be off what is worked out; judgement
WORD_LOG = 0.35  # "soft" or "straight" against usual, as log ratio of pull; judgement
WORD_SIGMA = 0.25
TOUCH_SIGMA = 0.12  # log ratio of a weighted line's depth without deep current; judgement
STRATIFIED_ABOVE_C = 8.0  # fresh water is densest at 4 C: a colder surface floats on nothing; judgement
LEAST_SHARE = 0.2  # of the deep layer; a shallower lure says nothing of it
SLOWEST_MPS = 0.3
SLOWEST_SHARE = 0.2  # of the boat's speed; a lure slower than that is out of range
CHI2_95 = 5.991  # two degrees of freedom; Abramowitz & Stegun 1964, table 26.8
OUTLYING = 2.0  # sigmas: a block further out (a fouled line, a fish towed) counts the less; Huber 1964
ROUNDS = 8
NOTICED_MPS = 0.13  # 0.3 mph: from here on fish may mind; common practice, no source
WORDS = ("rod_bend", "cable_lean_word")


@dataclass(frozen=True, slots=True)
class DeepWater:
    """What is known of the deep current at one instant."""

    north_mps: float
    east_mps: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    seen_by: tuple[str, ...]  # what it rests on: "pull P1"

    @property
    def velocity_mps(self) -> complex:
        """North + i east."""
        return complex(self.north_mps, self.east_mps)

    @property
    def known(self) -> bool:
        """Whether it is there beyond doubt and may be steered by: no current at all lies outside 95 %."""
        toward = np.array([self.north_mps, self.east_mps])
        return bool(toward @ np.linalg.solve(np.array(self.covariance), toward) >= CHI2_95)

    def with_boat_mps(self, heading_rad: float) -> tuple[float, float]:
        """Its component along a heading, and 1 sigma of that [m/s]."""
        h = np.array([math.cos(heading_rad), math.sin(heading_rad)])
        along = float(h @ (self.north_mps, self.east_mps))
        return along, math.sqrt(max(0.0, float(h @ np.array(self.covariance) @ h)))

    def slows(self, heading_rad: float) -> float:
        """Chance that it slows the deep lures by as much as fish may mind on this heading."""
        along, sigma = self.with_boat_mps(heading_rad)
        return 0.5 * math.erfc((NOTICED_MPS - along) / (sigma * math.sqrt(2.0))) if sigma > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class _Row:
    """One piece of evidence: y = a[rod] + power (log|1 - z u| - log|1 - usual u|) + error."""

    power: float
    z: complex  # g conj(h) / v [s/m]
    usual: complex  # the same of what it is compared with; 0: with what is worked out
    y: float
    sigma: float
    rod: str | None  # with a constant of its own; None: without one
    by: str


def deep_water(table: Table, boat: BoatConfig, lat_deg: float = 45.0) -> DeepWater | None:
    """The deep current at the end of a table; None: nothing sees it, or there is no deep layer.

    Args:
        table: of the outing up to now.
        boat: where a deep layer begins and how strong it may be.
        lat_deg: where the boat is.
    """
    if not layered(table, boat):
        return None
    view = _View(table, boat, lat_deg)
    rows = [*_pulls(view), *_words(view), *_touches(view)]
    if not rows:
        return None
    rods = list(dict.fromkeys(row.rod for row in rows if row.rod is not None))
    x = np.zeros((len(rows), 2 + len(rods)))
    for i, row in enumerate(rows):
        if row.rod is not None:
            x[i, 2 + rods.index(row.rod)] = 1.0
    power, z, usual = (np.array([getattr(row, name) for row in rows]) for name in ("power", "z", "usual"))
    y, sigma = np.array([row.y for row in rows]), np.array([row.sigma for row in rows])
    prior = np.diag([boat.deep_layer_sigma_mps**-2] * 2 + [ROD_SIGMA**-2] * len(rods))
    trust, mean = np.ones(len(rows)), np.zeros(x.shape[1])
    for _ in range(ROUNDS):
        u = complex(mean[0], mean[1])
        felt, slope = _felt(z, u), _slope(z, u) - _slope(usual, u)
        x[:, 0], x[:, 1] = power * slope.real, power * -slope.imag
        left = y - power * (felt - _felt(usual, u)) + x[:, :2] @ mean[:2]
        weight = trust / sigma**2
        covariance = np.linalg.inv(x.T @ (weight[:, None] * x) + prior)
        mean = covariance @ (x.T @ (weight * left))
        trust = np.minimum(1.0, OUTLYING / np.maximum(np.abs(left - x @ mean) / sigma, 1e-9))
    (a, b), (c, d) = covariance[:2, :2].tolist()
    return DeepWater(
        float(mean[0]), float(mean[1]), ((a, b), (c, d)), tuple(dict.fromkeys(r.by for r in rows))
    )


def layered(table: Table, boat: BoatConfig) -> bool:
    """Whether there may be a deep layer to speak of."""
    return boat.deep_layer_sigma_mps > 0.0 and bool(len(table.t_s)) and not _cold(table)


def _felt(z: NDArray[np.complex128], u: complex) -> Array:
    """log of a lure's speed over the boat's."""
    return np.log(np.maximum(np.abs(1.0 - z * u), SLOWEST_SHARE))


def _slope(z: NDArray[np.complex128], u: complex) -> NDArray[np.complex128]:
    """Its derivative: by the north component as the real part, by the east component as minus the imaginary one."""
    w = 1.0 - z * u
    return -z / np.where(np.abs(w) < SLOWEST_SHARE, SLOWEST_SHARE, w)


def _cold(table: Table) -> bool:
    """Whether the surface is known to be as cold as any deep water."""
    track = table.tracks.get("water_temp_c")
    known = track.value[np.isfinite(track.value[:, 0].real), 0].real if track is not None else np.zeros(0)
    return bool(len(known)) and float(known[-10:].mean()) < STRATIFIED_ABOVE_C


class _View:
    """The table's arrays as the evidence needs them."""

    def __init__(self, table: Table, boat: BoatConfig, lat_deg: float) -> None:
        self.table, self._boat = table, boat
        turning = 2.0 * EARTH_RADPS * math.sin(math.radians(lat_deg))
        ago_s = table.t_s[-1] - table.t_s
        heading = self.track("heading_rad")
        speed = self.track("water_speed_mps")
        blank = np.full(len(table.t_s), math.nan)
        self.speed = speed.value[:, 0].real if speed is not None else blank
        h = heading.value[:, 0] if heading is not None else blank.astype(complex)
        # u now was turned back by `ago`: h . R(-ago) u = (R(ago) h) . u, with angles clockwise from north
        self.along = h * np.exp(1j * turning * ago_s)
        self.usable = np.isfinite(self.along) & (self.speed > SLOWEST_MPS)

    def track(self, name: str) -> Track | None:
        """One quantity's arrays."""
        return self.table.tracks.get(name)

    def share(self, column: int) -> Array:
        """(N,) share of the deep layer at a rod's depth as worked out; NaN where that is unknown."""
        depth = self.track("depth_m")
        if depth is None:
            return np.full(len(self.table.t_s), math.nan)
        scale, middle = self._boat.deep_layer_scale_m, self._boat.deep_layer_depth_m
        way = np.tanh((depth.value[:, column].real - middle) / scale)
        start = math.tanh(-middle / scale)
        share: Array = (way - start) / (1.0 - start)
        return share

    def pushes(self, column: int) -> NDArray[np.complex128]:
        """(N,) z of _Row [s/m]; NaN where nothing can be said."""
        share = self.share(column)
        with np.errstate(invalid="ignore"):
            good = self.usable & (share >= LEAST_SHARE) & self.table.workable[:, column]
            pushes: NDArray[np.complex128] = np.where(
                good, share * np.conj(self.along) / self.speed, complex(math.nan, math.nan)
            )
        return pushes


def _pulls(view: _View) -> Iterator[_Row]:
    """Measured pulls against those worked out, a mean of each BLOCK_MIN."""
    measured, worked = view.track("pull_n"), view.track("worked_pull_n")
    if measured is None or worked is None or measured.value.shape != worked.value.shape:
        return
    for c, rod in enumerate(view.table.rods):
        ratio = (measured.value[:, c] - worked.value[:, c]).real
        pushes = view.pushes(c)
        good = np.isfinite(ratio) & np.isfinite(pushes)
        for start in range(0, len(ratio), BLOCK_MIN):
            there = np.flatnonzero(good[start : start + BLOCK_MIN]) + start
            if len(there):
                z = complex(pushes[there].mean())
                sigma = math.hypot(BLOCK_SIGMA, float(measured.sigma[there, c].mean()) / len(there) ** 0.5)
                yield _Row(PULL_POWER, z, 0j, float(ratio[there].mean()), sigma, rod, f"pull {rod}")


def _words(view: _View) -> Iterator[_Row]:
    """What the crew saw of bends and cables, each word once, against the mean of the outing before it."""
    for name in WORDS:
        track = view.track(name)
        if track is None:
            continue
        for c, rod in enumerate(view.table.rods):
            value, pushes = track.value[:, c].real, view.pushes(c)
            new = np.flatnonzero(np.isfinite(value) & ~np.isfinite(np.concatenate([[math.nan], value[:-1]])))
            for n in new:
                before = pushes[:n][np.isfinite(pushes[:n])]
                if not len(before) or not np.isfinite(pushes[n]):
                    continue
                z, usual = complex(pushes[n]), complex(before.mean())
                words = "bend" if name == "rod_bend" else "cable"
                yield _Row(PULL_POWER, z, usual, WORD_LOG * value[n], WORD_SIGMA, None, f"{words} {rod}")


def _touches(view: _View) -> Iterator[_Row]:
    """Weighted lines that touched: their depth was the bottom's, whatever was worked out."""
    touch, depth = view.track("touch_m"), view.track("depth_m")
    if touch is None or depth is None:
        return
    for c, rod in enumerate(view.table.rods):
        value, pushes = touch.value[:, c].real, view.pushes(c)
        new = np.flatnonzero(np.isfinite(value) & ~np.isfinite(np.concatenate([[math.nan], value[:-1]])))
        for n in new:
            worked = float(depth.value[n, c].real)
            if np.isfinite(pushes[n]) and worked > 1.0 and worked - value[n] > 1.0:
                y = math.log((worked - value[n]) / worked)
                yield _Row(DEPTH_POWER, complex(pushes[n]), 0j, y, TOUCH_SIGMA, None, f"touch {rod}")
