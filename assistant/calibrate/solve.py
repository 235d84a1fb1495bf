"""Speed log, compass and current from blocks or legs at once: what each must be for all of them to agree. Pure.

For every row, the water's velocity over ground being c(t):
    |g - c| = f(r) r                      g ground velocity, r the log's reading, f its factor
    direction of (g - c) = h + d(h) - lag x rate      h heading by compass, d its deviation
f is linear between knots of the reading and level beyond. d(z) = A + B sin z + C cos z + D sin 2z + E cos 2z by the
compass reading z: Archibald Smith's coefficients (Handbook of Magnetic Compass Adjustment, NGA Pub. 226, 2004; from
memory). c(t) is linear between nodes and wanders between them no more than estimate/current.py allows. Weak normal
priors on all unknowns; Gauss and Newton's method with differences for slopes; covariance from the normal matrix,
enlarged where the rows scatter by more than their sigma. No leeway.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from assistant.calibrate.evidence import Array, Blocks
from assistant.estimate.current import WANDER_MPS2

NODE_S = 600.0
CURRENT_PRIOR_MPS = 1.0
FACTOR_PRIOR, KNOT_PRIOR = 0.3, 0.15  # sigma of f about 1, and of f between neighbouring knots
HARMONIC_PRIORS_RAD = np.radians([30.0, 10.0, 10.0, 3.0, 3.0])
LAG_S, LAG_PRIOR_S = 0.7, 0.7  # of a receiver's course in a turn (as estimate/outputs.py has it), and sigma
LOG_SIGMA_MPS = 0.01  # rounding to 0.1 kn and its bearing, over a block or a leg
STEPS, SETTLED = 60, 1e-9
FAR = 3.0  # sigmas beyond which a row loses weight (Huber's function) ...
MANY = 20  # ... where there are so many that one may be wrong; of few legs none is


@dataclass(frozen=True, slots=True)
class Model:
    """What is to be found: knots of the factor [m/s as read], how many harmonics, sigma of the compass [rad]."""

    knots_mps: Array
    harmonics: int  # 0: no compass; 1: offset; 5: deviation too
    compass_sigma_rad: float
    logged: bool = True  # without a log r = 1 and f is the speed through the water


@dataclass(frozen=True, slots=True)
class Fit:
    """What was found, with covariance over all unknowns (factors, harmonics, lag, current nodes)."""

    model: Model
    factors: Array  # (K,)
    harmonics_rad: Array  # (H,)
    lag_s: float
    nodes_s: Array  # (M,)
    current_mps: Array  # (M, 2)
    covariance: Array
    speed_miss_mps: Array  # (N,) |g - c| less f(r) r
    angle_miss_rad: Array  # (N,) NaN without compass
    chi2: float  # mean square of all misses in their sigmas, over degrees of freedom

    def factor_sigmas(self) -> Array:
        """Sigma of each knot's factor."""
        k = len(self.factors)
        return np.asarray(np.sqrt(np.diag(self.covariance)[:k]))

    def deviation_rad(self, reading_rad: Array) -> tuple[Array, Array]:
        """Deviation and its sigma at compass readings [rad]."""
        k, h = len(self.factors), len(self.harmonics_rad)
        basis = harmonics(reading_rad, h)
        part = self.covariance[k : k + h, k : k + h]
        return basis @ self.harmonics_rad, np.sqrt(np.einsum("ni,ij,nj->n", basis, part, basis))

    def current_at(self, t_s: Array) -> Array:
        """(N, 2) current [m/s] at times."""
        return nodes_weights(t_s, self.nodes_s) @ self.current_mps


def harmonics(angle_rad: Array, count: int) -> Array:
    """(N, count) of 1, sin, cos, sin 2, cos 2."""
    z = np.asarray(angle_rad, dtype=float)
    rows = [np.ones_like(z), np.sin(z), np.cos(z), np.sin(2.0 * z), np.cos(2.0 * z)]
    return np.stack(rows[:count], axis=-1) if count else np.zeros((len(z), 0))


def nodes_weights(t_s: Array, nodes_s: Array) -> Array:
    """(N, M) weights of linear interpolation between nodes, level beyond."""
    return np.stack([np.interp(t_s, nodes_s, row) for row in np.eye(len(nodes_s))], axis=-1)


def wrapped(angle_rad: Array) -> Array:
    """Angles in [-pi, pi)."""
    return np.asarray((angle_rad + math.pi) % math.tau - math.pi)


