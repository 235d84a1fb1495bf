"""The traps of careless reading, T1 to T8 without T3 and T8, which are framing."""

from __future__ import annotations

import json

import pynmea2
import pytest
from wire_tools import decoded, summed, values


def test_trap_1_field_access_never_raises() -> None:
    """pynmea2 accepts this RMC and raises when asked for its latitude."""
    text = summed("GPRMC,120000,A,notanumber,N,00830.0,E,1.0,2.0,180726,,")
    with pytest.raises(ValueError, match="notanumber"):
        _ = pynmea2.parse(text, check=True).latitude
    assert set(values(text)) == {"sog_mps", "cog_rad"}
    assert decoded(text).rejects == ("RMC number",)


@pytest.mark.parametrize(
    "number",
    ["nan", "inf", "-inf", "1e999", "1_0", "٣.٥", "0x10", "12.3.4", "--1", "1234567", " 12", "12 ", "+", "."],
)
def test_trap_2_what_is_no_number(number: str) -> None:
    got = decoded(f"$SDDPT,{number},0.0*00")
    assert [r.quantity for r in got.readings] == ["transducer_offset_m"]
    assert got.rejects == ("DPT number",)


@pytest.mark.parametrize("number", ["12.3", "+12.3", "012.3", "12.", "12.30000000"])
def test_trap_2_what_is_a_number(number: str) -> None:
    assert values(summed(f"SDDPT,{number},0.0"))["depth_below_transducer_m"] == pytest.approx(float(number))


@pytest.mark.parametrize(
    "body",
    [
        "SDDPT,1800.0,",
        "SDDPT,-1.0,",
        "YXMTW,41.0,C",
        "YXMTW,-3.0,C",
        "YXMTW,110.0,F",
        "IIVHW,,T,,M,99.0,N,,K",
        "HCHDG,360.1,,,,",
        "HCHDG,-1.0,,,,",
        "TIROT,9999.9,A",
        "IIVDR,,T,,M,20.0,N",
        "GPGLL,9100.0,N,00830.0,E,120000,A",
        "GPGLL,4560.0,N,00830.0,E,120000,A",  # 60 minutes
        "GPGLL,-4500.0,N,00830.0,E,120000,A",
        "GPGLL,4500.0,N,18100.0,E,120000,A",
    ],
)
def test_trap_4_a_damaged_line_that_passes_its_checksum_meets_the_range(body: str) -> None:
    got = decoded(summed(body))
    assert got.readings == ()
    assert [reject.partition(" ")[2] for reject in got.rejects] == ["range"]


@pytest.mark.parametrize(
    "body",
    [
        "GPRMC,120000,V,0000.0,N,00000.0,E,0.0,0.0,180726,,",
        "GPRMC,120000,,4500.0,N,00830.0,E,0.0,0.0,180726,,",
        "GPRMC,120000,A,4500.0,N,00830.0,E,0.0,0.0,180726,,,N",
        "GPRMC,120000,A,4500.0,N,00830.0,E,0.0,0.0,180726,,,S",
        "GPRMC",
        "GPGGA,120000,4500.0,N,00830.0,E,0,00,,,M,,M,,",
        "GPGGA,120000,4500.0,N,00830.0,E,8,00,,,M,,M,,",
        "GPGLL,4500.0,N,00830.0,E,120000,V",
        "GPVTG,10.0,T,,M,5.0,N,,K,N",
        "GPTHS,45.5,V",
        "TIROT,3.0,V",
        "WIMWV,45.0,R,10.0,N,V",
    ],
)
def test_trap_5_void_is_not_used(body: str) -> None:
    """pynmea2 gives latitude 0.0 for the first; not even its time is taken."""
    got = decoded(summed(body))
    kind = body[2:5]
    assert (got.readings, got.utc, got.time_of_day_s, got.rejects, got.used) == (
        (),
        None,
        None,
        (f"{kind} void",),
        True,
    )


def test_trap_5_blank_depth_is_no_reading_and_zero_is_lost_bottom() -> None:
    assert decoded(summed("SDDPT,,0.4,")).rejects == ()
    assert values(summed("SDDPT,,0.4,")) == {"transducer_offset_m": 0.4}
    for body in ("SDDPT,0.0,0.4,", "SDDBT,0.0,f,0.0,M,0.0,F"):
        got = decoded(summed(body))
        assert "depth_below_transducer_m" not in {r.quantity for r in got.readings}
        assert got.rejects == (f"{body[2:5]} lost bottom",)


def test_trap_5_position_null_null_and_half_a_position() -> None:
    assert decoded(summed("GPGLL,0000.0,N,00000.0,E,120000,A")).rejects == ("GLL null position",)
    assert values(summed("GPGLL,0000.0,N,00000.0,E,120000,A")) == {}
    assert values(summed("GPGLL,4500.0,N,,E,120000,A")) == {}


@pytest.mark.parametrize(
    ("date", "clock", "utc"),
    [
        ("010169", "120000", None),  # 1969
        ("060180", "120000", None),  # what a receiver that knows no date says
        ("310226", "120000", None),
        ("000000", "120000", None),
        ("1807", "120000", None),
        ("180726", "120000.25", "2026-07-18T12:00:00.250Z"),
        ("311216", "235960", "2017-01-01T00:00:00Z"),  # leap second; pynmea2 raises TypeError
        ("180726", "240000", None),
        ("180726", "120060", None),
    ],
)
def test_trap_6_dates_and_the_leap_second(date: str, clock: str, utc: str | None) -> None:
    got = decoded(summed(f"GPRMC,{clock},A,4500.0,N,03000.0,W,1.8,200.0,{date},,"))
    assert got.utc == utc
    assert {"lat_deg", "lon_deg", "sog_mps", "cog_rad"} == {r.quantity for r in got.readings}


def test_trap_6_time_without_date() -> None:
    got = decoded(summed("GPZDA,095559,,,,00,"))
    assert (got.utc, got.time_of_day_s, got.rejects) == (None, 9 * 3600 + 55 * 60 + 59, ())
    assert decoded(summed("GPZDA,195719,16,04,14,-02,00")).rejects == ("ZDA date",)


def test_trap_7_readings_are_strict_json() -> None:
    got = decoded(summed("GPRMC,120000,A,4500.0,N,03000.0,W,nan,inf,180726,1e5,W"))
    json.dumps([r.value for r in got.readings], allow_nan=False)
    assert got.rejects == ("RMC number",) * 3
