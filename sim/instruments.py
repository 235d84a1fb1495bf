"""The boat's instruments: what each sensor makes of the truth, and the sentences that carry it.

Two tables: SENTENCES (a row per sentence: rate and how it is written) and INSTRUMENT_NUMBERS (what a
scenario may set). Measured quantities use the published names of BOAT_QUANTITIES and are SI; a sensor that
says nothing gives None.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from assistant.units import FATHOM_M, FOOT_M, KMH_MPS, KNOT_MPS, wrap_tau
from sim.checked import Number

INSTRUMENT_NUMBERS = (
    Number("variation_deg", -60.0, 60.0, -9.0),  # + east
    Number("log_factor", 0.0, 3.0, 1.0),  # reading = factor x true
    Number("log_factor_per_mps", -1.0, 1.0, 0.0),  # what the factor gains with each m/s above 1 m/s
    Number("log_resolution_kn", 0.0, 1.0, 0.1),
    Number("log_sigma_mps", 0.0, 2.0, 0.02),
    Number("compass_offset_deg", -180.0, 180.0, 0.0),  # reading = true + offset
    Number("compass_deviation_deg", 0.0, 30.0, 0.0),  # largest; once round the circle, none heading north
    Number("compass_sigma_deg", 0.0, 30.0, 0.5),
    Number("gps_velocity_sigma_mps", 0.0, 2.0, 0.05),  # each of north and east, slow
    Number("gps_position_sigma_m", 0.0, 100.0, 1.0),
    Number("depth_sigma_m", 0.0, 10.0, 0.1),
    Number("temp_sigma_c", 0.0, 5.0, 0.05),
    Number("transducer_below_surface_m", 0.0, 5.0, 0.3),
    Number("sentences_per_s", 1.0, 200.0, 20.0),
)
"""Keys of a scenario's [instruments] beside `without`, a list of sentences this boat does not have."""

GPS_MEMORY_S = 8.0
"""How long an error of GPS velocity lasts [s]; judgement."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What the instruments show at one instant: SI by name (None = nothing), UTC, and the numbers of this
    boat."""

    utc: datetime.datetime
    value: Mapping[str, float | None]
    number: Mapping[str, float]


def checksum(body: str) -> str:
    """Two hex digits: XOR of all characters between $ and *."""
    total = 0
    for character in body:
        total ^= ord(character)
    return f"{total:02X}"


def framed(body: str) -> str:
    """A complete sentence without line end."""
    return f"${body}*{checksum(body)}"


def _degrees(angle_rad: float | None, digits: int = 1) -> str:
    if angle_rad is None:
        return ""
    shown = round(math.degrees(wrap_tau(angle_rad)), digits)
    return f"{0.0 if shown >= 360.0 else shown:.{digits}f}"


def _scaled(value: float | None, unit: float, digits: int) -> str:
    return "" if value is None else f"{value / unit:.{digits}f}"


def _magnetic(shown: Shown, key: str = "heading_rad") -> float | None:
    true = shown.value[key]
    return None if true is None else true - math.radians(shown.number["variation_deg"])


