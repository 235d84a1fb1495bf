"""One segment of eight lines: forces, their full Jacobian, and elimination of its lower node. The hot loop.

Reference: cross-flow principle (Hoerner 1965, ch. 3: normal and tangential drag independent); lumped mass with tension
as an unknown.
e = unit vector from the upper to the lower node, u = velocity through the water at the wet centroid, p = u.e,
n = u - p e:
    F = -[kn |n| n + kt |p'| p' e] l wet + weight,   p' = p + speed of the line's material along the segment
    D = -dF/du = l wet [kn (|n| (I - ee') + n n'/|n|) + 2 kt |p'| ee']
    dF/dr_lower through e = (l wet / |r|)
        [(kn |n| - 2 kt |p'|) e n' + (kn |n| p - kt |p'| p') (I - ee') + kn p/|n| n n']
    tension: |r| = l (1 + T/EA - tau/T), so dT = (miss + e.(dr_lower - dr_upper)) / kappa
Left out of the Jacobian, being small: how added mass turns with the line, how the wet centroid moves.
Indices are unsigned: with signed ones the compiler must allow for negative indices and does not vectorise (3x slower).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.small import (
    Mat,
    Sym,
    Vec,
    add_dyad,
    along_across,
    apply,
    combine,
    dot,
    dyad,
    full,
    inverse,
    less_last_column,
    mix,
    norm,
    times,
)

Array = NDArray[np.float64]

TAU_N = 1e-5  # keeps tension positive; stretch error tau/T: 1e-5 at 1 N
SURFACE_M = 1e-3  # half depth over which a segment passes from dry to wet

_inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)


_at = layout.place
_LANES, _NODE = layout.ULANES, layout.NODE
_1, _2, _3, _4, _5, _6, _7, _8 = (_at(k) for k in range(1, 9))
_X, _V, _V1, _V2 = _at(layout.X), _at(layout.VX), _at(layout.VX1), _at(layout.VX2)
_T, _LENGTH, _COMPLIANCE, _PAYOUT = (
    _at(layout.T),
    _at(layout.LENGTH),
    _at(layout.COMPLIANCE),
    _at(layout.PAYOUT),
)
_KN, _KT, _WET, _DRY = _at(layout.KN), _at(layout.KT), _at(layout.WET), _at(layout.DRY)
_MASS, _ADDED = _at(layout.MASS), _at(layout.ADDED)
_W, _DW = _at(layout.WX), _at(layout.DWX)
_CARRY, _RHS, _GAIN, _OFFSET = _at(layout.CARRY), _at(layout.RHS), _at(layout.GAIN), _at(layout.OFFSET)


@_inline
def _vec(w: Array, p: np.uint64) -> Vec:
    return (w[p], w[p + _1], w[p + _2])


@_inline
def _mat(w: Array, p: np.uint64) -> Mat:
    return (w[p], w[p + _1], w[p + _2], w[p + _3], w[p + _4], w[p + _5], w[p + _6], w[p + _7], w[p + _8])


@_inline
def _put_vec(w: Array, p: np.uint64, v: Vec) -> None:
    w[p], w[p + _1], w[p + _2] = v


@_inline
def _put_mat(w: Array, p: np.uint64, m: Mat) -> None:
    w[p], w[p + _1], w[p + _2] = m[0], m[1], m[2]
    w[p + _3], w[p + _4], w[p + _5] = m[3], m[4], m[5]
    w[p + _6], w[p + _7], w[p + _8] = m[6], m[7], m[8]


@_inline
def wetness(upper_m: float, lower_m: float) -> tuple[float, float, float, float, float]:
    """How wet a segment is between depths [m]: wet share, wet centroid and dry centroid (0 = upper end),
    change of the share with the lower and with the upper depth [1/m].
    """
    drop = lower_m - upper_m
    fall = drop if drop > 0.0 else -drop
    deepest = lower_m if drop > 0.0 else upper_m
    room = fall + 2.0 * SURFACE_M
    raw = (deepest + SURFACE_M) / room
    partly = 1.0 / room if (raw > 0.0 and raw < 1.0) else 0.0
    low = 0.0 if raw < 0.0 else raw
    wet = 1.0 if low > 1.0 else low
    lean = drop / (fall + SURFACE_M)
    deeper = (1.0 - wet) * partly
    shallower = wet * partly
    by_lower = deeper if drop > 0.0 else shallower
    by_upper = shallower if drop > 0.0 else deeper
    return (wet, 0.5 + 0.5 * lean * (1.0 - wet), 0.5 - 0.5 * lean * wet, by_lower, by_upper)


@_inline
def _water_speed(w: Array, p: np.uint64) -> Vec:
    return (w[p + _V] - w[p + _W], w[p + _V + _1] - w[p + _W + _1], w[p + _V + _2])


@_inline
def _acceleration(w: Array, p: np.uint64, c0: float, b1: float, b2: float) -> Vec:
    return (
        c0 * w[p + _V] + b1 * w[p + _V1] + b2 * w[p + _V2],
        c0 * w[p + _V + _1] + b1 * w[p + _V1 + _1] + b2 * w[p + _V2 + _1],
        c0 * w[p + _V + _2] + b1 * w[p + _V1 + _2] + b2 * w[p + _V2 + _2],
    )


@_inline
def _drag(kn: float, kt: float, u: Vec, e: Vec, payout: float, span: float) -> tuple[Vec, Sym, Mat]:
    """Drag of a segment [N], -dF/du and dF/dr_lower through its direction. kn, kt in kg/m (times length)."""
    along = dot(u, e)
    n = combine(1.0, u, -along, e)
    across = norm(n, 1e-12)
    slide = along + payout
    slide_abs = slide if slide > 0.0 else -slide
    d1 = kn * across
    d2 = kn / across
    d3 = 2.0 * kt * slide_abs
    force = combine(-d1, n, -kt * slide_abs * slide, e)
    damping = add_dyad(along_across(d3, d1, e), d2, n)
    r = 1.0 / span
    turned = full(
        add_dyad(along_across(0.0, (d1 * along - kt * slide_abs * slide) * r, e), d2 * along * r, n)
    )
    return (force, damping, mix(1.0, dyad((d1 - d3) * r, e, n), 1.0, turned))


@_inline
def _resistance(
    w: Array,
    end: np.uint64,
    share: float,
    c0: float,
    wet: float,
    drag: Mat,
    turn: float,
    turning: Mat,
    wet_by: float,
    soaked: Vec,
) -> Mat:
    """-d(force)/d(position of one end): by velocity, by direction, by the current's shear, by getting wet."""
    shear = apply(drag, (w[end + _DW], w[end + _DW + _1], 0.0))
    return less_last_column(
        mix(share * c0 * wet, drag, turn, turning), combine(share * wet, shear, wet_by, soaked)
    )


