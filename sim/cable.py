"""Box scheme for one towed line: residual and Jacobian; compiled.

Reference: the centred box scheme for cables of Ablow & Schechter 1983 (Ocean Engng 10:443), here in position
r and tension VECTOR T instead of angles, so that no attitude is singular.
State: x (N+1, 6) = r [m], T [N] at nodes, node 0 the free end, node N the tow point; z down; T points to the
boat. Equations, centred on each element of unstretched length h (bars are means of its two ends):
    T_hi + B_hi - T_lo + h [f - m a - rho A (a - t (t.a))] = 0       f = weight and drag at the bar values
    r_hi - r_lo - h t (1 + q/EA) = 0,   t = T/q, q = sqrt(|T|^2 + tau^2)    slack shortens smoothly
B = external force minus inertia of the body at a node, so T just below a body is T + B. Ends: T_0 + B_0 = 0,
r_N given. Motion enters as v = Av r + kv, a = Aa r + ka: any implicit time integrator, or a rotating steady
state, is a choice of these (see march.py).
The part of the top segment above the surface has its weight in air, no drag and no added mass; an element
that crosses the surface has them in proportion.
Errors: second order in h; no bending stiffness; the bottom is not there.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sim.forces import Array, body_drag, jit, line_drag, water_at

# columns of the element table (N, 8) and of the body table (N+1, 6)
LENGTH, KN, KT, MASS, DISPLACED, COMPLIANCE, PAYOUT, CAN_BE_DRY = range(8)
WET_WEIGHT, INERTIA, K_DRAG, K_DOWN, K_SIDE, PRESENT = range(6)

BELOW = 8  # sub-diagonals; partial pivoting doubles the 8 above
WIDTH = 3 * BELOW + 1


@jit
def wet_share(z_lo: float, z_hi: float, can_be_dry: bool, out: Array) -> None:
    """Share of an element under water and its derivatives by the depths of its ends, into out (3,)."""
    out[0] = 1.0 if not can_be_dry or z_lo + z_hi > 0.0 else 0.0
    out[1] = 0.0
    out[2] = 0.0
    if can_be_dry and z_lo * z_hi < 0.0:
        span = abs(z_lo - z_hi)
        out[0] = max(z_lo, z_hi) / span
        out[1] = (-z_hi if z_lo > 0.0 else z_hi) / (span * span)
        out[2] = (z_lo if z_lo > 0.0 else -z_lo) / (span * span)


@jit
def body_force(r: Array, body: Array, by_r: Array, v: Array, a: Array, profile: Array, out: Array) -> None:
    """External force minus inertia of the body at one node, into out (3, 4) = force | derivative by r."""
    out[:] = 0.0
    if body[PRESENT] == 0.0:
        return
    water = np.empty(4)
    u = np.empty(3)
    f = np.empty(3)
    f_u = np.empty((3, 3))
    water_at(r[2], profile, water)
    u[0] = v[0] - water[0]
    u[1] = v[1] - water[1]
    u[2] = v[2]
    body_drag(u, body[K_DRAG], body[K_DOWN], body[K_SIDE], f, f_u)
    inertia = body[INERTIA]
    for i in range(3):
        out[i, 0] = f[i] - inertia * a[i]
        for j in range(3):
            out[i, 1 + j] = -inertia * by_r[1, i, j]
            for k in range(3):
                out[i, 1 + j] += f_u[i, k] * by_r[0, k, j]
        out[i, 3] -= f_u[i, 0] * water[2] + f_u[i, 1] * water[3]
    out[2, 0] += body[WET_WEIGHT]


@jit
def element_balance(
    r: Array,
    v: Array,
    a: Array,
    t: Array,
    elem: Array,
    by_r: Array,
    gravity: float,
    profile: Array,
    out: Array,
) -> None:
    """Load minus inertia of one element [N] and derivatives, into out (3, 10) = value | by r_lo | r_hi | t.

    r, v, a are of its two ends (2, 3), lower end first; t (3,) the direction of its tension.
    """
    water = np.empty(4)
    share = np.empty(3)
    u = np.empty(3)
    am = np.empty(3)
    f = np.empty(3)
    f_u = np.empty((3, 3))
    f_t = np.empty((3, 3))
    wet_share(r[0, 2], r[1, 2], elem[CAN_BE_DRY] > 0.0, share)
    water_at(0.5 * (r[0, 2] + r[1, 2]), profile, water)
    slide = elem[PAYOUT]
    for i in range(3):
        u[i] = 0.5 * (v[0, i] + v[1, i]) - slide * t[i]
        am[i] = 0.5 * (a[0, i] + a[1, i])
    u[0] -= water[0]
    u[1] -= water[1]
    line_drag(u, t, elem[KN], elem[KT], f, f_u, f_t)
    h, mass, displaced, wet = elem[LENGTH], elem[MASS], elem[DISPLACED], share[0]
    ta = t[0] * am[0] + t[1] * am[1] + t[2] * am[2]
    for i in range(3):
        weight = gravity if i == 2 else 0.0
        by_water = f[i] - displaced * (weight + am[i] - t[i] * ta)
        out[i, 0] = h * (mass * (weight - am[i]) + wet * by_water)
        for j in range(3):
            unit = 1.0 if i == j else 0.0
            change = 0.0
            for k in range(3):
                ik = 1.0 if i == k else 0.0
                inertia = mass * ik + wet * displaced * (ik - t[i] * t[k])
                change += wet * f_u[i, k] * by_r[0, k, j] - inertia * by_r[1, k, j]
            if j == 2:
                change -= wet * (f_u[i, 0] * water[2] + f_u[i, 1] * water[3])
            out[i, 1 + j] = 0.5 * h * change
            out[i, 4 + j] = 0.5 * h * change
            out[i, 7 + j] = h * wet * (f_t[i, j] - slide * f_u[i, j] + displaced * (ta * unit + t[i] * am[j]))
        out[i, 3] += h * share[1] * by_water
        out[i, 6] += h * share[2] * by_water


@jit
def element_rows(
    band: Array, row: int, h: float, stretch: float, compliance: float, q: float, t: Array, load: Array
) -> None:
    """Write the derivatives of one element's force balance (3 rows from `row`) and length (3 more) into the
    band."""
    for i in range(3):
        mid = BELOW - 3 - i  # band index of the element's first column in row + i; one row down it is 3 less
        for j in range(3):
            unit = 1.0 if i == j else 0.0
            force_T = 0.0
            for k in range(3):
                force_T += load[i, 7 + k] * ((1.0 if k == j else 0.0) - t[k] * t[j]) / q
            place_T = (unit - t[i] * t[j]) * stretch / q + t[i] * t[j] * compliance
            band[row + i, mid + j] = load[i, 1 + j]
            band[row + i, mid + 3 + j] = -unit + 0.5 * force_T
            band[row + i, mid + 6 + j] = load[i, 4 + j]
            band[row + i, mid + 9 + j] = unit + 0.5 * force_T
            band[row + 3 + i, mid - 3 + j] = -unit
            band[row + 3 + i, mid + j] = -0.5 * h * place_T
            band[row + 3 + i, mid + 3 + j] = unit
            band[row + 3 + i, mid + 6 + j] = -0.5 * h * place_T


@jit
def body_rows(band: Array, row: int, held: Array) -> None:
    """Add what the body at an element's upper end does: the tension just below it depends on its motion."""
    for i in range(3):
        mid = BELOW - 3 - i
        for j in range(3):
            for k in range(3):
                band[row + i, mid + 6 + j] += band[row + i, mid + 9 + k] * held[k, 1 + j]
                band[row + 3 + i, mid + 3 + j] += band[row + 3 + i, mid + 6 + k] * held[k, 1 + j]


