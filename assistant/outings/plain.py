"""The frozen types of messages.py as plain JSON values and back, by their own annotations. Pure.

What is written holds every field, so that a default that changes later does not change an old outing; `sparse`
leaves out what equals its default, for types whose defaults mean "nothing came" (Inputs, LineSetting).
What is read may lack fields (then their defaults hold) and have others (passed over).
"""

from __future__ import annotations

import dataclasses
import math
import types
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

T = TypeVar("T")

ODD_FLOAT = "float"  # {"float": "nan"}: strict JSON has no such numbers


def to_plain(value: object, sparse: bool = False) -> object:
    """`value` (frozen dataclasses, mappings, tuples, numbers, texts, None) as plain JSON values.

    Raises:
        TypeError: something else is in it.
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else {ODD_FLOAT: repr(value)}
    if isinstance(value, Mapping):
        return {str(key): to_plain(inner, sparse) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(inner, sparse) for inner in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            row.name: to_plain(inner, sparse)
            for row in dataclasses.fields(value)
            for inner in [getattr(value, row.name)]
            if not (sparse and inner == _default(row))
        }
    raise TypeError(f"{type(value).__name__} has no plain form")


def _default(row: dataclasses.Field[Any]) -> object:
    if row.default_factory is not dataclasses.MISSING:
        return row.default_factory()
    return row.default


def from_plain(kind: type[T], data: object) -> T:
    """A value of the dataclass `kind` from what `to_plain` gave.

    Raises:
        ValueError: `data` does not fit.
    """
    try:
        return cast(T, _reader(cast(Any, kind))(data))
    except (TypeError, KeyError, RecursionError, OverflowError) as error:
        raise ValueError(f"does not fit {kind.__name__}: {error}") from None


Reader = Callable[[object], Any]


@cache
def _reader(kind: Any) -> Reader:
    """What reads a dataclass, Literal, union, tuple, Mapping, float, int, str, bool or None; made once for each."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is Literal:
        return lambda data: _one_of(arguments, data)
    if origin in (Union, types.UnionType):
        return _union(arguments)
    if origin is tuple:
        return _tuple(arguments)
    if origin is not None and issubclass(origin, Mapping):
        return _mapping(_reader(arguments[1]))
    if dataclasses.is_dataclass(kind):
        return _dataclass(cast(type, kind))
    return lambda data: _simple(kind, data)


def _mapping(inner: Reader) -> Reader:
    def read(data: object) -> object:
        if not isinstance(data, dict):
            raise ValueError("want an object")
        return {key: inner(value) for key, value in data.items()}

    return read


def _dataclass(kind: type) -> Reader:
    readers = {name: _reader(hint) for name, hint in get_type_hints(kind).items()}

    def read(data: object) -> object:
        if not isinstance(data, dict):
            raise ValueError("want an object")
        return kind(**{name: readers[name](value) for name, value in data.items() if name in readers})

    return read


def _one_of(allowed: tuple[object, ...], data: object) -> object:
    for one in allowed:
        if type(one) is type(data) and one == data:
            return one
    raise ValueError(f"{data!r} is none of {allowed}")


def _union(kinds: tuple[Any, ...]) -> Reader:
    """The first kind that fits. Finite numbers and null, of which forecasts are made, are taken as they are."""
    readers = [_reader(kind) for kind in kinds]
    at_once = {float, type(None)} if set(kinds) == {float, type(None)} else set()

    def read(data: object) -> object:
        if type(data) in at_once:
            return data
        for reader in readers:
            try:
                return reader(data)
            except (ValueError, TypeError):
                continue
        raise ValueError(f"{data!r} fits none of {kinds}")

    return read


def _tuple(kinds: tuple[Any, ...]) -> Reader:
    alike = len(kinds) == 2 and kinds[1] is Ellipsis
    readers = [_reader(kind) for kind in kinds[:1] if alike] or [_reader(kind) for kind in kinds]

    def read(data: object) -> object:
        if not isinstance(data, list):
            raise ValueError("want a list")
        if alike:
            return tuple(map(readers[0], data))
        return tuple(reader(inner) for reader, inner in zip(readers, data, strict=True))

    return read


def _simple(kind: object, data: object) -> object:
    if type(data) is float and kind is float:
        return data
    if kind is float and isinstance(data, dict):
        return float(data[ODD_FLOAT])
    if kind is float and isinstance(data, int) and not isinstance(data, bool):
        return float(data)
    if kind in (None, type(None)) and data is None:
        return None
    if kind in (int, str, bool) and type(data) is kind:
        return data
    raise ValueError(f"{data!r} is no {kind}")
