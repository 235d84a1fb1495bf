"""Loads on a towed line and on the bodies in it, with their derivatives; compiled.

Axes: inertial, x north, y east, z down. u = velocity relative to the water [m/s]. t = direction of the
tension vector, toward the boat; its length falls below 1 only where the line is slack.
Line (per unstretched length): drag -1/2 rho d (Cn |un| un + pi Ct |ut| ut), Cn on the diameter d, Ct on the
wetted perimeter pi d, un and ut across and along t.
Body: drag -1/2 rho A_drag |u| u; side 1/2 rho A_side |u|^2 s/h, s = horizontal u turned 90 degrees to
starboard; down 1/2 rho A_down |u| p/h, p normal to u and s, with h = (u_h^4 + H_FLOOR^4)^(1/4), so that a
body sinking straight down is no singular point.
Validity: subcritical flow, bodies fully under water.
"""

from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

H_FLOOR_MPS = 0.1
"""Horizontal speed below which a planer's lift fades [m/s]; judgement."""


def jit(function: Any) -> Any:
    """Compile with a cache on disk, without the interpreter lock and with IEEE arithmetic."""
    return numba.njit(cache=True, nogil=True, fastmath=False, error_model="numpy")(function)


@jit
def water_at(depth_m: float, profile: Array, out: Array) -> None:
    """Water velocity and its shear at a depth, linear between the profile's depths, constant beyond.

    Args:
        profile: (K, 3) depth [m], north and east velocity [m/s], depths rising.
        out: (4,) filled with north, east [m/s] and their derivatives by depth [1/s].
    """
    last = profile.shape[0] - 1
    out[2] = 0.0
    out[3] = 0.0
    if depth_m <= profile[0, 0]:
        out[0] = profile[0, 1]
        out[1] = profile[0, 2]
        return
    if depth_m >= profile[last, 0]:
        out[0] = profile[last, 1]
        out[1] = profile[last, 2]
        return
    k = 0
    while profile[k + 1, 0] < depth_m:
        k += 1
    step = profile[k + 1, 0] - profile[k, 0]
    out[2] = (profile[k + 1, 1] - profile[k, 1]) / step
    out[3] = (profile[k + 1, 2] - profile[k, 2]) / step
    out[0] = profile[k, 1] + out[2] * (depth_m - profile[k, 0])
    out[1] = profile[k, 2] + out[3] * (depth_m - profile[k, 0])


@jit
def line_drag(u: Array, t: Array, kn: float, kt: float, f: Array, f_u: Array, f_t: Array) -> None:
    """Drag per length of line and its derivatives.

    Args:
        u, t: (3,) velocity through the water [m/s], direction of the tension.
        kn, kt: 1/2 rho d Cn and 1/2 rho pi d Ct [kg/m2].
        f, f_u, f_t: filled with force [N/m] (3,) and its derivatives by u and by t (3, 3).
    """
    along = u[0] * t[0] + u[1] * t[1] + u[2] * t[2]
    nx = u[0] - along * t[0]
    ny = u[1] - along * t[1]
    nz = u[2] - along * t[2]
    n = (nx, ny, nz)
    speed = math.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    slip = abs(along)
    # d(|n| n)/dn; n depends on u through I - t t', on t through -(along I + t u')
    for i in range(3):
        f[i] = -kn * speed * n[i] - kt * slip * along * t[i]
        n_t = n[i] * (nx * t[0] + ny * t[1] + nz * t[2]) / speed  # (n n'/|n|) t, zero for a taut line
        for j in range(3):
            unit = 1.0 if i == j else 0.0
            a_ij = speed * unit + n[i] * n[j] / speed
            a_t = speed * t[i] + n_t
            f_u[i, j] = -kn * (a_ij - a_t * t[j]) - 2.0 * kt * slip * t[i] * t[j]
            f_t[i, j] = kn * (along * a_ij + a_t * u[j]) - kt * slip * (2.0 * t[i] * u[j] + along * unit)


@jit
def body_drag(u: Array, k_drag: float, k_down: float, k_side: float, f: Array, f_u: Array) -> None:
    """Force of the water on a body and its derivative.

    Args:
        u: (3,) velocity through the water [m/s].
        k_drag, k_down, k_side: 1/2 rho times the drag, down and side area [kg/m].
        f, f_u: filled with force [N] (3,) and its derivative by u (3, 3).
    """
    square = u[0] * u[0] + u[1] * u[1] + u[2] * u[2]
    speed = math.sqrt(square) + 1e-12
    flat = u[0] * u[0] + u[1] * u[1]
    h = (flat * flat + H_FLOOR_MPS**4) ** 0.25
    p = (u[0] * -u[2], u[1] * -u[2], flat)  # z down: the vertical motion changes sign
    s = (-u[1], u[0], 0.0)
    p_u = ((-u[2], 0.0, -u[0]), (0.0, -u[2], -u[1]), (2.0 * u[0], 2.0 * u[1], 0.0))
    s_u = ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 0.0))
    h_u = (flat * u[0] / h**3, flat * u[1] / h**3, 0.0)
    for i in range(3):
        f[i] = -k_drag * speed * u[i] + (k_down * speed * p[i] + k_side * square * s[i]) / h
        for j in range(3):
            unit = 1.0 if i == j else 0.0
            drag = speed * unit + u[i] * u[j] / speed
            down = (u[j] / speed * p[i] + speed * p_u[i][j] - speed * p[i] * h_u[j] / h) / h
            side = (2.0 * u[j] * s[i] + square * s_u[i][j] - square * s[i] * h_u[j] / h) / h
            f_u[i, j] = -k_drag * drag + k_down * down + k_side * side
