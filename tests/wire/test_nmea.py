"""Meaning of fields against published examples and the public description of the sentences."""

from __future__ import annotations

import math

import pytest
from wire_tools import decoded, summed, values

from assistant.sensing.nmea import KINDS, QUANTITIES, REJECT_REASONS
from assistant.units import FOOT_M, KNOT_MPS

DEG = math.pi / 180.0

PUBLISHED = [
    # (sentence, quantities, UTC): "NMEA Revealed", gpsd project, the example of each sentence's section;
    # numbers converted here by hand from its field descriptions
    (
        "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
        {"lat_deg": 44 + 4.13993 / 60, "lon_deg": -(121 + 18.86023 / 60), "sog_mps": 0.146 * 1852 / 3600},
        "2017-01-10T00:10:31Z",
    ),
    (
        "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M,,*47",
        {"lat_deg": 44 + 4.14036 / 60, "lon_deg": -(121 + 18.85961 / 60)},
        None,
    ),
    (
        "$GNGLL,4404.14012,N,12118.85993,W,001037.00,A,A*67",
        {"lat_deg": 44 + 4.14012 / 60, "lon_deg": -(121 + 18.85993 / 60)},
        None,
    ),
    (
        "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
        {"cog_rad": 220.86 * DEG, "sog_mps": 2.550 * 1852 / 3600},
        None,
    ),
    ("$GPZDA,160012.71,11,03,2004,-1,00*7D", {}, "2004-03-11T16:00:12.710Z"),
    ("$GPHDT,274.07,T*03", {"heading_true_rad": 274.07 * DEG}, None),
    ("$HEROT,0.0,A*2B", {"rate_of_turn_radps": 0.0}, None),
    ("$INDPT,2.3,0.0*46", {"depth_below_transducer_m": 2.3, "transducer_offset_m": 0.0}, None),
    ("$SDDBT,7.8,f,2.4,M,1.3,F*0D", {"depth_below_transducer_m": 2.4}, None),
    ("$INMTW,17.9,C*1B", {"water_temp_c": 17.9}, None),
]

MEANINGS = [
    # body, quantities; fields and signs as "NMEA Revealed" describes them, conversions by hand
    ("SDDBT,,f,22.5,M,,F", {"depth_below_transducer_m": 22.5}),  # its own example of blanks
    ("SDDBT,7.8,f,,M,,F", {"depth_below_transducer_m": 7.8 * FOOT_M}),
    ("SDDBT,,f,,M,2.0,F", {"depth_below_transducer_m": 12.0 * FOOT_M}),
    ("SDDPT,5.3,-0.4,", {"depth_below_transducer_m": 5.3, "transducer_offset_m": -0.4}),
    ("TIROT,-30.0,A", {"rate_of_turn_radps": -30.0 / 60.0 * DEG}),  # "-" bow turns to port
    ("HCHDG,100.0,2.0,E,9.0,W", {"heading_magnetic_rad": 102.0 * DEG, "variation_rad": -9.0 * DEG}),
    ("HCHDG,1.0,2.0,W,9.0,E", {"heading_magnetic_rad": 359.0 * DEG, "variation_rad": 9.0 * DEG}),
    ("HCHDM,360.0,M", {"heading_magnetic_rad": 0.0}),
    ("GPTHS,45.5,A", {"heading_true_rad": 45.5 * DEG}),
    (
        "IIVHW,200.0,T,209.0,M,1.8,N,,K",
        {"heading_true_rad": 200 * DEG, "heading_magnetic_rad": 209 * DEG, "stw_mps": 1.8 * KNOT_MPS},
    ),
    ("IIVHW,,T,,M,,N,3.6,K", {"stw_mps": 1.0}),
    ("IIVTG,54.7,34.4,5.5,10.2", {"cog_rad": 54.7 * DEG, "sog_mps": 5.5 * KNOT_MPS}),  # before 2002
    ("VDVBW,3.0,0.1,A,3.0,-4.0,A", {"stw_mps": 3.0 * KNOT_MPS, "sog_mps": 5.0 * KNOT_MPS}),
    ("VDVBW,3.0,0.1,A,3.0,,V", {"stw_mps": 3.0 * KNOT_MPS}),
    ("IIVDR,350.0,T,359.0,M,0.5,N", {"set_rad": 350 * DEG, "drift_mps": 0.5 * KNOT_MPS}),
    (
        "WIMWV,45.0,R,10.0,M,A",
        {"apparent_wind_angle_rad": 45 * DEG, "apparent_wind_speed_mps": 10.0},
    ),
    ("WIMWV,45.0,T,36.0,K,A", {"true_wind_angle_rad": 45 * DEG, "true_wind_speed_mps": 10.0}),
    ("YXMTW,69.8,F", {"water_temp_c": 21.0}),  # pynmea2 does not convert
    ("YXMTW,+21.5,C", {"water_temp_c": 21.5}),
    (
        "GPRMC,120000,A,0000.0,N,00830.0,W,,,180726,9.0,W",
        {"lat_deg": 0.0, "lon_deg": -8.5, "variation_rad": -9 * DEG},
    ),
]


