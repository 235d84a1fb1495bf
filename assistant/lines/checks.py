"""Checks of numbers, lists and objects in a towing case; every refusal says key, value and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

REQUIRED = object()
Limits = tuple[float, float, Any]
"""least, most, default; a default of REQUIRED must be given"""


class CaseError(ValueError):
    """A case that cannot be read: says key, value and what is allowed."""


def shown(value: Any) -> str:
    """A value as it was given, cut short."""
    return f"{value!r:.80}"


def checked(value: Any, limits: Limits, where: str) -> float:
    """A finite number within its limits (NaN is within none)."""
    least, most, _ = limits
    fine = isinstance(value, int | float) and not isinstance(value, bool)
    if not fine or not least <= value <= most or math.isinf(value):
        raise CaseError(f"{where}: {shown(value)}; allowed: a number from {least:g} to {most:g}")
    return float(value)


def number(table: Mapping[str, Any], key: str, limits: Limits, where: str = "") -> float:
    """One number within its limits, or its default where absent."""
    if key not in table:
        if limits[2] is REQUIRED:
            raise CaseError(f"{where}{key}: missing; allowed: a number from {limits[0]:g} to {limits[1]:g}")
        return float(limits[2])
    return checked(table[key], limits, where + key)


def numbers(table: Any, limits: Mapping[str, Limits], where: str) -> dict[str, float]:
    """All numbers of an object, by the keys of `limits`."""
    if not isinstance(table, Mapping):
        raise CaseError(f"{where.rstrip('.')}: {shown(table)}; allowed: an object with {', '.join(limits)}")
    return {key: number(table, key, limit, where) for key, limit in limits.items()}


def series(table: Mapping[str, Any], key: str, limits: Limits, where: str) -> list[float]:
    """A list of at least one number, each within the limits."""
    values = listed(table, key, where)
    if not values:
        raise CaseError(f"{where}{key}: []; allowed: at least one number")
    return [checked(v, limits, f"{where}{key}[{i}]") for i, v in enumerate(values)]


def mapping(table: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """An object."""
    value = table.get(key)
    if not isinstance(value, Mapping):
        raise CaseError(f"{key}: {shown(value)}; allowed: an object")
    return value


def listed(table: Mapping[str, Any], key: str, where: str = "") -> list[Any]:
    """A list of anything."""
    value = table.get(key)
    if not isinstance(value, list):
        raise CaseError(f"{where}{key}: {shown(value)}; allowed: a list")
    return value


def increasing(values: Any, where: str) -> None:
    """Refuse numbers of which one is not above that before."""
    for i in np.flatnonzero(np.diff(values) <= 0.0):
        raise CaseError(f"{where}: {values[i]:g} followed by {values[i + 1]:g}; allowed: strictly increasing")
