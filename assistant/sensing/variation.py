"""Magnetic variation of a place and date by the World Magnetic Model (pygeomag, with its coefficients).

Valid for 2010 to 2030, at the surface. Its declination is good to about 0.4 degrees (1 sigma) on lakes of middle
latitudes (WMM error model, NOAA/BGS report of 2025; from memory). Near the magnetic poles it says nothing useful.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

from pygeomag import GeoMag
from pygeomag.wmm.wmm_2010 import WMM_2010
from pygeomag.wmm.wmm_2015v2 import WMM_2015v2
from pygeomag.wmm.wmm_2020 import WMM_2020
from pygeomag.wmm.wmm_2025 import WMM_2025

EPOCHS: Mapping[int, tuple[object, ...]] = {
    2010: WMM_2010, 2015: WMM_2015v2, 2020: WMM_2020, 2025: WMM_2025
}  # fmt: skip
"""First year -> coefficients; each set holds for five years."""

YEARS = 5.0
WEAKEST_NT = 6000.0  # of the horizontal field: below it a compass is said to be unreliable (WMM caution zone)


def year_of(utc: str) -> float:
    """Decimal year of an ISO 8601 UTC, to the day.

    Raises:
        ValueError: not a date.
    """
    year, month, day = (int(part) for part in utc[:10].split("-"))
    return year + (30.44 * (month - 1) + day - 1) / 365.25


def model_rad(lat_deg: float, lon_deg: float, utc: str) -> float | None:
    """Variation [rad], + east; None beyond the model's years or where the field is too flat for a compass."""
    year = year_of(utc)
    first = max((epoch for epoch in EPOCHS if epoch <= year), default=None)
    if first is None or year >= first + YEARS:
        return None
    found = _model(first).calculate(glat=lat_deg, glon=lon_deg, alt=0.0, time=year)
    return math.radians(found.d) if found.h >= WEAKEST_NT else None


@cache
def _model(first: int) -> GeoMag:
    return GeoMag(coefficients_data=EPOCHS[first])
