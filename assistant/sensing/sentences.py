"""The table of sentences: which field is which quantity, in what unit, under what condition.

Field names are pynmea2's; where it has no such sentence, or not this variant of it, the names are given here.
Meaning of fields, signs and status letters: "NMEA Revealed", gpsd project (www/NMEA.adoc).

A new sentence is one row of ROWS. Within a row the first field that is not blank wins for its quantity
(knots, else km/h). A letter that `units` does not know means that the field is something else: rejected.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import pynmea2.types.talker as known_talkers

from assistant.units import FATHOM_M, FOOT_M, KMH_MPS, KNOT_MPS, TAU

Scale = tuple[float, float]  # SI = number * scale + offset

DEG = TAU / 360.0
PLAIN: Mapping[str, Scale] = {"": (1.0, 0.0)}
DEGREES: Mapping[str, Scale] = {"": (DEG, 0.0)}
TRUE: Mapping[str, Scale] = {"T": (DEG, 0.0)}
MAGNETIC: Mapping[str, Scale] = {"M": (DEG, 0.0)}
EAST_WEST: Mapping[str, Scale] = {"E": (DEG, 0.0), "W": (-DEG, 0.0)}
KNOTS_PLAIN: Mapping[str, Scale] = {"": (KNOT_MPS, 0.0)}
KNOTS: Mapping[str, Scale] = {"N": (KNOT_MPS, 0.0)}
KMH: Mapping[str, Scale] = {"K": (KMH_MPS, 0.0)}
WIND: Mapping[str, Scale] = {"N": (KNOT_MPS, 0.0), "K": (KMH_MPS, 0.0), "M": (1.0, 0.0)}
CELSIUS: Mapping[str, Scale] = {"C": (1.0, 0.0), "F": (5.0 / 9.0, -160.0 / 9.0)}  # (F - 32) 5/9
LATITUDE: Mapping[str, Scale] = {"N": (1.0, 0.0), "S": (-1.0, 0.0)}
LONGITUDE: Mapping[str, Scale] = {"E": (1.0, 0.0), "W": (-1.0, 0.0)}


@dataclass(frozen=True, slots=True)
class Field:
    """One value of a sentence. `by` names the field whose letter picks the entry of `units`."""

    quantity: str
    name: str
    units: Mapping[str, Scale]
    by: str | None = None
    when: tuple[str, str] | None = None  # (field, letter): else this is not the field
    form: Literal["number", "ddmm"] = "number"
    with_name: str | None = None  # a second field, see `how`
    with_by: str | None = None  # the letter (E, W) that gives the second its sign
    how: Literal["alone", "sum", "hypot"] = "alone"  # sum: second may be blank; hypot: it may not


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of sentence. `valid`: (field, letters) that must hold, "-" is a blank or absent field."""

    kind: str
    fields: tuple[Field, ...]
    valid: tuple[tuple[str, str], ...] = ()
    names: tuple[str, ...] = ()  # in order; empty: pynmea2's
    count: int | None = None  # this row only for sentences with so many fields
    time: str | None = None
    date: tuple[str, ...] = ()  # one ddmmyy field, or day, month, year


# N none, S simulator, M typed in: no measurement. E is the receiver's own dead reckoning.
MODE_OK = "-ADEFPR"

POSITION = (
    Field("lat_deg", "lat", LATITUDE, "lat_dir", form="ddmm"),
    Field("lon_deg", "lon", LONGITUDE, "lon_dir", form="ddmm"),
)

