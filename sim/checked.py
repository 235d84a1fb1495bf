"""Numbers from files, checked against a row that says what is allowed."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


class CheckError(ValueError):
    """What is wrong with a file or case: key, value, allowed."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number's key, allowed range (both ends included) and default; default None = must be there."""

    key: str
    low: float
    high: float
    default: float | None = None


def number(value: Any, row: Number, where: str = "") -> float:
    """Check one number against its row.

    Raises:
        CheckError: not a finite number in range.
    """
    allowed = f"allowed: a number from {row.low:g} to {row.high:g}"
    if value is None:
        if row.default is None:
            raise CheckError(f"{where}{row.key}: missing; {allowed}")
        return row.default
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise CheckError(f"{where}{row.key}: {value!r}; {allowed}")
    if not math.isfinite(value) or not row.low <= value <= row.high:
        raise CheckError(f"{where}{row.key}: {value!r}; {allowed}")
    return float(value)


def known_keys(table: Mapping[str, Any], known: Iterable[str], where: str = "") -> None:
    """Refuse a key nobody reads.

    Raises:
        CheckError: names the key and the nearest known one.
    """
    names = sorted(known)
    for key in table:
        if key not in names:
            near = difflib.get_close_matches(key, names, n=1)
            hint = f"; nearest: {near[0]}" if near else ""
            raise CheckError(f"{where}{key}: unknown key; allowed: {', '.join(names)}{hint}")


def numbers(table: Mapping[str, Any], rows: Iterable[Number], where: str = "") -> dict[str, float]:
    """Check every row's number of a table; keys without a row are left alone."""
    return {row.key: number(table.get(row.key), row, where) for row in rows}
