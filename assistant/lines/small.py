"""3-vectors and 3x3 blocks as tuples, for compiled code: everything here inlines and keeps the lanes vectorised.

A block is nine numbers row by row; a symmetric block six: xx, yy, zz, xy, xz, yz.
"""

from __future__ import annotations

import math

from numba import njit

Vec = tuple[float, float, float]
Sym = tuple[float, float, float, float, float, float]
Mat = tuple[float, float, float, float, float, float, float, float, float]

_inline = njit(cache=True, nogil=True, error_model="numpy", forceinline=True)


@_inline
def norm(v: Vec, tiny: float) -> float:
    """Length of v, at least sqrt(tiny)."""
    return math.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2] + tiny)


@_inline
def dot(a: Vec, b: Vec) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@_inline
def combine(s: float, a: Vec, t: float, b: Vec) -> Vec:
    """s a + t b."""
    return (s * a[0] + t * b[0], s * a[1] + t * b[1], s * a[2] + t * b[2])


@_inline
def along_across(s: float, t: float, e: Vec) -> Sym:
    """s e e' + t (I - e e') for a unit vector e."""
    d = s - t
    return (
        t + d * e[0] * e[0],
        t + d * e[1] * e[1],
        t + d * e[2] * e[2],
        d * e[0] * e[1],
        d * e[0] * e[2],
        d * e[1] * e[2],
    )


@_inline
def add_dyad(m: Sym, s: float, n: Vec) -> Sym:
    """m + s n n'."""
    return (
        m[0] + s * n[0] * n[0],
        m[1] + s * n[1] * n[1],
        m[2] + s * n[2] * n[2],
        m[3] + s * n[0] * n[1],
        m[4] + s * n[0] * n[2],
        m[5] + s * n[1] * n[2],
    )


@_inline
def full(m: Sym) -> Mat:
    """A symmetric block as nine numbers."""
    return (m[0], m[3], m[4], m[3], m[1], m[5], m[4], m[5], m[2])


@_inline
def dyad(s: float, a: Vec, b: Vec) -> Mat:
    """s a b'."""
    return (
        s * a[0] * b[0], s * a[0] * b[1], s * a[0] * b[2],
        s * a[1] * b[0], s * a[1] * b[1], s * a[1] * b[2],
        s * a[2] * b[0], s * a[2] * b[1], s * a[2] * b[2],
    )  # fmt: skip


@_inline
def mix(s: float, a: Mat, t: float, b: Mat) -> Mat:
    """s a + t b."""
    return (
        s * a[0] + t * b[0], s * a[1] + t * b[1], s * a[2] + t * b[2],
        s * a[3] + t * b[3], s * a[4] + t * b[4], s * a[5] + t * b[5],
        s * a[6] + t * b[6], s * a[7] + t * b[7], s * a[8] + t * b[8],
    )  # fmt: skip


@_inline
def less_last_column(m: Mat, v: Vec) -> Mat:
    """m with v taken from its last column."""
    return (m[0], m[1], m[2] - v[0], m[3], m[4], m[5] - v[1], m[6], m[7], m[8] - v[2])


@_inline
def times(a: Mat, b: Mat) -> Mat:
    """a b."""
    return (
        a[0] * b[0] + a[1] * b[3] + a[2] * b[6],
        a[0] * b[1] + a[1] * b[4] + a[2] * b[7],
        a[0] * b[2] + a[1] * b[5] + a[2] * b[8],
        a[3] * b[0] + a[4] * b[3] + a[5] * b[6],
        a[3] * b[1] + a[4] * b[4] + a[5] * b[7],
        a[3] * b[2] + a[4] * b[5] + a[5] * b[8],
        a[6] * b[0] + a[7] * b[3] + a[8] * b[6],
        a[6] * b[1] + a[7] * b[4] + a[8] * b[7],
        a[6] * b[2] + a[7] * b[5] + a[8] * b[8],
    )


@_inline
def apply(a: Mat, v: Vec) -> Vec:
    """a v."""
    return (
        a[0] * v[0] + a[1] * v[1] + a[2] * v[2],
        a[3] * v[0] + a[4] * v[1] + a[5] * v[2],
        a[6] * v[0] + a[7] * v[1] + a[8] * v[2],
    )


@_inline
def inverse(m: Mat) -> Mat:
    """Inverse by cofactors; good to 1e-8 at the stiffness of inextensible line, and Newton corrects the rest."""
    c0 = m[4] * m[8] - m[5] * m[7]
    c3 = m[5] * m[6] - m[3] * m[8]
    c6 = m[3] * m[7] - m[4] * m[6]
    r = 1.0 / (m[0] * c0 + m[1] * c3 + m[2] * c6)
    return (
        r * c0, r * (m[2] * m[7] - m[1] * m[8]), r * (m[1] * m[5] - m[2] * m[4]),
        r * c3, r * (m[0] * m[8] - m[2] * m[6]), r * (m[2] * m[3] - m[0] * m[5]),
        r * c6, r * (m[1] * m[6] - m[0] * m[7]), r * (m[0] * m[4] - m[1] * m[3]),
    )  # fmt: skip
