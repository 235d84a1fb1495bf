"""Dates and times of day as sentences write them, as plain numbers; no clock is asked.

A day is counted from 1970-01-01, a time of day in seconds. The leap second 23:59:60 is 86 400 s, which is
00:00:00 of the next day, as POSIX time has it.
Source of the day count: the Gregorian calendar's rule; the tests hold it against Python's own datetime.
"""

from __future__ import annotations

import math
import re

DAY_S = 86400.0
FIRST_YEAR = 2000  # a receiver that says less has not found the date (or its week counter rolled over)

_TIME = re.compile(r"([01][0-9]|2[0-3])([0-5][0-9])([0-5][0-9]|60)(\.[0-9]{0,6})?")
_DDMMYY = re.compile(r"[0-9]{6}")
_ISO = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})"
    r"(?:T([01][0-9]|2[0-3]):([0-5][0-9]):((?:[0-5][0-9]|60)(?:\.[0-9]+)?)Z)?"
)
_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def time_of_day_s(text: str) -> float | None:
    """Seconds after midnight of `hhmmss` or `hhmmss.ss`, 86 400 for a leap second; None if it is no time."""
    found = _TIME.fullmatch(text)
    if found is None or (found[3] == "60" and (found[1], found[2]) != ("23", "59")):
        return None
    fraction = float(found[4]) if found[4] and found[4] != "." else 0.0
    return min(int(found[1]) * 3600 + int(found[2]) * 60 + int(found[3]) + fraction, DAY_S)


def days(year: int, month: int, day: int) -> int | None:
    """Days since 1970-01-01, None if there is no such date or it is before FIRST_YEAR (or after 2099)."""
    if not (FIRST_YEAR <= year <= 2099 and 1 <= month <= 12):
        return None
    leap = year % 4 == 0  # 2000 is a leap year, 2100 is out of range
    if not 1 <= day <= _MONTH_DAYS[month - 1] + (leap and month == 2):
        return None
    before = year - 1
    to_new_year = before * 365 + before // 4 - before // 100 + before // 400
    return to_new_year + sum(_MONTH_DAYS[: month - 1]) + (leap and month > 2) + day - 719163


def days_of_ddmmyy(text: str) -> int | None:
    """Day of a six digit date; years 69-99 are the last century (POSIX %y), hence None."""
    if _DDMMYY.fullmatch(text) is None:
        return None
    year = int(text[4:])
    return days(2000 + year if year < 69 else 1900 + year, int(text[2:4]), int(text[:2]))


def days_of_parts(day: str, month: str, year: str) -> int | None:
    """Day of the three fields of a ZDA; a year of two digits is no year."""
    if not (day.isascii() and day.isdigit() and month.isascii() and month.isdigit()):
        return None
    if not (year.isascii() and year.isdigit() and len(year) == 4 and len(day) <= 2 and len(month) <= 2):
        return None
    return days(int(year), int(month), int(day))


def iso(day: int, second_s: float) -> str:
    """ISO 8601 with Z of `second_s` [s] after the start of `day`; milliseconds only where there are any."""
    millis = round(second_s * 1000.0)
    day += millis // 86_400_000
    millis %= 86_400_000
    seconds, millis = divmod(millis, 1000)
    fraction = f".{millis:03d}" if millis else ""
    clock = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"{_date(day)}T{clock}{fraction}Z"


def _date(day: int) -> str:
    year = 1970 + day // 366
    while True:
        start = days(year + 1, 1, 1)
        if start is None or start > day:
            break
        year += 1
    new_year = days(year, 1, 1)
    if new_year is None:
        raise ValueError(f"day {day}: outside {FIRST_YEAR}-2099")
    rest, month = day - new_year, 0
    lengths = [d + (year % 4 == 0 and i == 1) for i, d in enumerate(_MONTH_DAYS)]
    while rest >= lengths[month]:
        rest -= lengths[month]
        month += 1
    return f"{year:04d}-{month + 1:02d}-{rest + 1:02d}"


def seconds_of_iso(text: str) -> float | None:
    """Seconds since 1970-01-01 of an ISO date or `date T time Z`; None if it is not one of these."""
    found = _ISO.fullmatch(text)
    day = days(int(found[1]), int(found[2]), int(found[3])) if found else None
    if found is None or day is None:
        return None
    clock = int(found[4]) * 3600 + int(found[5]) * 60 + float(found[6]) if found[4] else 0.0
    return day * DAY_S + clock


def iso_of_seconds(seconds: float) -> str:
    """ISO 8601 with Z of seconds since 1970-01-01."""
    day = math.floor(seconds / DAY_S)
    return iso(day, seconds - day * DAY_S)
