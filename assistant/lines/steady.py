"""Steady shape of a towed line, straight or on a circle: one integration from the free end upward.

Reference: the differential equations of a flexible towed line (Pode 1951, DTMB Report 687, in vector form;
Choo & Casarella 1973 for the turn).
State along the line from the free end, s unstretched [m]: position r [m] and tension vector S [N] (the pull of the line
above); u = S/|S| points up the line:
    dr/ds = u (1 + |S|/EA),   dS/ds = -f + (m + m_a (I - uu')) a,   S(0) = -(force on the free end's body)
f = drag + weight; drag = -[kn |un| un + kt |ut| ut] of the velocity through the water at that depth.
Straight: every element moves at V, a = 0. Circle, in the frame turning at Omega about the vertical through the centre
(origin): velocity Omega x r, a = -Omega^2 (x, y, 0).
Axes: x north, y east, z down, z = 0 the surface; dry above it (weight in air, no air drag).
Integrator: Dormand & Prince 1980 (order 5, embedded 4). Steps end on the surface. Current and air depend
on the depth, which is only known at the end: the free end's depth is iterated until the top meets the tow point.
Valid: no bending stiffness, no bottom contact, bodies fully wet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from assistant.lines.bodies import body_force
from assistant.lines.chain import Towed, Water, body_columns, segment_columns
from assistant.lines.kernel import current_at

Array = NDArray[np.float64]

_compiled = njit(cache=True, nogil=True, error_model="numpy")

# Dormand & Prince 1980, RK5(4)7M
_A = np.array(
    [
        [0, 0, 0, 0, 0, 0],
        [1 / 5, 0, 0, 0, 0, 0],
        [3 / 40, 9 / 40, 0, 0, 0, 0],
        [44 / 45, -56 / 15, 32 / 9, 0, 0, 0],
        [19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729, 0, 0],
        [9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656, 0],
        [35 / 384, 0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84],
    ]
)
_E = np.array([71 / 57600, 0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40])
FINE = 1e-9
"""Relative error per step of the integration; live starts take less."""
_STEPS_MAX = 20_000
_FAR_M = 1e6  # a depth no line reaches
NOISE = 10.0  # times as far off (micrometres) the top may stay where steps at a kink of the current change their number
_SURFACE_M = 1e-10  # a step that ends this near the surface ends on it


class NoSteadyShape(ValueError):
    """The line has no steady shape under these conditions; the text says why."""


@_compiled
def _velocity(y: Array, tow: Array, profile: Array) -> tuple[float, float]:
    """Horizontal velocity through the water at y; tow = speed north, east, Omega."""
    vx, vy = tow[0] - tow[2] * y[1], tow[1] + tow[2] * y[0]
    if profile.shape[0] > 0:
        north, east, _, _ = current_at(profile, y[2])
        vx -= north
        vy -= east
    return vx, vy


@_compiled
def _slope(y: Array, seg: Array, tow: Array, profile: Array, wet: bool, out: Array) -> None:
    """d(r, S)/ds, in the water or above it. seg: see chain.SEGMENT_ROWS."""
    pull = math.sqrt(y[3] * y[3] + y[4] * y[4] + y[5] * y[5])
    ux, uy, uz = y[3] / pull, y[4] / pull, y[5] / pull
    stretch = 1.0 + pull * seg[7]
    out[0], out[1], out[2] = ux * stretch, uy * stretch, uz * stretch
    fx, fy, fz, added = 0.0, 0.0, seg[4], 0.0
    if wet:
        vx, vy = _velocity(y, tow, profile)
        along = vx * ux + vy * uy
        nx, ny, nz = vx - along * ux, vy - along * uy, -along * uz
        kn = seg[1] * math.sqrt(nx * nx + ny * ny + nz * nz)
        kt = seg[2] * abs(along) * along
        fx, fy, fz = -kn * nx - kt * ux, -kn * ny - kt * uy, -kn * nz - kt * uz + seg[3]
        added = seg[6]
    ax, ay = -tow[2] * tow[2] * y[0], -tow[2] * tow[2] * y[1]
    slip = added * (ax * ux + ay * uy)
    whole = seg[5] + added
    out[3] = -fx + whole * ax - slip * ux
    out[4] = -fy + whole * ay - slip * uy
    out[5] = -fz - slip * uz


@_compiled
def _free_end(y: Array, seg: Array, tow: Array, profile: Array) -> bool:
    """Start of a line with nothing on its end: a trace of tension along the angle at which it hangs in the flow.

    That angle (from the horizontal) is cos = sqrt(lam^2 + 1) - lam, lam = w/(2 kn V^2): normal drag carries the weight
    across the line.
    """
    vx, vy = _velocity(y, tow, profile)
    speed = math.sqrt(vx * vx + vy * vy)
    weight = seg[3] if y[2] > 0.0 else seg[4]
    load = abs(weight) + (seg[1] + seg[2]) * speed * speed
    if load == 0.0:
        return False
    cos = 0.0
    if speed > 0.0 and seg[1] > 0.0 and y[2] > 0.0:
        lam = abs(weight) / (2.0 * seg[1] * speed * speed)
        cos = 1.0 / (math.sqrt(lam * lam + 1.0) + lam)
    sin = math.copysign(math.sqrt(1.0 - cos * cos), weight)
    if speed > 0.0:
        y[3], y[4] = cos * vx / speed, cos * vy / speed
    y[5] = -sin
    for k in range(3, 6):
        y[k] *= 1e-6 * load
    return True


@_compiled
def _add_body(y: Array, body: Array, tow: Array, profile: Array) -> None:
    """Tension above a body: less the force on it, plus its inertia. body: see chain.BODY_ROWS."""
    vx, vy = _velocity(y, tow, profile)
    fx, fy, fz = body_force(body[2], body[3], body[4], vx, vy, 0.0)
    y[3] -= fx + body[0] * tow[2] * tow[2] * y[0]
    y[4] -= fy + body[0] * tow[2] * tow[2] * y[1]
    y[5] -= fz + body[1]


@_compiled
def _try_step(
    y: Array,
    h: float,
    seg: Array,
    tow: Array,
    profile: Array,
    wet: bool,
    work: Array,
    relative: float,
    scale_m: float,
) -> float:
    """One step of h from y into work[7]. Returns its error over what is allowed (NaN where it blew up):
    scale_m in place, `relative` of the tension.
    """
    for stage in range(7):
        for k in range(6):
            z = y[k]
            for m in range(stage):
                z += h * _A[stage, m] * work[m, k]
            work[7, k] = z
        _slope(work[7], seg, tow, profile, wet, work[stage])
    worst = 0.0
    scale_n = relative * math.sqrt(work[7, 3] ** 2 + work[7, 4] ** 2 + work[7, 5] ** 2)
    for k in range(6):
        e = 0.0
        for m in range(7):
            e += h * _E[m] * work[m, k]
        error = abs(e) / (scale_m if k < 3 else scale_n)
        if not error <= worst:  # also true for NaN
            worst = error
    return worst


@_compiled
def _climb(
    y: Array, length: float, seg: Array, tow: Array, profile: Array, relative: float, work: Array
) -> bool:
    """Integrate y over `length` of one segment, in place. work: (8, 6).

    A step that would cross the surface is shortened to end on it: weight and drag jump there.
    """
    done, h, before = 0.0, length, 0.0
    wet = y[2] > 0.0 or (y[2] == 0.0 and y[5] > 0.0)
    for _ in range(_STEPS_MAX):
        if done >= length:
            return True
        h = min(h, length - done)
        error = _try_step(y, h, seg, tow, profile, wet, work, relative, relative * length)
        if not error < 1e300:
            h *= 0.1
            continue
        if error > 1.0 and h >= 1e-9 * length:
            h *= max(0.1, 0.9 * error**-0.2)
            continue
        reached = work[7, 2]
        crosses = (reached > 0.0) != wet and reached != 0.0
        if crosses and abs(y[2]) <= _SURFACE_M:
            wet = not wet
            h = max(h, before)
            continue
        if crosses and abs(reached) > _SURFACE_M:
            before = max(before, h)
            h *= y[2] / (y[2] - reached)
            continue
        done += h
        h *= min(5.0, 0.9 * max(error, 1e-10) ** -0.2)
        for k in range(6):
            y[k] = work[7, k]
    return False


@_compiled
def climb(
    segments: Array, bodies: Array, tow: Array, profile: Array, end: Array, relative: float, out: Array
) -> bool:
    """Integrate a whole line up from its free end.

    Args:
        segments: (S, 8) from the free end up, columns of chain.SEGMENT_ROWS; bodies: (S, 5), BODY_ROWS.
        tow: (3,) velocity north, east [m/s] and rate of turn [rad/s] about the origin.
        profile: (M, 3) current, see chain.Water.
        end: (3,) position of the free end [m]; relative: error per step.
        out: (S+1, 6) position [m] and tension vector [N] at the free end and above each segment, filled in.
    Returns:
        False where the line is not pulled by anything or the integration fails.
    """
    y = np.zeros(6)
    work = np.empty((8, 6))
    for k in range(3):
        y[k] = end[k]
    for i in range(segments.shape[0]):
        _add_body(y, bodies[i], tow, profile)
        if i == 0:
            bare = y[3] == 0.0 and y[4] == 0.0 and y[5] == 0.0
            if bare and not _free_end(y, segments[0], tow, profile):
                return False
            for k in range(6):
                out[0, k] = y[k]
        if segments[i, 0] > 0.0 and not _climb(y, segments[i, 0], segments[i], tow, profile, relative, work):
            return False
        for k in range(6):
            out[i + 1, k] = y[k]
    return True


@dataclass(frozen=True, slots=True)
class SteadyShape:
    """A steady line.

    points_m: (S+1, 3) x north, y east, z below the surface, free end first, horizontals from the tow point (circle:
    from the centre); tension_n: (S+1,) line's force just below each point, i.e. at the top of each segment (first: on
    the free end).
    """

    points_m: Array
    tension_n: Array


def columns(towed: Towed, water: Water) -> tuple[Array, Array]:
    """Segments (S, 8) and bodies (S, 5) as `climb` takes them."""
    segments = np.array([segment_columns(s, water) for s in towed.segments])
    bodies = [*towed.bodies, *[None] * (len(towed.segments) - len(towed.bodies))]
    return segments, np.array([body_columns(b, water) for b in bodies])


def meet_tow_point(
    segments: Array,
    bodies: Array,
    tow: Array,
    profile: Array,
    end: Array,
    top_m: float,
    relative: float = FINE,
) -> Array:
    """Find the free end's depth that puts the top at depth top_m, changing `end`.

    A deeper end has a deeper top: find one too deep and one too high, then false position between them
    (Anderson & Bjorck 1973).

    Returns:
        (S+1, 6) as `climb` fills it.
    Raises:
        NoSteadyShape: nothing pulls the line, or no depth fits.
    """
    out = np.empty((len(segments) + 1, 6))

    def miss(depth: float) -> float:
        end[2] = depth
        if not climb(segments, bodies, tow, profile, end, relative, out):
            raise NoSteadyShape("nothing pulls the line, or its shape cannot be integrated")
        return float(out[-1, 2] - top_m)

    length = float(segments[:, 0].sum())
    near = 10.0 * relative * length
    # in still water a shape that is wet all along does not depend on the depth
    depth = 0.3 * length if len(profile) else _FAR_M - miss(_FAR_M)
    now, stretch = miss(depth), 1.0
    other, other_miss = depth, now
    while (other_miss > 0.0) == (now > 0.0) and abs(now) > near:
        if stretch > 1e6:
            raise NoSteadyShape("no depth of the free end fits the tow point")
        other, other_miss = depth, now
        depth -= stretch * now
        now = miss(depth)
        stretch *= 1.5
    for _ in range(200):
        if abs(now) <= near or abs(depth - other) < 1e-3 * near:
            break
        middle = depth - now * (depth - other) / (now - other_miss)
        new = miss(middle)
        if (new > 0.0) == (now > 0.0):
            share = 1.0 - new / now
            other_miss *= share if share > 0.0 else 0.5
        else:
            other, other_miss = depth, now
        depth, now = middle, new
    if abs(now) > NOISE * near:
        raise NoSteadyShape("no depth of the free end fits the tow point")
    if end[2] < -near:
        raise NoSteadyShape("the free end floats: it would be above the surface")
    return out


def straight(
    towed: Towed, water: Water, speed_mps: float, heading_rad: float = 0.0, relative: float = FINE
) -> SteadyShape:
    """Steady straight tow at a speed through the surface layer.

    Args:
        towed: the line; water: density, gravity, current.
        speed_mps: of the tow point [m/s]; heading_rad: its heading in the frame of the current (0 = north).
        relative: error per integration step.
    Raises:
        NoSteadyShape: nothing pulls the line, or no shape fits.
    """
    segments, bodies = columns(towed, water)
    tow = np.array([speed_mps * math.cos(heading_rad), speed_mps * math.sin(heading_rad), 0.0])
    end = np.zeros(3)
    top = -towed.tow_height_m
    if towed.length_m() == 0.0:
        out = np.zeros((len(segments) + 1, 6))
        out[:, 2] = top
        y = out[-1].copy()
        for body in bodies:
            _add_body(y, body, tow, water.profile_array())
        out[:, 3:] = y[3:]
    else:
        out = meet_tow_point(segments, bodies, tow, water.profile_array(), end, top, relative)
    points = out[:, :3].copy()
    points[:, :2] -= out[-1, :2]
    return SteadyShape(points, np.linalg.norm(out[:, 3:], axis=1))