@jit
def assemble(x: Array, line: Any, motion: Any, top: Array, tau: float, band: Array, res: Array) -> None:
    """Fill the residual and the band Jacobian.

    Args:
        x: (N+1, 6) state.
        line: (elem (N, 8), body (N+1, 6), gravity [m/s2], water profile): tables by the column names above.
        motion: (Av and Aa (2, 3, 3) [1/s], [1/s2], kv (N+1, 3), ka (N+1, 3)).
        top: (3,) tow point [m].
        tau: tension below which line counts as slack [N].
        band: (6N+6, WIDTH) filled.
        res: (6N+6,) filled.
    """
    elem, body, gravity, profile = line
    by_r, kv, ka = motion
    count = elem.shape[0]
    r = x[:, :3]
    v = kv.copy()
    a = ka.copy()
    for n in range(count + 1):
        for i in range(3):
            for j in range(3):
                v[n, i] += by_r[0, i, j] * r[n, j]
                a[n, i] += by_r[1, i, j] * r[n, j]
    band[:] = 0.0
    held = np.empty((3, 4))
    load = np.empty((3, 10))
    t = np.empty(3)
    body_force(r[0], body[0], by_r, v[0], a[0], profile, held)
    for i in range(3):
        res[i] = x[0, 3 + i] + held[i, 0]
        band[i, BELOW + 3] = 1.0
        for j in range(3):
            band[i, j - i + BELOW] = held[i, 1 + j]
    for e in range(count):
        body_force(r[e + 1], body[e + 1], by_r, v[e + 1], a[e + 1], profile, held)
        h = elem[e, LENGTH]
        square = tau * tau
        for i in range(3):
            t[i] = 0.5 * (x[e, 3 + i] + x[e + 1, 3 + i] + held[i, 0])
            square += t[i] * t[i]
        q = math.sqrt(square)
        stretch = 1.0 + q * elem[e, COMPLIANCE]
        for i in range(3):
            t[i] /= q
        element_balance(r[e : e + 2], v[e : e + 2], a[e : e + 2], t, elem[e], by_r, gravity, profile, load)
        row = 3 + 6 * e
        for i in range(3):
            res[row + i] = x[e + 1, 3 + i] + held[i, 0] - x[e, 3 + i] + load[i, 0]
            res[row + 3 + i] = r[e + 1, i] - r[e, i] - h * t[i] * stretch
        element_rows(band, row, h, stretch, elem[e, COMPLIANCE], q, t, load)
        if body[e + 1, PRESENT] > 0.0:
            body_rows(band, row, held)
    for i in range(3):
        res[3 + 6 * count + i] = r[count, i] - top[i]
        band[3 + 6 * count + i, BELOW - 3] = 1.0
