"""Dates as plain numbers, held against Python's datetime."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.sensing import dates

DAYS = st.dates(date(2000, 1, 1), date(2099, 12, 31))


@given(DAYS)
def test_day_count(day: date) -> None:
    expected = (day - date(1970, 1, 1)).days
    assert dates.days(day.year, day.month, day.day) == expected
    assert dates.days_of_parts(f"{day.day:02d}", str(day.month), str(day.year)) == expected
    if day.year < 2069:
        assert dates.days_of_ddmmyy(day.strftime("%d%m%y")) == expected


@given(DAYS, st.integers(0, 86_399_999))
def test_iso_there_and_back(day: date, millis: int) -> None:
    number = (day - date(1970, 1, 1)).days
    text = dates.iso(number, millis / 1000.0)
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(milliseconds=millis)
    assert datetime.fromisoformat(text) == moment
    assert dates.seconds_of_iso(text) == pytest.approx(moment.timestamp(), abs=5e-4)
    assert dates.iso_of_seconds(moment.timestamp()) == text


@pytest.mark.parametrize(
    "parts", [(2026, 2, 29), (2026, 4, 31), (1999, 12, 31), (2100, 1, 1), (2026, 13, 1), (2026, 0, 1)]
)
def test_what_is_no_date(parts: tuple[int, int, int]) -> None:
    assert dates.days(*parts) is None


@pytest.mark.parametrize("text", ["", "12", "120060", "240000", "12000a", "120000.1.2", "-20000", "١٢٠٠٠٠"])
def test_what_is_no_time(text: str) -> None:
    assert dates.time_of_day_s(text) is None