def _place(degrees: float | None, width: int, marks: str) -> str:
    if degrees is None:
        return ","
    minutes = round(abs(degrees) * 60.0, 4)
    whole = int(minutes // 60)
    return f"{whole:0{width}d}{minutes - 60 * whole:07.4f},{marks[0] if degrees >= 0.0 else marks[1]}"


def _position(shown: Shown) -> str:
    return f"{_place(shown.value['lat_deg'], 2, 'NS')},{_place(shown.value['lon_deg'], 3, 'EW')}"


def _time(shown: Shown) -> str:
    return f"{shown.utc:%H%M%S}.{shown.utc.microsecond // 10000:02d}"


def _variation(shown: Shown) -> str:
    variation = shown.number["variation_deg"]
    return f"{abs(variation):.1f},{'E' if variation >= 0.0 else 'W'}"


def _rmc(s: Shown) -> str:
    ok = s.value["lat_deg"] is not None and s.value["sog_mps"] is not None
    moving = f"{_scaled(s.value['sog_mps'], KNOT_MPS, 2)},{_degrees(s.value['cog_rad'])}"
    fix = f"{'A' if ok else 'V'},{_position(s)},{moving}"
    return f"GPRMC,{_time(s)},{fix},{s.utc:%d%m%y},{_variation(s)},{'A' if ok else 'N'}"


def _vtg(s: Shown) -> str:
    sog = s.value["sog_mps"]
    course = f"{_degrees(s.value['cog_rad'])},T,{_degrees(_magnetic(s, 'cog_rad'))},M"
    mode = "N" if sog is None else "A"
    return f"GPVTG,{course},{_scaled(sog, KNOT_MPS, 2)},N,{_scaled(sog, KMH_MPS, 2)},K,{mode}"


def _gga(s: Shown) -> str:
    ok = s.value["lat_deg"] is not None
    return f"GPGGA,{_time(s)},{_position(s)},{'1,09,0.9,2.0' if ok else '0,00,,'},M,,M,,"


def _gll(s: Shown) -> str:
    ok = s.value["lat_deg"] is not None
    return f"GPGLL,{_position(s)},{_time(s)},{'A,A' if ok else 'V,N'}"


def _zda(s: Shown) -> str:
    return f"GPZDA,{_time(s)},{s.utc:%d,%m,%Y},00,00"


def _log(s: Shown) -> float | None:
    step = s.number["log_resolution_kn"] * KNOT_MPS
    value = s.value["stw_mps"]
    return value if value is None or step == 0.0 else step * round(value / step)


def _vhw(s: Shown) -> str:
    heading = f"{_degrees(s.value['heading_rad'])},T,{_degrees(_magnetic(s))},M"
    return f"VWVHW,{heading},{_scaled(_log(s), KNOT_MPS, 2)},N,{_scaled(_log(s), KMH_MPS, 2)},K"


def _dpt(s: Shown) -> str:
    below = s.number["transducer_below_surface_m"]
    depth = s.value["water_depth_m"]
    return f"SDDPT,{'' if depth is None else f'{depth - below:.1f}'},{below:.1f}"


def _dbt(s: Shown) -> str:
    depth = s.value["water_depth_m"]
    under = None if depth is None else depth - s.number["transducer_below_surface_m"]
    return f"SDDBT,{_scaled(under, FOOT_M, 1)},f,{_scaled(under, 1.0, 1)},M,{_scaled(under, FATHOM_M, 1)},F"


def _rot(s: Shown) -> str:
    turn = s.value["rate_of_turn_radps"]
    return (
        f"TIROT,{'' if turn is None else f'{math.degrees(turn) * 60.0:.1f}'},{'V' if turn is None else 'A'}"
    )


@dataclass(frozen=True, slots=True)
class SentenceRow:
    """How often a sentence comes [1/s at 20 sentences a second in all], its first instant [s], who writes
    it."""

    rate_hz: float
    first_s: float
    write: Callable[[Shown], str]


SENTENCES: Mapping[str, SentenceRow] = {
    "RMC": SentenceRow(1.0, 0.0, _rmc),
    "VTG": SentenceRow(1.0, 0.02, _vtg),
    "GGA": SentenceRow(1.0, 0.04, _gga),
    "VHW": SentenceRow(2.0, 0.12, _vhw),
    "HDG": SentenceRow(10.0, 0.06, lambda s: f"HCHDG,{_degrees(_magnetic(s))},0.0,E,{_variation(s)}"),
    "HDT": SentenceRow(1.0, 0.18, lambda s: f"HEHDT,{_degrees(s.value['heading_rad'])},T"),
    "DPT": SentenceRow(2.0, 0.22, _dpt),
    "MTW": SentenceRow(1.0, 0.32, lambda s: f"SDMTW,{_scaled(s.value['water_temp_c'], 1.0, 1)},C"),
    "ZDA": SentenceRow(1.0, 0.42, _zda),
    "GLL": SentenceRow(1.0, 0.52, _gll),
    "DBT": SentenceRow(1.0, 0.62, _dbt),
    "ROT": SentenceRow(2.0, 0.72, _rot),
}
"""What a boat may have; a scenario's `without` takes away, by default HDT, DBT, ROT and GLL are not
fitted."""

NOT_FITTED = ("HDT", "DBT", "ROT", "GLL")


class Sensors:
    """Turns the truth into what the sensors show, with slow and fast noise from one seeded stream each."""

    def __init__(self, number: Mapping[str, float], seed: int) -> None:
        self.number = number
        self._fast = np.random.default_rng([seed, 11])
        self._slow = np.random.default_rng([seed, 12])
        self._drift = number["gps_velocity_sigma_mps"] * self._slow.standard_normal(2)
        self._time_s = 0.0

    def measure(self, truth: Mapping[str, float], t_s: float) -> dict[str, float | None]:
        """What is shown of the truth (SI by name) at a time.

        Every sensor draws at every call, so that leaving one out changes no other.
        """
        n = self.number
        keep = math.exp(-(t_s - self._time_s) / GPS_MEMORY_S)
        fresh = n["gps_velocity_sigma_mps"] * math.sqrt(max(0.0, 1.0 - keep * keep))
        self._drift = keep * self._drift + fresh * self._slow.standard_normal(2)
        self._time_s = t_s
        draw = self._fast.standard_normal(7)
        north = truth["sog_mps"] * math.cos(truth["cog_rad"]) + float(self._drift[0])
        east = truth["sog_mps"] * math.sin(truth["cog_rad"]) + float(self._drift[1])
        metre = 1.0 / 111_200.0  # degrees of latitude, near enough for an error
        spread = n["gps_position_sigma_m"] * metre
        deviation = n["compass_deviation_deg"] * math.sin(truth["heading_rad"])
        offset = math.radians(n["compass_offset_deg"] + deviation + n["compass_sigma_deg"] * float(draw[0]))
        factor = n["log_factor"] + n["log_factor_per_mps"] * (truth["stw_mps"] - 1.0)
        return {
            "heading_rad": wrap_tau(truth["heading_rad"] + offset),
            "stw_mps": max(0.0, factor * truth["stw_mps"] + n["log_sigma_mps"] * float(draw[1])),
            "sog_mps": math.hypot(north, east),
            "cog_rad": wrap_tau(math.atan2(east, north)),
            "lat_deg": truth["lat_deg"] + spread * float(draw[2]),
            "lon_deg": truth["lon_deg"] + spread * float(draw[3]) / math.cos(math.radians(truth["lat_deg"])),
            "water_depth_m": truth["water_depth_m"] + n["depth_sigma_m"] * float(draw[4]),
            "water_temp_c": truth["water_temp_c"] + n["temp_sigma_c"] * float(draw[5]),
            "rate_of_turn_radps": truth["rate_of_turn_radps"] + math.radians(0.1) * float(draw[6]),
        }
