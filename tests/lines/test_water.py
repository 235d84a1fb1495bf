"""Water by temperature against IAPWS-95 and IAPWS 2008 (viscosity), as the package `iapws` computes them."""

from __future__ import annotations

import math

import pytest
from iapws import IAPWS95

from assistant.lines import water

ATMOSPHERE_MPA = 0.101325
TEMPS_C = (0.1, 2.0, 4.0, 7.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0)


@pytest.mark.parametrize("temp_c", TEMPS_C)
def test_density_and_viscosity(temp_c: float) -> None:
    """Density within 0.005 kg/m3 (the ideal density of 1975 lies 0.003 lower), viscosity within 0.2 %."""
    expected = IAPWS95(T=temp_c + 273.15, P=ATMOSPHERE_MPA)
    assert water.density_kg_m3(temp_c) == pytest.approx(expected.rho, abs=0.005)
    assert water.viscosity_pa_s(temp_c) == pytest.approx(expected.mu, rel=2e-3)
    assert water.kinematic_viscosity_m2_s(temp_c) == pytest.approx(expected.nu, rel=2e-3)


@pytest.mark.parametrize(("temp_c", "density", "nu"), [(4.0, 999.975, 1.567e-6), (10.0, 999.702, 1.306e-6)])
def test_handbook_values(temp_c: float, density: float, nu: float) -> None:
    """IAPWS-95/97 table values as printed in handbooks (from memory)."""
    assert water.density_kg_m3(temp_c) == pytest.approx(density, abs=0.005)
    assert water.kinematic_viscosity_m2_s(temp_c) == pytest.approx(nu, rel=2e-3)


def test_water_is_heaviest_near_four_degrees() -> None:
    """Maximum density at 3.98 degC (Tanaka et al. 2001, Metrologia 38, 301)."""
    grid = [t / 100.0 for t in range(801)]
    assert max(grid, key=water.density_kg_m3) == pytest.approx(3.98, abs=0.05)


@pytest.mark.parametrize("temp_c", [-0.1, 35.1, math.nan, math.inf])
def test_ice_steam_and_nonsense_are_refused(temp_c: float) -> None:
    for law in (water.density_kg_m3, water.viscosity_pa_s):
        with pytest.raises(ValueError, match=r"0\.\.35 C"):
            law(temp_c)
