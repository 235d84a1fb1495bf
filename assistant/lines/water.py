"""Fresh water by temperature at the pressure of the surface: density and viscosity.

Depth is left out: 100 m of water presses it together by 0.05 %, far below what is known of any line's drag.
"""

from __future__ import annotations

from math import isfinite

COLDEST_C, WARMEST_C = 0.0, 35.0
"""Liquid fresh water that a boat may float in [degC]; both formulas hold far beyond it."""


def density_kg_m3(temp_c: float) -> float:
    """Density of air-free fresh water [kg/m3] at temp_c [degC].

    Raises:
        ValueError: outside COLDEST_C..WARMEST_C.
    Source: Kell 1975, J. Chem. Eng. Data 20, 97, eq. 16 (0-150 degC, 1 atm), temperatures of IPTS-68.
    """
    t = _checked(temp_c)
    above = _polynomial(
        t, 999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12
    )  # fmt: skip
    return above / (1.0 + 16.879850e-3 * t)


def viscosity_pa_s(temp_c: float) -> float:
    """Dynamic viscosity of fresh water [Pa s] at temp_c [degC].

    Raises:
        ValueError: outside COLDEST_C..WARMEST_C.
    Source: Kestin, Sokolov & Wakeham 1978, J. Phys. Chem. Ref. Data 7, 941 (-8 to 150 degC), factors from memory;
    1.002 mPa s at 20 degC.
    """
    below = 20.0 - _checked(temp_c)
    power = below / (temp_c + 96.0) * _polynomial(below, 1.2378, -1.303e-3, 3.06e-6, 2.55e-8)
    return float(1.002e-3 * 10.0**power)


def kinematic_viscosity_m2_s(temp_c: float) -> float:
    """Viscosity over density [m2/s] at temp_c [degC]: what a Reynolds number wants."""
    return viscosity_pa_s(temp_c) / density_kg_m3(temp_c)


def _checked(temp_c: float) -> float:
    if not isfinite(temp_c) or not COLDEST_C <= temp_c <= WARMEST_C:
        raise ValueError(f"water of {temp_c:g} C: want {COLDEST_C:g}..{WARMEST_C:g} C")
    return temp_c


def _polynomial(x: float, *factors: float) -> float:
    """factors[0] + factors[1] x + factors[2] x^2 ..."""
    total = 0.0
    for factor in reversed(factors):
        total = total * x + factor
    return total