@pytest.mark.parametrize(("text", "expected", "utc"), PUBLISHED)
def test_published_examples(text: str, expected: dict[str, float], utc: str | None) -> None:
    assert values(text) == pytest.approx(expected, rel=1e-9)
    assert decoded(text).utc == utc
    assert decoded(text).rejects == ()


@pytest.mark.parametrize(("body", "expected"), MEANINGS)
def test_meaning_of_fields(body: str, expected: dict[str, float]) -> None:
    assert values(summed(body)) == pytest.approx(expected, abs=1e-9)
    assert decoded(summed(body)).rejects == ()


def test_named_transducers() -> None:
    """XDR: several in one sentence, the name in the source; unused kinds and non-numbers are left out."""
    got = decoded(
        summed(
            "IIXDR,C,10.7,C,BALL,D,24.5,M,BALL,N,88,N,P1,A,180,D,LEAN,G,1.9,,V,P,1.0,B,TANK,C,-1.-3,C,BAD,C,,C,NONE"
        )
    )
    assert [(r.quantity, r.value, r.source) for r in got.readings] == [
        ("xdr_temp_c", 10.7, "udp:10110/XDR#BALL"),
        ("xdr_depth_m", 24.5, "udp:10110/XDR#BALL"),
        ("xdr_force_n", 88.0, "udp:10110/XDR#P1"),
        ("xdr_angle_rad", pytest.approx(math.pi), "udp:10110/XDR#LEAN"),
        ("xdr_plain", 1.9, "udp:10110/XDR#V"),
    ]
    assert got.rejects == ("XDR number",)


def test_readings_carry_arrival_and_source() -> None:
    (reading,) = decoded("$INMTW,17.9,C*1B").readings
    assert (reading.t_s, reading.source) == (1.5, "udp:10110/MTW")


@pytest.mark.parametrize("talker", ["GP", "GN", "II", "IN", "SD", "CC", "XX"])
def test_any_talker(talker: str) -> None:
    assert values(summed(f"{talker}MTW,17.9,C")) == {"water_temp_c": 17.9}


@pytest.mark.parametrize(
    "body", ["GPGSV,1,1,00", "PGRMC,1,2", "IIRWV,080,R,00.3,N,A", "GPECQ,RMC", "II", "GPRMC2,1", "ABCDEFGH"]
)
def test_types_nobody_uses(body: str) -> None:
    """Other types, proprietary ones that end like a known one, queries, garbled names."""
    got = decoded(summed(body))
    assert (got.used, got.readings, got.rejects) == (False, (), ())
    assert not decoded("!AIVDM,1,1,,A,15M,0*00").used


def test_unit_letter_must_be_known() -> None:
    for body in ("YXMTW,300.0,K", "YXMTW,21.0,", "IIVHW,,T,,M,5.0,K,,", "HCHDG,10.0,,,9.0,X"):
        assert [reject.partition(" ")[2] for reject in decoded(summed(body)).rejects] == ["unit"]


def test_table_is_consistent() -> None:
    """Every type has a use, the sentences asked for are there, reasons and quantities are well formed."""
    wanted = {
        "VBW",
        "MWV",
        "XDR",
        "RMC",
        "DPT",
        "MTW",
        "GGA",
        "GLL",
        "HDG",
        "ZDA",
        "DBT",
        "THS",
        "VTG",
        "ROT",
        "VDR",
        "HDM",
        "HDT",
        "VHW",
    }
    assert wanted <= set(KINDS)
    assert len(set(REJECT_REASONS)) == len(REJECT_REASONS)
    for quantity in QUANTITIES.values():
        assert quantity.low < quantity.high
        assert quantity.unit in {"m", "m/s", "rad", "rad/s", "deg", "degC", "N", ""}