@njit(cache=True, nogil=True, error_model="numpy")
def eliminate_segment(w: Array, segment: int, c0: float, b1: float, b2: float) -> None:
    """Assemble segment `segment` and eliminate its lower node, all lanes.

    Args:
        w: flat state, see layout.py; CARRY and RHS of the lower node hold what is below it.
        c0, b1, b2: dv/dr and the acceleration's coefficients of the step, see kernel.py.
    """
    lo = np.uint64(segment) * _NODE
    for j in range(_LANES):
        p = lo + j
        q = p - _NODE
        length = w[p + _LENGTH]
        # geometry and how wet
        reach = combine(1.0, _vec(w, p + _X), -1.0, _vec(w, q + _X))
        span = norm(reach, 1e-18)
        e = combine(1.0 / span, reach, 0.0, reach)
        wet, at, at_dry, wet_by_lower, wet_by_upper = wetness(w[q + _X + _2], w[p + _X + _2])
        ta = 1.0 - at
        # drag and weight
        u = combine(at, _water_speed(w, p), ta, _water_speed(w, q))
        force, damping, turning = _drag(w[p + _KN] * length, w[p + _KT] * length, u, e, w[p + _PAYOUT], span)
        soaked = (force[0], force[1], force[2] + length * (w[p + _WET] - w[p + _DRY]))  # dF/d(wet share)
        drag = full(damping)
        sink = length * wet * w[p + _WET]
        heavy = length * (1.0 - wet) * w[p + _DRY]
        by_lower = _resistance(w, p, at, c0, wet, drag, -wet, turning, wet_by_lower, soaked)
        by_upper = _resistance(w, q, ta, c0, wet, drag, wet, turning, wet_by_upper, soaked)
        # tension and inertia
        tension = w[p + _T]
        kappa = length * (w[p + _COMPLIANCE] + TAU_N / (tension * tension))
        pull = tension + (span - length * (1.0 + tension * w[p + _COMPLIANCE] - TAU_N / tension)) / kappa
        stiff = full(along_across(1.0 / kappa, tension / span, e))
        half = 0.5 * length * w[p + _MASS]
        added = 0.5 * length * w[p + _ADDED] * wet
        inertia = full(along_across(half, half + added, e))
        acc_b = apply(inertia, _acceleration(w, p, c0, b1, b2))
        acc_a = apply(inertia, _acceleration(w, q, c0, b1, b2))
        held = mix(1.0, stiff, c0 * c0, inertia)
        # lower node: its block is complete; invert, keep gain and offset
        block = mix(1.0, _mat(w, p + _CARRY), 1.0, mix(1.0, held, at, by_lower))
        inv = inverse(block)
        gain = times(inv, mix(-1.0, stiff, at, by_upper))
        load = combine(-pull, e, at * wet, force)
        weight = at * sink + at_dry * heavy
        right = combine(1.0, _vec(w, p + _RHS), 1.0, combine(1.0, load, -1.0, acc_b))
        offset = apply(inv, (right[0], right[1], right[2] + weight))
        _put_mat(w, p + _GAIN, gain)
        _put_vec(w, p + _OFFSET, offset)
        # upper node: this segment's share, less the Schur complement of the lower node
        back = mix(-1.0, stiff, ta, by_lower)
        share = mix(1.0, mix(1.0, held, ta, by_upper), -1.0, times(back, gain))
        _put_mat(w, q + _CARRY, mix(1.0, _mat(w, q + _CARRY), 1.0, share))
        load = combine(pull, e, ta * wet, force)
        weight = ta * sink + (1.0 - at_dry) * heavy
        right = combine(1.0, combine(1.0, load, -1.0, acc_a), -1.0, apply(back, offset))
        _put_vec(w, q + _RHS, combine(1.0, _vec(w, q + _RHS), 1.0, (right[0], right[1], right[2] + weight)))


@njit(cache=True, nogil=True, error_model="numpy")
def pull_at_tip(w: Array, out: Array) -> None:
    """Line's force at the rod tip [N] by lane: tension of segment 1 and the upper half of its drag and weight."""
    for j in range(_LANES):
        p = _NODE + j
        q = j + np.uint64(0)
        length = w[p + _LENGTH]
        reach = combine(1.0, _vec(w, p + _X), -1.0, _vec(w, q + _X))
        span = norm(reach, 1e-18)
        e = combine(1.0 / span, reach, 0.0, reach)
        wet, at, at_dry, _, _ = wetness(w[q + _X + _2], w[p + _X + _2])
        u = combine(at, _water_speed(w, p), 1.0 - at, _water_speed(w, q))
        force, _, _ = _drag(w[p + _KN] * length, w[p + _KT] * length, u, e, w[p + _PAYOUT], span)
        weight = length * ((1.0 - at) * wet * w[p + _WET] + (1.0 - at_dry) * (1.0 - wet) * w[p + _DRY])
        held = combine(w[p + _T], e, (1.0 - at) * wet, force)
        out[j] = norm((held[0], held[1], held[2] + weight), 0.0)