class _Problem:
    """The misses of all rows and priors as one vector, in sigmas."""

    def __init__(self, rows: Blocks, weights: Array, model: Model) -> None:
        self.rows, self.model, self.weights = rows, model, weights
        span = float(rows.t_s[-1] - rows.t_s[0])
        self.nodes_s = np.linspace(rows.t_s[0], rows.t_s[-1], max(1, math.ceil(span / NODE_S)) + (span > 0.0))
        self.at_nodes = nodes_weights(rows.t_s, self.nodes_s)
        self.read = rows.log_mps if model.logged else np.ones(len(rows))
        self.knots = nodes_weights(self.read, model.knots_mps)
        self.basis = harmonics(rows.reading_rad, model.harmonics)
        self.rate = rows.turned_rad / 10.0
        self.robust = np.ones((2, len(rows)))

    def start(self) -> Array:
        """First guess: mean of the ground velocity is the current, the log is right."""
        k, h, m = len(self.model.knots_mps), self.model.harmonics, len(self.nodes_s)
        first = np.zeros(k + h + 1 + 2 * m)
        speed = float(np.hypot(*self.rows.ground_mps.T).mean())
        first[:k] = 1.0 if self.model.logged else speed
        first[k + h] = LAG_S
        if h:
            toward = np.stack([np.cos(self.rows.heading_rad), np.sin(self.rows.heading_rad)], axis=1)
            through = (self.read * (1.0 if self.model.logged else speed))[:, None] * toward
            first[k + h + 1 :] = np.tile((self.rows.ground_mps - through).mean(axis=0), m)
        else:
            low, high = self.rows.ground_mps.min(axis=0), self.rows.ground_mps.max(axis=0)
            first[k + h + 1 :] = np.tile(0.5 * (low + high), m)
        return first

    def parts(self, x: Array) -> tuple[Array, Array, Array, float, Array]:
        """Unknowns: factors, harmonics, current (M, 2), lag, misses of speed and angle as (2, N)."""
        k, h = len(self.model.knots_mps), self.model.harmonics
        factors, deviation, lag, nodes = x[:k], x[k : k + h], float(x[k + h]), x[k + h + 1 :].reshape(-1, 2)
        through = self.rows.ground_mps - self.at_nodes @ nodes
        length = np.hypot(through[:, 0], through[:, 1])
        speed = length - (self.knots @ factors) * self.read
        angle = np.zeros(len(speed))
        if h:
            want = self.rows.heading_rad + self.basis @ deviation - lag * self.rate
            angle = wrapped(np.arctan2(through[:, 1], through[:, 0]) - want)
        return factors, deviation, nodes, lag, np.stack([speed, angle])

    def misses(self, x: Array) -> Array:
        """All of it in sigmas: rows first, then priors."""
        factors, deviation, nodes, lag, off = self.parts(x)
        speed = np.maximum(np.hypot(*self.rows.ground_mps.T), 0.3)
        sigma = self.rows.sigma_mps / np.sqrt(self.weights)
        of_speed = off[0] / np.hypot(sigma, LOG_SIGMA_MPS)
        of_angle = off[1] / np.hypot(sigma / speed, self.model.compass_sigma_rad)
        middle = 1.0 if self.model.logged else float(speed.mean())
        steps_s = np.diff(self.nodes_s)[:, None]
        priors = [
            (factors - middle) / (FACTOR_PRIOR * middle),
            np.diff(factors) / (KNOT_PRIOR * middle),
            deviation / HARMONIC_PRIORS_RAD[: self.model.harmonics],
            np.array([(lag - LAG_S) / LAG_PRIOR_S]),
            nodes[0] / CURRENT_PRIOR_MPS,
            (np.diff(nodes, axis=0) / np.sqrt(WANDER_MPS2 * steps_s)).ravel(),
        ]
        root = np.sqrt(self.robust)
        return np.concatenate([of_speed * root[0], of_angle * root[1], *priors])


def _slopes(problem: _Problem, x: Array) -> Array:
    columns = []
    for k in range(len(x)):
        step = np.zeros(len(x))
        step[k] = 1e-5
        columns.append((problem.misses(x + step) - problem.misses(x - step)) / 2e-5)
    return np.stack(columns, axis=1)


def solve(rows: Blocks, model: Model, weights: Array | None = None) -> Fit:
    """Find factors, deviation and current.

    Args:
        rows: at least one; weights: (N,) how many blocks a row stands for, 1 each if not given.
    """
    problem = _Problem(rows, np.ones(len(rows)) if weights is None else weights, model)
    x = problem.start()
    n = len(rows)
    for _ in range(STEPS):
        misses = problem.misses(x)
        slopes = _slopes(problem, x)
        step = np.linalg.lstsq(slopes, -misses, rcond=None)[0]
        while np.sum(problem.misses(x + step) ** 2) > np.sum(misses**2) and np.abs(step).max() > SETTLED:
            step = 0.5 * step
        x = x + step
        plain = np.abs(problem.misses(x)[: 2 * n].reshape(2, n)) / np.sqrt(problem.robust)
        if n >= MANY:
            problem.robust = np.minimum(1.0, FAR / np.maximum(plain, 1e-9))
        if np.abs(step).max() < 1e-7:
            break
    slopes, misses = _slopes(problem, x), problem.misses(x)
    used = 2 * n if model.harmonics else n
    # the priors stand for as many unknowns as they hold: freedom is rows less what the rows alone decide
    covariance = np.linalg.inv(slopes.T @ slopes)
    decided = float(np.trace(slopes[: 2 * n].T @ slopes[: 2 * n] @ covariance))
    chi2 = float(np.sum(misses[: 2 * n] ** 2) / max(1.0, used - decided))
    factors, deviation, nodes, lag, off = problem.parts(x)
    angle = off[1] if model.harmonics else np.full(n, np.nan)
    return Fit(
        model,
        factors,
        deviation,
        lag,
        problem.nodes_s,
        nodes,
        np.asarray(covariance * max(1.0, chi2)),
        off[0],
        angle,
        chi2,
    )