ROWS: tuple[Row, ...] = (
    Row(
        "RMC",
        (
            *POSITION,
            Field("sog_mps", "spd_over_grnd", KNOTS_PLAIN),
            Field("cog_rad", "true_course", DEGREES),
            Field("variation_rad", "mag_variation", EAST_WEST, "mag_var_dir"),
        ),
        valid=(("status", "A"), ("mode_indicator", MODE_OK)),
        time="timestamp",
        date=("datestamp",),
    ),
    Row("GGA", POSITION, valid=(("gps_qual", "123456"),), time="timestamp"),  # 7 typed in, 8 simulator
    Row("GLL", POSITION, valid=(("status", "A"), ("faa_mode", MODE_OK)), time="timestamp"),
    Row("ZDA", (), time="timestamp", date=("day", "month", "year")),
    Row(
        "VTG",
        (
            Field("cog_rad", "true_track", TRUE, "true_track_sym"),
            Field("sog_mps", "spd_over_grnd_kts", KNOTS, "spd_over_grnd_kts_sym"),
            Field("sog_mps", "spd_over_grnd_kmph", KMH, "spd_over_grnd_kmph_sym"),
        ),
        valid=(("faa_mode", MODE_OK),),
    ),
    Row(  # the old form without unit letters, in which pynmea2 finds no speed
        "VTG",
        (Field("cog_rad", "true", DEGREES), Field("sog_mps", "knots", KNOTS_PLAIN)),
        names=("true", "magnetic", "knots", "kmh"),
        count=4,
    ),
    Row(
        "VHW",
        (
            Field("heading_true_rad", "heading_true", TRUE, "true"),
            Field("heading_magnetic_rad", "heading_magnetic", MAGNETIC, "magnetic"),
            Field("stw_mps", "water_speed_knots", KNOTS, "knots"),
            Field("stw_mps", "water_speed_km", KMH, "kilometers"),
        ),
    ),
    Row(
        "VBW",  # the ground part is along and across the keel; its speed is the length of the two
        (
            Field("stw_mps", "lon_water_spd", KNOTS_PLAIN, when=("data_validity_water_spd", "A")),
            Field(
                "sog_mps",
                "lon_grnd_spd",
                KNOTS_PLAIN,
                when=("data_validity_grnd_spd", "A"),
                with_name="trans_grnd_spd",
                how="hypot",
            ),
        ),
    ),
    Row(
        "HDG",  # the sensor plus easterly deviation is the magnetic heading
        (
            Field(
                "heading_magnetic_rad",
                "heading",
                DEGREES,
                with_name="deviation",
                with_by="dev_dir",
                how="sum",
            ),
            Field("variation_rad", "variation", EAST_WEST, "var_dir"),
        ),
    ),
    Row("HDT", (Field("heading_true_rad", "heading", TRUE, "hdg_true"),)),
    Row("HDM", (Field("heading_magnetic_rad", "heading", MAGNETIC, "magnetic"),)),
    Row(
        "THS",  # A autonomous, E estimated; M typed in, S simulator, V void
        (Field("heading_true_rad", "heading", DEGREES),),
        valid=(("mode", "AE"),),
        names=("heading", "mode"),
    ),
    Row(
        "ROT",  # degrees a minute
        (Field("rate_of_turn_radps", "rate_of_turn", {"": (DEG / 60.0, 0.0)}),),
        valid=(("status", "A"),),
    ),
    Row(
        "DPT",
        (Field("depth_below_transducer_m", "depth", PLAIN), Field("transducer_offset_m", "offset", PLAIN)),
    ),
    Row(
        "DBT",
        (
            Field("depth_below_transducer_m", "depth_meters", {"M": (1.0, 0.0)}, "unit_meters"),
            Field("depth_below_transducer_m", "depth_feet", {"f": (FOOT_M, 0.0)}, "unit_feet"),
            Field("depth_below_transducer_m", "depth_fathoms", {"F": (FATHOM_M, 0.0)}, "unit_fathoms"),
        ),
    ),
    Row("MTW", (Field("water_temp_c", "temperature", CELSIUS, "units"),)),
    Row(
        "MWV",
        (
            Field("apparent_wind_angle_rad", "wind_angle", DEGREES, when=("reference", "R")),
            Field("apparent_wind_speed_mps", "wind_speed", WIND, "wind_speed_units", ("reference", "R")),
            Field("true_wind_angle_rad", "wind_angle", DEGREES, when=("reference", "T")),
            Field("true_wind_speed_mps", "wind_speed", WIND, "wind_speed_units", ("reference", "T")),
        ),
        valid=(("status", "A"),),
    ),
    Row(
        "VDR",
        (Field("set_rad", "deg_t", TRUE, "true"), Field("drift_mps", "current", KNOTS, "unit_kn")),
    ),
)
"""One row per sentence; XDR, a list of named transducers, has its table below."""

TRANSDUCERS: Mapping[tuple[str, str], tuple[str, Scale]] = {
    ("C", "C"): ("xdr_temp_c", (1.0, 0.0)),
    ("C", "F"): ("xdr_temp_c", CELSIUS["F"]),
    ("C", "K"): ("xdr_temp_c", (1.0, -273.15)),
    ("D", "M"): ("xdr_depth_m", (1.0, 0.0)),
    ("N", "N"): ("xdr_force_n", (1.0, 0.0)),
    ("A", "D"): ("xdr_angle_rad", (DEG, 0.0)),
    ("G", ""): ("xdr_plain", (1.0, 0.0)),
}
"""XDR (type, unit) -> quantity and scale; every other pair is passed over."""

XDR_PART = 4  # type, value, unit, name: pynmea2's XDR.fields, repeated

KINDS: tuple[str, ...] = (*dict.fromkeys(row.kind for row in ROWS), "XDR")
"""Every sentence type that is used, whatever the talker."""


def field_names(row: Row) -> tuple[str, ...]:
    """Names of a row's fields in the order of the sentence."""
    return row.names or tuple(field[1] for field in getattr(known_talkers, row.kind).fields)
