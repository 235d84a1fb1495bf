"""Dynamic kernel: eight towed lines marched through time together, compiled.

Reference: lumped-mass line with tension as an unknown (mixed formulation); drag by the cross-flow principle
(Hoerner 1965, ch. 3: normal and tangential parts independent), see segment.py.
State: positions r_i of nodes 1..N (node 0 = rod tip, prescribed), tensions T_i of segments 1..N.
Axes: inertial frame that drifts with the surface layer; x north, y east, z down.
Equations, e_i the unit vector from node i-1 to node i:
    M_i a_i = T_(i+1) e_(i+1) - T_i e_i + F_i
    |r_i - r_(i-1)| = l_i (1 + T_i/EA - tau/T_i),  tau = 1e-5 N keeps T positive and slack smooth
    F_i = half of both segments' forces (drag, weight in water, weight in air of a dry part) and the body's (bodies.py)
    M_i = half of both segments' mass, added mass rho pi d^2/4 across the line where wet, the body's mass
Integrator: BDF2, see bdf2.py (backward Euler on the first step and after a discontinuity; a step in parts begins with
the formula for unequal steps and leaves its own start as the past, as if made whole), Newton on positions and tensions
together, T eliminated per segment, 3x3 block-tridiagonal elimination from the lure up, fused with assembly.
Line that runs out or in: all segments of the main line share its length; the material moves along them at PAYOUT.
Valid: no bending stiffness, no bottom contact, current constant in time; a folded line is flagged by the caller.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines import layout
from assistant.lines.bdf2 import coefficients, past_from, predict, shift, velocities
from assistant.lines.bodies import add_bodies
from assistant.lines.segment import TAU_N, eliminate_segment

Array = NDArray[np.float64]
Flags = NDArray[np.uint8]

NEWTON_MAX = 12
RESCUE_MAX = 5  # 4**5 = 1024 substeps

_compiled = njit(cache=True, nogil=True, error_model="numpy")
_at = layout.place
_LANES, _NODE = layout.ULANES, layout.NODE
_1, _2, _3, _4, _5, _6, _7, _8 = (_at(k) for k in range(1, 9))
_VECTOR = np.uint64(3 * layout.LANES)  # three fields side by side
_X = _at(layout.X)
_V, _T = _at(layout.VX), _at(layout.T)
_LENGTH, _COMPLIANCE, _PAYOUT = _at(layout.LENGTH), _at(layout.COMPLIANCE), _at(layout.PAYOUT)
_W, _DW, _TURN = _at(layout.WX), _at(layout.DWX), _at(layout.TURN)
_CARRY, _RHS, _GAIN, _OFFSET = _at(layout.CARRY), _at(layout.RHS), _at(layout.GAIN), _at(layout.OFFSET)
_MOVE_MISS = np.uint64(4 * layout.LANES)  # OFFSET and the VX after it
_SUMS = np.uint64(12 * layout.LANES)  # CARRY and RHS


@_compiled
def _copy(source: Array, target: Array) -> None:
    """target[:] = source; written out, because the slice form compiles its error messages too (4 s)."""
    for k in range(source.shape[0]):
        target[k] = source[k]


@_compiled
def _take_over(source: Array, target: Array, nodes: int) -> None:
    """All that lasts from step to step, node by node; what is worked out anew in each stays as it is."""
    for i in range(nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_CARRY):
            target[b + j] = source[b + j]
        for j in range(_LANES):
            target[b + _TURN + j] = source[b + _TURN + j]


@_compiled
def current_at(profile: Array, z: float) -> tuple[float, float, float, float]:
    """Current north, east [m/s] and its change with depth [1/s] at depth z [m]."""
    rows = profile.shape[0]
    if z <= profile[0, 0]:
        return profile[0, 1], profile[0, 2], 0.0, 0.0
    if z >= profile[rows - 1, 0]:
        return profile[rows - 1, 1], profile[rows - 1, 2], 0.0, 0.0
    k = 1
    while profile[k, 0] < z:
        k += 1
    step = profile[k, 0] - profile[k - 1, 0]
    dn = (profile[k, 1] - profile[k - 1, 1]) / step
    de = (profile[k, 2] - profile[k - 1, 2]) / step
    up = z - profile[k - 1, 0]
    return profile[k - 1, 1] + dn * up, profile[k - 1, 2] + de * up, dn, de


@_compiled
def _currents(w: Array, nodes: int, profile: Array) -> None:
    """Current and its slope at every node, turned and scaled by each lane's TURN."""
    for i in range(nodes + 1):
        b = np.uint64(i) * _NODE
        for j in range(_LANES):
            p = b + j
            north, east, dn, de = current_at(profile, w[p + _X + _2])
            c, s = w[j + _TURN], w[j + _NODE + _TURN]
            w[p + _W] = c * north - s * east
            w[p + _W + _1] = s * north + c * east
            w[p + _DW] = c * dn - s * de
            w[p + _DW + _1] = s * dn + c * de


