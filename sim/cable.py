"""Box scheme for one towed line: residual, Jacobian, band solver, Newton; compiled.

Reference: the centred box scheme for cables of Ablow & Schechter 1983 (Ocean Engng 10:443), here in Cartesian
position r and tension VECTOR T instead of angles, so that no attitude is singular.
State: x (N+1, 6) = r [m], T [N] at nodes, node 0 the free end, node N the tow point; z down. T points to the boat.
Equations, centred on each element of unstretched length h (bars are means of its two ends):
    T_hi + B_hi - T_lo + h [f - m a - rho A (a - t (t.a))] = 0       f = weight and drag at the bar values
    r_hi - r_lo - h t (1 + q/EA) = 0,   t = T/q, q = sqrt(|T|^2 + TAU^2)    slack shortens smoothly
B = external force minus inertia of the body at a node, so T just below a body is T + B. Ends: T_0 + B_0 = 0, r_N given.
Motion enters as v = Av r + kv, a = Aa r + ka: any implicit time integrator, or a rotating steady state, is a choice
of these (see march.py).
The part of the top segment above the surface has its weight in air, no drag and no added mass; an element that
crosses the surface has them in proportion.
Errors: second order in h; no bending stiffness; the bottom is not there.
"""

from __future__ import annotations

import math

import numpy as np

from sim.forces import Array, body_drag, jit, line_drag, water_at

TAU_N = 1e-4
"""Tension below which a line counts as slack [N]."""

# columns of the element table (N, 8) and of the body table (N+1, 6)
LENGTH, KN, KT, MASS, DISPLACED, COMPLIANCE, PAYOUT, CAN_BE_DRY = range(8)
WET_WEIGHT, INERTIA, K_DRAG, K_DOWN, K_SIDE, PRESENT = range(6)

BELOW = 8  # sub-diagonals; partial pivoting doubles the 8 above
WIDTH = 3 * BELOW + 1


@jit
def wet_share(z_lo: float, z_hi: float, out: Array) -> None:
    """Share of an element under water and its derivatives by the depths of its ends, into out (3,)."""
    out[0] = 1.0 if z_lo + z_hi > 0.0 else 0.0
    out[1] = 0.0
    out[2] = 0.0
    if z_lo * z_hi < 0.0:
        span = abs(z_lo - z_hi)
        out[0] = max(z_lo, z_hi) / span
        out[1] = (-z_hi if z_lo > 0.0 else z_hi) / (span * span)
        out[2] = (z_lo if z_lo > 0.0 else -z_lo) / (span * span)


@jit
def body_force(r: Array, node: int, body: Array, motion: Array, node_v: Array, node_a: Array, profile: Array, out: Array) -> None:
    """External force minus inertia of the body at one node, into out (3, 4) = force | derivative by r."""
    out[:] = 0.0
    if body[node, PRESENT] == 0.0:
        return
    water = np.empty(4)
    u = np.empty(3)
    f = np.empty(3)
    f_u = np.empty((3, 3))
    water_at(r[2], profile, water)
    u[0] = node_v[0] - water[0]
    u[1] = node_v[1] - water[1]
    u[2] = node_v[2]
    body_drag(u, body[node, K_DRAG], body[node, K_DOWN], body[node, K_SIDE], f, f_u)
    inertia = body[node, INERTIA]
    for i in range(3):
        out[i, 0] = f[i] - inertia * node_a[i]
        for j in range(3):
            out[i, 1 + j] = -inertia * motion[1, i, j]
            for k in range(3):
                out[i, 1 + j] += f_u[i, k] * motion[0, k, j]
        out[i, 3] -= f_u[i, 0] * water[2] + f_u[i, 1] * water[3]
    out[2, 0] += body[node, WET_WEIGHT]


