"""Reads one configuration file: TOML -> checked values in SI; notes every problem, not just the first."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from assistant.config_keys import (
    ABOUT,
    BAND_KEYS,
    BODY_COEFFICIENTS,
    FAMILY,
    LABEL_KEYS,
    LINE_COEFFICIENTS,
    OPTIONAL,
    SETTING_KEYS,
    SLIDES_KEY,
    SOURCE_KEY,
    Check,
    Key,
    choice,
)
from assistant.configured import BodyType, Coefficient, LineType

MAX_BYTES = 256_000  # the packaged files are under 4 kB each


class ConfigError(Exception):
    """All that is wrong with a configuration; one line each: file, key, value, allowed, next step."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


PASSWORD = re.compile(r"(://[^:/@\s]*:)[^@\s]*@")
"""The password of a URL: no message repeats it."""


@dataclass
class Problems:
    """Collects what is wrong, so that a user sees all of it at once."""

    lines: list[str] = field(default_factory=list)

    def add(self, file: Path, key: str, value: object, allowed: str) -> None:
        """Note one wrong value of `key` in `file`, with what is allowed and so the next step."""
        shown = PASSWORD.sub(r"\1***@", repr(value))
        shown = shown if len(shown) <= 60 else shown[:57] + "..."
        self.lines.append(f"{file}: {key} = {shown}: {allowed}")

    def note(self, file: Path, message: str) -> None:
        """Note something wrong with `file` that is not one value."""
        self.lines.append(f"{file}: {message}")


def nearest(name: str, known: Iterable[str]) -> str:
    """The words that point from an unknown name to the nearest known one, or to all of them."""
    names = sorted(known)
    close = get_close_matches(name, names, n=1, cutoff=0.5)
    return f'did you mean "{close[0]}"?' if close else "known: " + ", ".join(names)


def read_keys(
    file: Path, where: str, table: Mapping[str, Any], keys: Iterable[Key], problems: Problems
) -> dict[str, Any]:
    """Check one TOML table, at the place `where` in the file, against its rows; the good values by key."""
    rows = {key.name: key for key in keys}
    good: dict[str, Any] = {}
    for name, raw in table.items():
        if name not in rows:
            problems.add(file, where + name, raw, f"no such key; {nearest(name, rows)}")
            continue
        try:
            good[name] = rows[name].check(raw)
        except ValueError as error:
            problems.add(file, where + name, raw, f"{error} ({rows[name].about})")
    for name, row in rows.items():
        if row.required and name not in table:
            problems.note(file, f"{where}{name} is missing: add it ({row.about})")
    return good


def read_toml(file: Path, problems: Problems) -> dict[str, Any] | None:
    """Read one TOML file of modest size, a byte order mark allowed; None (and a problem) when it is none."""
    try:
        with file.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            problems.note(file, f"over {MAX_BYTES} bytes: this is no configuration; look for the right file")
            return None
        return tomllib.loads(data.decode("utf-8-sig"))
    except OSError as error:
        problems.note(file, f"cannot be read ({error.strerror}); check the path and its permissions")
    except UnicodeDecodeError as error:
        problems.note(file, f"byte {error.start} is not UTF-8; save the file as UTF-8")
    except (ValueError, RecursionError) as error:
        problems.note(file, f"not TOML ({error or 'nested too deeply'}); mend that line")
    return None


def read_coefficient(
    file: Path, name: str, raw: object, allowed: Check, problems: Problems
) -> Coefficient | None:
    """Read one [coefficient] table: value and band within the range `allowed`, and a source."""
    if not isinstance(raw, dict):
        problems.add(file, name, raw, f"want a table [{name}] with value, low, high and source")
        return None
    numbers = [replace(key, check=allowed) for key in BAND_KEYS]
    good = read_keys(file, f"{name}.", raw, [*numbers, SOURCE_KEY], problems)
    if len(good) < len(numbers) + 1:
        return None
    band = Coefficient(**good)
    if not band.low <= band.value <= band.high:
        order = f"want low <= value <= high, here {band.low:g}..{band.high:g}"
        problems.add(file, f"{name}.value", band.value, order)
    return band


def read_coefficients(
    file: Path, table: Mapping[str, Any], ranges: Mapping[str, Check], problems: Problems
) -> dict[str, Coefficient]:
    """Read the [coefficient] tables of a line or body, each within its range; none may be missing."""
    result: dict[str, Coefficient] = {}
    for name, raw in table.items():
        if name not in ranges:
            problems.add(file, name, raw, f"no such key; {nearest(name, ranges)}")
        elif coefficient := read_coefficient(file, name, raw, ranges[name], problems):
            result[name] = coefficient
    for name in ranges:
        if name not in table and name not in OPTIONAL:
            problems.note(file, f"[{name}] is missing: add it with value, low, high and source")
    return result


def read_line(file: Path, problems: Problems) -> LineType | None:
    """Read one file of lines/."""
    table = read_toml(file, problems)
    if table is None:
        return None
    names = {ABOUT.name, FAMILY.name}
    head = read_keys(file, "", {k: v for k, v in table.items() if k in names}, [ABOUT, FAMILY], problems)
    rest = {k: v for k, v in table.items() if k not in names}
    coefficients = read_coefficients(file, rest, LINE_COEFFICIENTS, problems)
    return LineType(file.stem, head.get("about", ""), coefficients, head.get("family", ""))


def read_body(file: Path, problems: Problems) -> BodyType | None:
    """Read one file of bodies/; its kind decides which coefficients it needs."""
    table = read_toml(file, problems)
    if table is None:
        return None
    keys = [Key("kind", choice(*BODY_COEFFICIENTS), "decides the force law", True), ABOUT, FAMILY]
    if table.get("kind") == "planer":
        keys += [SLIDES_KEY, *dial_keys(file, table, problems)]
    names = {key.name for key in keys}
    head = read_keys(file, "", {k: v for k, v in table.items() if k in names}, keys, problems)
    if "kind" not in head:
        return None
    rest = {k: v for k, v in table.items() if k not in names}
    coefficients = read_coefficients(file, rest, BODY_COEFFICIENTS[head["kind"]], problems)
    low, high = head.get("setting_min"), head.get("setting_max")
    if low is not None and high is not None and low >= high:
        problems.add(file, "setting_max", high, f"want more than setting_min ({low:g})")
    labels, slides = head.get("settings"), head.get("slides", False)
    about, family = head.get("about", ""), head.get("family", "")
    return BodyType(file.stem, head["kind"], about, coefficients, low, high, labels, slides, family)


def dial_keys(file: Path, table: Mapping[str, Any], problems: Problems) -> tuple[Key, ...]:
    """The keys of a planer's dial: a table of labels, a range of numbers, or none (it runs straight).

    Labels go with the coefficient roll_factor, numbers with roll_per_setting_deg.
    """
    numbers = {"roll_per_setting_deg", *(key.name for key in SETTING_KEYS)}
    labelled = "settings" in table or "roll_factor" in table
    if not labelled and not numbers & set(table):
        return ()
    roll = "roll_factor" if labelled else "roll_per_setting_deg"
    if roll not in table:
        problems.note(file, f"[{roll}] is missing: add it with value, low, high and source")
    for name in sorted(numbers & set(table)) if labelled else ():
        problems.add(file, name, table[name], "this dial has settings with labels; keep one of the two")
    return LABEL_KEYS if labelled else SETTING_KEYS
