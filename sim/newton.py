"""Newton's method on the box scheme, with a band solver that pivots; compiled."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sim.cable import BELOW, WIDTH, assemble
from sim.forces import Array, jit


@jit
def solve_band(band: Array, rhs: Array) -> bool:
    """Solve the band system in place (rhs becomes the solution) by Gauss with pivoting; False if singular."""
    n = rhs.shape[0]
    for i in range(n):
        low = min(n, i + BELOW + 1)
        high = min(n, i + 2 * BELOW + 1)
        best = i
        size = abs(band[i, BELOW])
        for p in range(i + 1, low):
            if abs(band[p, i - p + BELOW]) > size:
                best = p
                size = abs(band[p, i - p + BELOW])
        if not size > 1e-300 or not math.isfinite(size):
            return False
        if best != i:
            for c in range(i, high):
                keep = band[i, c - i + BELOW]
                band[i, c - i + BELOW] = band[best, c - best + BELOW]
                band[best, c - best + BELOW] = keep
            keep = rhs[i]
            rhs[i] = rhs[best]
            rhs[best] = keep
        for p in range(i + 1, low):
            factor = band[p, i - p + BELOW] / band[i, BELOW]
            if factor != 0.0:
                shift = i - p + BELOW
                for c in range(1, high - i):
                    band[p, shift + c] -= factor * band[i, BELOW + c]
                rhs[p] -= factor * rhs[i]
    for i in range(n - 1, -1, -1):
        total = rhs[i]
        for c in range(1, min(n - i, 2 * BELOW + 1)):
            total -= band[i, BELOW + c] * rhs[i + c]
        rhs[i] = total / band[i, BELOW]
    return True


@jit
def newton_step(x: Array, step: Array, scale: float, out: Array) -> float:
    """Put x - scale * step into out; returns the largest change [m, and N relative to 1 N + the tension]."""
    worst = 0.0
    for n in range(x.shape[0]):
        for i in range(6):
            change = step[6 * n + i]
            out[n, i] = x[n, i] - scale * change
            size = abs(change) if i < 3 else abs(change) / (1.0 + abs(x[n, i]))
            if not size <= worst:  # so that a NaN is kept
                worst = size
    return worst


@jit
def newton(
    x: Array, line: Any, motion: Any, top: Array, tau: float, iterations: int, tolerance: float
) -> int:
    """Solve for x in place by Newton with step halving; arguments as for `assemble`.

    Returns:
        Iterations used, or -1 when it did not settle to `tolerance` [m, and N relative to 1 N + the tension].
    """
    size = 6 * x.shape[0]
    band = np.empty((size, WIDTH))
    res = np.empty(size)
    trial = np.empty_like(x)
    assemble(x, line, motion, top, tau, band, res)
    norm = math.sqrt(np.sum(res * res))
    for iteration in range(iterations):
        if not math.isfinite(norm) or not solve_band(band, res):
            return -1
        step = res.copy()
        scale = 1.0
        for _ in range(8):
            worst = newton_step(x, step, scale, trial)
            if not math.isfinite(worst):
                return -1
            assemble(trial, line, motion, top, tau, band, res)
            new = math.sqrt(np.sum(res * res))
            if new <= norm * (1.0 - 0.1 * scale) or (worst < 1e-3 and scale == 1.0):
                break
            scale *= 0.5
        x[:] = trial
        norm = new
        if scale == 1.0 and worst < tolerance:
            return iteration + 1
    return -1