@jit
def element_balance(
    e: int, r: Array, v: Array, a: Array, t: Array, elem: Array, motion: Array, gravity: float, profile: Array, out: Array
) -> None:
    """Load minus inertia of one element [N] and derivatives, into out (3, 10) = value | by r_lo | by r_hi | by t."""
    water = np.empty(4)
    share = np.empty(3)
    u = np.empty(3)
    am = np.empty(3)
    f = np.empty(3)
    f_u = np.empty((3, 3))
    f_t = np.empty((3, 3))
    h = elem[e, LENGTH]
    if elem[e, CAN_BE_DRY] > 0.0:
        wet_share(r[e, 2], r[e + 1, 2], share)
    else:
        share[0] = 1.0
        share[1] = 0.0
        share[2] = 0.0
    water_at(0.5 * (r[e, 2] + r[e + 1, 2]), profile, water)
    slide = elem[e, PAYOUT]
    for i in range(3):
        u[i] = 0.5 * (v[e, i] + v[e + 1, i]) - slide * t[i]
        am[i] = 0.5 * (a[e, i] + a[e + 1, i])
    u[0] -= water[0]
    u[1] -= water[1]
    line_drag(u, t, elem[e, KN], elem[e, KT], f, f_u, f_t)
    wet = share[0]
    mass = elem[e, MASS]
    displaced = elem[e, DISPLACED]
    ta = t[0] * am[0] + t[1] * am[1] + t[2] * am[2]
    for i in range(3):
        weight = gravity if i == 2 else 0.0
        by_water = f[i] - displaced * (weight + am[i] - t[i] * ta)
        out[i, 0] = h * (mass * (weight - am[i]) + wet * by_water)
        for j in range(3):
            unit = 1.0 if i == j else 0.0
            by_r = 0.0
            for k in range(3):
                ik = 1.0 if i == k else 0.0
                inertia = mass * ik + wet * displaced * (ik - t[i] * t[k])
                by_r += wet * f_u[i, k] * motion[0, k, j] - inertia * motion[1, k, j]
            if j == 2:
                by_r -= wet * (f_u[i, 0] * water[2] + f_u[i, 1] * water[3])
            out[i, 1 + j] = 0.5 * h * by_r
            out[i, 4 + j] = 0.5 * h * by_r
            out[i, 7 + j] = h * wet * (f_t[i, j] - slide * f_u[i, j] + displaced * (ta * unit + t[i] * am[j]))
        out[i, 3] += h * share[1] * by_water
        out[i, 6] += h * share[2] * by_water


