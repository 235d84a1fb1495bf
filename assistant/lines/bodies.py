"""Forces on a body tied into a line: weight, drag, and a planer's down and side pull.

v = velocity of the body minus velocity of the water at its depth; x north, y east, z down; v_h its horizontal part.
    drag = -1/2 rho A_drag |v| v
    side = 1/2 rho A_side |v|^2 s/h,   s = v_h turned 90 degrees to starboard (A_side < 0: to port of the body's path)
    down = 1/2 rho A_down |v| (-v_x v_z, -v_y v_z, v_h^2)/h,   h = (v_h^4 + (0.1 m/s)^4)^(1/4)
(down is normal to v in the vertical plane through it, so it does no work).
The magnitude is 1/2 rho A |v|^2 with headway on and everything stays smooth when a disc sinks straight down.
Symbols: kd, kn, ks = 1/2 rho A_drag, A_down, A_side [kg/m].
Source of the plate's areas: Pelletier & Mueller (aspect ratio 1 plates), see configs/bodies/.
Valid: fully wet bodies with headway; below a quarter of its pull a planer no longer digs (said by the caller).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout

Array = NDArray[np.float64]

_at = layout.place
_LANES, _NODE = layout.ULANES, layout.NODE
_1, _2, _3, _4, _5, _6, _7, _8 = (_at(k) for k in range(1, 9))
_MASS, _WET = _at(layout.B_MASS), _at(layout.B_WET)
_DRAG, _DOWN, _SIDE = _at(layout.B_DRAG), _at(layout.B_DOWN), _at(layout.B_SIDE)
_V, _V1, _V2, _W, _DW = (_at(k) for k in (layout.VX, layout.VX1, layout.VX2, layout.WX, layout.DWX))
_CARRY, _RHS = _at(layout.CARRY), _at(layout.RHS)

_inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)

HEADWAY4 = 0.1**4  # (m/s)^4, smooths the planer's law when it sinks


@_inline
def body_force(
    kd: float, kn: float, ks: float, vx: float, vy: float, vz: float
) -> tuple[float, float, float]:
    """Hydrodynamic force [N] (north, east, down) of a body moving at v [m/s] through the water.

    Args:
        kd: 1/2 rho A_drag [kg/m]; kn, ks likewise of the down and side areas.
        vx, vy, vz: north, east, down [m/s].
    """
    vh2 = vx * vx + vy * vy
    m = math.sqrt(vh2 + vz * vz)
    h = math.sqrt(math.sqrt(vh2 * vh2 + HEADWAY4))
    down = kn * m / h
    side = ks * m * m / h
    return (
        -kd * m * vx - down * vx * vz - side * vy,
        -kd * m * vy - down * vy * vz + side * vx,
        -kd * m * vz + down * vh2,
    )


@_inline
def body_damping(
    kd: float, kn: float, ks: float, vx: float, vy: float, vz: float
) -> tuple[float, float, float, float, float, float, float, float, float]:
    """Minus the derivative of body_force by v: 3x3, row by row [N s/m]."""
    vh2 = vx * vx + vy * vy
    m = math.sqrt(vh2 + vz * vz + 1e-12)
    r = 1.0 / m
    h2 = math.sqrt(vh2 * vh2 + HEADWAY4)
    h = math.sqrt(h2)
    # dh/dv = vh2/h^3 (vx, vy, 0)
    hx = vh2 * vx / (h2 * h2)  # dh/dvx / h
    hy = vh2 * vy / (h2 * h2)
    a = kn * m / h
    b = ks * m * m / h
    # numerators of down: (-vx vz, -vy vz, vh2); of side: (-vy, vx, 0)
    ux, uy, uz = vx * r * r, vy * r * r, vz * r * r  # d ln m / dv
    dnx, dny, dnz = -a * vx * vz, -a * vy * vz, a * vh2
    sx, sy = -b * vy, b * vx
    return (
        kd * (m + vx * vx * r) - dnx * (ux - hx) + a * vz - sx * (2 * ux - hx),
        kd * vx * vy * r - dnx * (uy - hy) - sx * (2 * uy - hy) + b,
        kd * vx * vz * r - dnx * uz + a * vx - sx * 2 * uz,
        kd * vx * vy * r - dny * (ux - hx) - sy * (2 * ux - hx) - b,
        kd * (m + vy * vy * r) - dny * (uy - hy) + a * vz - sy * (2 * uy - hy),
        kd * vy * vz * r - dny * uz + a * vy - sy * 2 * uz,
        kd * vx * vz * r - dnz * (ux - hx) - 2 * a * vx,
        kd * vy * vz * r - dnz * (uy - hy) - 2 * a * vy,
        kd * (m + vz * vz * r) - dnz * uz,
    )


@njit(cache=True, nogil=True, error_model="numpy")
def add_bodies(w: Array, node: int, c0: float, b1: float, b2: float) -> None:
    """Add the bodies at a node of all lanes to the node's diagonal block (CARRY) and right side (RHS)."""
    base = np.uint64(node) * _NODE
    for j in range(_LANES):
        p = base + j
        kd, kn, ks = w[p + _DRAG], w[p + _DOWN], w[p + _SIDE]
        vx, vy, vz = w[p + _V] - w[p + _W], w[p + _V + _1] - w[p + _W + _1], w[p + _V + _2]
        fx, fy, fz = body_force(kd, kn, ks, vx, vy, vz)
        xx, xy, xz, yx, yy, yz, zx, zy, zz = body_damping(kd, kn, ks, vx, vy, vz)
        sx, sy = w[p + _DW], w[p + _DW + _1]
        mass = w[p + _MASS]
        inertia = mass * c0 * c0
        w[p + _CARRY] += c0 * xx + inertia
        w[p + _CARRY + _1] += c0 * xy
        w[p + _CARRY + _2] += c0 * xz - xx * sx - xy * sy
        w[p + _CARRY + _3] += c0 * yx
        w[p + _CARRY + _4] += c0 * yy + inertia
        w[p + _CARRY + _5] += c0 * yz - yx * sx - yy * sy
        w[p + _CARRY + _6] += c0 * zx
        w[p + _CARRY + _7] += c0 * zy
        w[p + _CARRY + _8] += c0 * zz + inertia - zx * sx - zy * sy
        ax = c0 * w[p + _V] + b1 * w[p + _V1] + b2 * w[p + _V2]
        ay = c0 * w[p + _V + _1] + b1 * w[p + _V1 + _1] + b2 * w[p + _V2 + _1]
        az = c0 * w[p + _V + _2] + b1 * w[p + _V1 + _2] + b2 * w[p + _V2 + _2]
        w[p + _RHS] += fx - mass * ax
        w[p + _RHS + _1] += fy - mass * ay
        w[p + _RHS + _2] += fz + w[p + _WET] - mass * az