@_compiled
def _correct(w: Array, nodes: int) -> float:
    """Back-substitute from the rod tip down, apply the Newton step, return the largest move or misfit [m] (NaN if any).

    The move of each node is left in its OFFSET; what its segment was too long before the move, in the VX next to it.
    """
    for j in range(_VECTOR):
        w[j + _OFFSET] = 0.0
    for i in range(1, nodes + 1):
        lo = np.uint64(i) * _NODE
        for j in range(_LANES):
            p = lo + j
            q = p - _NODE
            ax, ay, az = w[q + _OFFSET], w[q + _OFFSET + _1], w[q + _OFFSET + _2]
            mx = w[p + _OFFSET] - (w[p + _GAIN] * ax + w[p + _GAIN + _1] * ay + w[p + _GAIN + _2] * az)
            my = w[p + _OFFSET + _1] - (
                w[p + _GAIN + _3] * ax + w[p + _GAIN + _4] * ay + w[p + _GAIN + _5] * az
            )
            mz = w[p + _OFFSET + _2] - (
                w[p + _GAIN + _6] * ax + w[p + _GAIN + _7] * ay + w[p + _GAIN + _8] * az
            )
            # the segment as it was before the move; its upper node has moved already
            dx = w[p + _X] - (w[q + _X] - ax)
            dy = w[p + _X + _1] - (w[q + _X + _1] - ay)
            dz = w[p + _X + _2] - (w[q + _X + _2] - az)
            span = math.sqrt(dx * dx + dy * dy + dz * dz + 1e-18)
            tension = w[p + _T]
            length = w[p + _LENGTH]
            compliance = w[p + _COMPLIANCE]
            kappa = length * (compliance + TAU_N / (tension * tension))
            miss = span - length * (1.0 + tension * compliance - TAU_N / tension)
            new = tension + (miss + (dx * (mx - ax) + dy * (my - ay) + dz * (mz - az)) / span) / kappa
            least = 0.2 * tension
            w[p + _T] = new if new > least else least
            w[p + _X] += mx
            w[p + _X + _1] += my
            w[p + _X + _2] += mz
            w[p + _OFFSET], w[p + _OFFSET + _1], w[p + _OFFSET + _2] = mx, my, mz
            w[p + _V] = miss
    worst = 0.0
    for i in range(1, nodes + 1):
        lo = np.uint64(i) * _NODE + _OFFSET
        for j in range(_MOVE_MISS):
            size = abs(w[lo + j])
            if not size <= worst:  # also true for NaN
                worst = size
    return worst


@_compiled
def _solve(
    w: Array, nodes: int, has_body: Flags, profile: Array, scheme: Array, drift: Array, tolerance: float
) -> bool:
    """Newton iterations for one instant. `scheme` = c0, a1, a2, b1, b2. True when converged."""
    c0, a1, a2, b1, b2 = scheme[0], scheme[1], scheme[2], scheme[3], scheme[4]
    for _ in range(NEWTON_MAX):
        velocities(w, nodes, c0, a1, a2, drift)
        if profile.shape[0] > 0:
            _currents(w, nodes, profile)
        for i in range(nodes + 1):
            b = np.uint64(i) * _NODE + _CARRY
            for j in range(_SUMS):
                w[b + j] = 0.0
        for i in range(nodes, 0, -1):
            if has_body[i]:
                add_bodies(w, i, c0, b1, b2)
            eliminate_segment(w, i, c0, b1, b2)
        worst = _correct(w, nodes)
        if worst < tolerance:
            return True
        if not worst < 1e4:
            return False
    return False


@_compiled
def _tip(w: Array, start: Array, end: Array, share: float, dt: float) -> None:
    """Put node 0 at `share` of the step: the cubic through both ends and their velocities (rows x y z vx vy vz)."""
    s = share
    h00 = (1 + 2 * s) * (1 - s) * (1 - s)
    h10 = s * (1 - s) * (1 - s) * dt
    h01 = s * s * (3 - 2 * s)
    h11 = s * s * (s - 1) * dt
    for k in range(3):
        for j in range(start.shape[1]):
            place = (k * start.shape[1]) + j
            w[_X + np.uint64(place)] = (
                h00 * start[k, j] + h10 * start[k + 3, j] + h01 * end[k, j] + h11 * end[k + 3, j]
            )


@_compiled
def _pay_out(w: Array, nodes: int, share: Array, main0: Array, main1: Array, at: float, dt: float) -> None:
    """Segment lengths at `at` (0..1) of the step; `share` = part of the main line in a segment, by node and lane."""
    for lane in range(share.shape[1]):
        j = np.uint64(lane)
        rate = (main1[lane] - main0[lane]) / dt
        main = main0[lane] + at * (main1[lane] - main0[lane])
        above = 0.0
        for i in range(1, nodes + 1):
            part = share[i, lane]
            if part > 0.0:
                b = np.uint64(i) * _NODE + j
                w[b + _LENGTH] = part * main
                w[b + _PAYOUT] = (1.0 - above - 0.5 * part) * rate
                above += part