@jit
def assemble(
    x: Array, elem: Array, body: Array, motion: Array, kv: Array, ka: Array, top: Array, gravity: float, profile: Array,
    band: Array, res: Array,
) -> None:
    """Fill the residual and the band Jacobian.

    Args:
        x: (N+1, 6) state; elem (N, 8), body (N+1, 6): tables by the column names above.
        motion: (2, 3, 3) Av [1/s] and Aa [1/s2]; kv, ka: (N+1, 3).
        top: (3,) tow point [m]; gravity [m/s2]; profile: see water_at.
        band: (6N+6, WIDTH) filled; res: (6N+6,) filled.
    """
    count = elem.shape[0]
    r = x[:, :3]
    v = np.empty((count + 1, 3))
    a = np.empty((count + 1, 3))
    for n in range(count + 1):
        for i in range(3):
            v[n, i] = kv[n, i]
            a[n, i] = ka[n, i]
            for j in range(3):
                v[n, i] += motion[0, i, j] * r[n, j]
                a[n, i] += motion[1, i, j] * r[n, j]
    band[:] = 0.0
    held = np.empty((3, 4))
    load = np.empty((3, 10))
    t = np.empty(3)
    t_T = np.empty((3, 3))
    R_T = np.empty((3, 3))
    body_force(r[0], 0, body, motion, v[0], a[0], profile, held)
    for i in range(3):
        res[i] = x[0, 3 + i] + held[i, 0]
        band[i, 3 + BELOW] = 1.0  # column 3 + i, row i
        for j in range(3):
            band[i, j - i + BELOW] = held[i, 1 + j]
    for e in range(count):
        body_force(r[e + 1], e + 1, body, motion, v[e + 1], a[e + 1], profile, held)
        h = elem[e, LENGTH]
        square = TAU_N * TAU_N
        for i in range(3):
            t[i] = 0.5 * (x[e, 3 + i] + x[e + 1, 3 + i] + held[i, 0])
            square += t[i] * t[i]
        q = math.sqrt(square)
        stretch = 1.0 + q * elem[e, COMPLIANCE]
        for i in range(3):
            t[i] /= q
        for i in range(3):
            for j in range(3):
                t_T[i, j] = ((1.0 if i == j else 0.0) - t[i] * t[j]) / q
                R_T[i, j] = t_T[i, j] * stretch + t[i] * t[j] * elem[e, COMPLIANCE]
        element_balance(e, r, v, a, t, elem, motion, gravity, profile, load)
        for i in range(3):
            row = 3 + 6 * e + i
            mid = BELOW - 3 - i  # band index of column 6 e in the row of the force balance
            res[row] = x[e + 1, 3 + i] + held[i, 0] - x[e, 3 + i] + load[i, 0]
            res[row + 3] = r[e + 1, i] - r[e, i] - h * t[i] * stretch
            for j in range(3):
                unit = 1.0 if i == j else 0.0
                force_T = 0.0
                for k in range(3):
                    force_T += load[i, 7 + k] * t_T[k, j]
                band[row, mid + j] = load[i, 1 + j]
                band[row, mid + 3 + j] = -unit + 0.5 * force_T
                band[row, mid + 6 + j] = load[i, 4 + j]
                band[row, mid + 9 + j] = unit + 0.5 * force_T
                band[row + 3, mid - 3 + j] = -unit
                band[row + 3, mid + j] = -0.5 * h * R_T[i, j]
                band[row + 3, mid + 3 + j] = unit
                band[row + 3, mid + 6 + j] = -0.5 * h * R_T[i, j]
            if body[e + 1, PRESENT] > 0.0:  # T just below the body depends on the body's own motion
                for j in range(3):
                    for k in range(3):
                        by_T = band[row, mid + 9 + k]
                        band[row, mid + 6 + j] += by_T * held[k, 1 + j]
                        band[row + 3, mid + 3 + j] += band[row + 3, mid + 6 + k] * held[k, 1 + j]
    for i in range(3):
        row = 3 + 6 * count + i
        res[row] = r[count, i] - top[i]
        band[row, BELOW - 3] = 1.0


@jit
def solve_band(band: Array, rhs: Array) -> bool:
    """Solve the band system in place (rhs becomes the solution) by Gauss with row pivoting; False if singular."""
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
def newton(
    x: Array, elem: Array, body: Array, motion: Array, kv: Array, ka: Array, top: Array, gravity: float, profile: Array,
    iterations: int, tolerance: float,
) -> int:
    """Solve for x in place by Newton with step halving.

    Returns:
        Iterations used, or -1 when it did not settle to `tolerance` [m, and N relative to 1 N + the tension].
    """
    size = 6 * x.shape[0]
    band = np.empty((size, WIDTH))
    res = np.empty(size)
    trial = np.empty_like(x)
    assemble(x, elem, body, motion, kv, ka, top, gravity, profile, band, res)
    norm = math.sqrt(np.sum(res * res))
    for iteration in range(iterations):
        if not math.isfinite(norm):
            return -1
        if not solve_band(band, res):
            return -1
        worst = 0.0
        for n in range(x.shape[0]):
            for i in range(6):
                change = abs(res[6 * n + i])
                worst = max(worst, change if i < 3 else change / (1.0 + abs(x[n, i])))
        if not math.isfinite(worst):
            return -1
        step = res.copy()
        scale = 1.0
        for _ in range(8):
            for n in range(x.shape[0]):
                for i in range(6):
                    trial[n, i] = x[n, i] - scale * step[6 * n + i]
            assemble(trial, elem, body, motion, kv, ka, top, gravity, profile, band, res)
            new = math.sqrt(np.sum(res * res))
            if new <= norm * (1.0 - 0.1 * scale) or (worst < 1e-3 and scale == 1.0):
                break
            scale *= 0.5
        x[:] = trial
        norm = new
        if scale == 1.0 and worst < tolerance:
            return iteration + 1
    return -1