@_compiled
def _step(
    w: Array,
    nodes: int,
    has_body: Flags,
    share: Array,
    profile: Array,
    tips: Array,
    mains: Array,
    dt: float,
    parts: int,
    restart: bool,
    tolerance: float,
) -> bool:
    """One step of dt in `parts` equal parts; tips (2, 6, LANES), mains (2, LANES). False: w is spoiled.

    The past is a whole dt away on entry; on return it is a part away.
    """
    scheme = np.empty(5)
    still = np.zeros(3 * tips.shape[2])
    h = dt / parts
    paying = False
    for j in range(mains.shape[1]):
        if mains[0, j] != mains[1, j]:
            paying = True
    for part in range(parts):
        at = (part + 1.0) / parts
        ratio = 1.0
        if part == 0:
            ratio = 0.0 if restart else 1.0 / parts
        coefficients(h, ratio, scheme)
        if paying:
            _pay_out(w, nodes, share, mains[0], mains[1], at, dt)
        predict(w, nodes, h, ratio)
        _tip(w, tips[0], tips[1], at, dt)
        if not _solve(w, nodes, has_body, profile, scheme, still, tolerance):
            return False
        shift(w, nodes, scheme, still)
    if paying:
        _pay_out(w, nodes, share, mains[1], mains[1], 1.0, dt)
    return True


@_compiled
def march(
    w: Array,
    nodes: int,
    has_body: Flags,
    share: Array,
    profile: Array,
    tips: Array,
    mains: Array,
    dt: float,
    restart: bool,
    tolerance: float,
    parts: int = 1,
) -> int:
    """March eight lines through K steps of dt [s], in place.

    Args:
        w: (nodes+1)*FIELDS*LANES flat state, see layout.py; X1, V1, T1 hold the present on entry and on return.
        has_body: (nodes+1,) 1 where any lane has a body.
        share: (nodes+1, LANES) part of the main line each segment holds (0: fixed length).
        profile: (M, 3) depth [m], current north, east [m/s] relative to the surface layer; M = 0: still.
        tips: (K+1, 6, LANES) rod tips: position and velocity at the start and after each step.
        mains: (K+1, LANES) length of the main line [m] likewise.
        restart: the first step is backward Euler (first step, or after a discontinuity).
        tolerance: Newton stops after a move below this [m] from lengths that fitted as well.
        parts: each step is made in so many equal parts.
    Returns:
        Number of steps that needed rescue substeps (if any, the next call must restart); -1 when even 1024 of them
        did not converge (then the state is that before the failing step).
    """
    rescued = 0
    first = restart
    keep = w
    for k in range(tips.shape[0] - 1):
        tip, main = tips[k : k + 2], mains[k : k + 2]
        level = 0
        if parts > 1:  # a part that fails comes after others
            keep = w.copy()
        while not _step(
            w, nodes, has_body, share, profile, tip, main, dt, parts * 4**level, first or level > 0, tolerance
        ):
            if level == 0 and parts == 1:  # a whole step that fails leaves the past as it was
                keep = w.copy()
            _copy(keep, w)
            level += 1
            if level > RESCUE_MAX:
                return -1
        rescued += level > 0
        first = level > 0  # the past is now a substep away
        if parts > 1 and not first:
            past_from(w, nodes, keep)
    return rescued


@_compiled
def settle(w: Array, nodes: int, has_body: Flags, profile: Array, velocity: Array, tolerance: float) -> bool:
    """Newton on the steady shape from the positions in X.. and tensions in T; all nodes move at `velocity` (3*LANES).

    On success a march with restart continues from there.
    """
    scheme = np.zeros(5)
    if not _solve(w, nodes, has_body, profile, scheme, velocity, tolerance):
        return False
    for _ in range(2):  # both steps of the past
        shift(w, nodes, scheme, velocity)
    return True


@_compiled
def march_all(
    olds: Array,
    works: Array,
    nodes: int,
    has_body: Flags,
    share: Array,
    profile: Array,
    tips: Array,
    mains: Array,
    dt: float,
    restart: bool,
    tolerance: float,
    parts: NDArray[np.int64],
) -> tuple[int, bool]:
    """K steps of march() for G groups, all groups step by step: a leading axis G on works, has_body, share.

    Args:
        olds, works: the state before, left as it is, and room for the state after.
        tips: (G, K+1, 6, LANES); mains: (G, K+1, LANES); see march.
        parts: (G,) into how many each group's step is divided.
    Returns:
        How many groups did not converge in the step that was the last made (each left as before it), and whether one
        was rescued in it: after either the next step must be a restart.
    """
    failed, rescued = 0, restart
    for k in range(tips.shape[1] - 1):
        first, rescued = rescued, False
        for g in range(works.shape[0]):
            if k == 0:
                _take_over(
                    olds[g], works[g], nodes
                )  # just before its march, which then finds it in the fast memory
            tip, main = tips[g, k : k + 2], mains[g, k : k + 2]
            done = march(
                works[g], nodes, has_body[g], share[g], profile, tip, main, dt, first, tolerance, parts[g]
            )
            failed += done < 0
            rescued = rescued or done > 0
        if failed:
            break
    return failed, rescued
