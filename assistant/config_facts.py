"""Reads facts.toml: what is known of whole rigs, which ties the coefficients of their parts together."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_coefficient, read_keys, read_toml
from assistant.config_keys import COUNTER_RANGE, LINE_OF_TEXT, PART_NAME, Check, Key, choice, length, number
from assistant.config_spread import Known, read_rig
from assistant.configured import UNMARKED, Coefficient, Fact, RigPart, Rod
from assistant.units import SPEEDS_MPS, split_quantity

FACTS = "facts.toml"
MAX_FACTS, MAX_LURES = 40, 4
TIP_M = 1.2  # a rod tip above the water, where nothing is told of it
DEPTH = length(0.5, 300.0)
RATIO = number(0.05, 20.0)


def speed(raw: object) -> float:
    """A speed with its unit, 0.2..4 m/s."""
    value = -1.0
    if isinstance(raw, str):
        try:
            typed, unit = split_quantity(raw, SPEEDS_MPS)
            value = typed * SPEEDS_MPS[unit]
        except ValueError:
            pass  # said below
    if not 0.2 <= value <= 4.0:
        raise ValueError(
            f'want a speed with its unit ({", ".join(SPEEDS_MPS)}), such as "2.4 mph", 0.2..4 m/s'
        )
    return value


def pair(check: Check, words: str) -> Check:
    """Two values [least, most] that pass `check`."""

    def both(raw: object) -> tuple[Any, Any]:
        if not isinstance(raw, list) or len(raw) != 2:
            raise ValueError(f"want two {words}, least and most")
        least, most = (check(one) for one in raw)
        if least > most:  # type: ignore[operator]  # both are numbers
            raise ValueError(f"want two {words}, the least first")
        return least, most

    return both


def lures(raw: object) -> tuple[str, ...]:
    """Names of bodies."""
    if not isinstance(raw, list) or not 1 <= len(raw) <= MAX_LURES:
        raise ValueError(f"want a list of 1..{MAX_LURES} files of bodies/")
    return tuple(str(PART_NAME(name)) for name in raw)


FACT_KEYS = (
    Key("about", LINE_OF_TEXT, "what it is, in words", required=True),
    Key("rig", lambda raw: raw, "a list of parts from the reel to the hook", required=True),
    Key("line_out", length(0.5, 600.0), "what the counter shows", required=True),
    Key("lures", lures, "what the last body may have been, each as likely"),
    Key("counter", lambda raw: raw, "a table: value, low, high, source of true line out / counter reading"),
    Key("setting", pair(number(0.0, 10.0), "marks of the dial"), "the range it is told of"),
    Key("speed", pair(speed, "speeds"), "the range it is told of", required=True),
    Key("of", choice("lure", "planer"), "whose depth: the last body's or the first one's"),
    Key("instead", lambda raw: raw, "a table: the other lure or speed of a ratio"),
    Key("depth", lambda raw: raw, "a table: value, low, high, source of the depth told"),
    Key(
        "ratio",
        lambda raw: raw,
        "a table: value, low, high, source of depth with `instead` over depth without",
    ),
)
INSTEAD_KEYS = (
    Key("lure", PART_NAME, "a file of bodies/"),
    Key("speed", speed, "another speed"),
)


def read_facts(
    directory: Path, packaged: Path, own: Collection[str], known: Known, problems: Problems
) -> tuple[Fact, ...]:
    """The facts of a configuration: its own facts.toml, else the packaged ones that speak of packaged gear.

    Args:
        own: stems of the line and body files that the directory itself holds.
    """
    if (directory / FACTS).exists():
        return _read_file(directory / FACTS, known, problems)
    return tuple(fact for fact in _read_file(packaged / FACTS, known, problems) if not set(own) & named(fact))


def named(fact: Fact) -> set[str]:
    """Every line and body a fact speaks of."""
    parts = {name for part in fact.rod.rig for name in (part.line, part.body) if name is not None}
    return parts | set(fact.lures) | ({fact.instead_lure} if fact.instead_lure is not None else set())


def _read_file(file: Path, known: Known, problems: Problems) -> tuple[Fact, ...]:
    table = read_toml(file, problems) or {}
    for name in table:
        if name != "fact":
            problems.add(file, name, table[name], f"no such key; {nearest(name, ['fact'])}")
    raw = table.get("fact", [])
    if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
        problems.note(file, "fact is not a list of tables: begin each fact with [[fact]]")
        return ()
    if len(raw) > MAX_FACTS:
        problems.note(file, f"{len(raw)} facts: want at most {MAX_FACTS}; keep those that matter")
        return ()
    read = [_read_fact(file, f"fact[{index}].", item, known, problems) for index, item in enumerate(raw, 1)]
    return tuple(fact for fact in read if fact is not None)


def _read_fact(
    file: Path, where: str, item: Mapping[str, Any], known: Known, problems: Problems
) -> Fact | None:
    before = len(problems.lines)
    good = read_keys(file, where, item, FACT_KEYS, problems)
    rig = read_rig(file, f"{where}rig", good.get("rig", []), known, problems) if "rig" in item else ()
    instead = _instead(file, where, good.get("instead"), problems)
    says = _says(file, where, good, problems)
    counter: Coefficient | None = UNMARKED
    if "counter" in good:
        counter = read_coefficient(file, f"{where}counter", good["counter"], COUNTER_RANGE, problems)
    if len(problems.lines) > before or says is None or counter is None:
        return None
    several = good.get("lures", (str(rig[-1].body),))
    for lure in (*several, *([instead["lure"]] if "lure" in instead else [])):
        if lure not in known.bodies:
            problems.add(
                file, f"{where}lures", lure, f"no such file in bodies/; {nearest(lure, known.bodies)}"
            )
    _check_setting(file, where, rig, good.get("setting"), problems)
    if len(problems.lines) > before:
        return None
    rod = Rod("fact", "starboard", good["about"], 0.0, 0.0, TIP_M, good["line_out"], rig, counter=counter)
    return Fact(
        rod, says, several, good["speed"], good.get("setting"), good.get("of", "lure"),
        instead.get("lure"), instead.get("speed"),
    )  # fmt: skip


def _instead(file: Path, where: str, raw: object, problems: Problems) -> dict[str, Any]:
    if raw is None:
        return {}
    if not isinstance(raw, dict) or len(raw) != 1:
        problems.add(file, f"{where}instead", raw, 'want { lure = "flasher-fly" } or { speed = "2.9 mph" }')
        return {}
    return read_keys(file, f"{where}instead.", raw, INSTEAD_KEYS, problems)


def _says(file: Path, where: str, good: Mapping[str, Any], problems: Problems) -> Coefficient | None:
    """The band of what is told: a ratio where there is something `instead`, else a depth."""
    key, allowed = ("ratio", RATIO) if "instead" in good else ("depth", DEPTH)
    other = {"ratio": "depth", "depth": "ratio"}[key]
    if key not in good or other in good:
        problems.note(
            file, f"{where}{key} is what is wanted here: a ratio goes with `instead`, a depth without"
        )
        return None
    says = read_coefficient(file, f"{where}{key}", good[key], allowed, problems)
    if says is not None and not says.low < says.value < says.high:
        problems.note(file, f"{where}{key}: want low < value < high; nothing is told exactly")
        return None
    return says


def _check_setting(
    file: Path, where: str, rig: Sequence[RigPart], setting: tuple[float, float] | None, problems: Problems
) -> None:
    """A range of settings goes with a planer set within it, straight ahead left out: the roll grows by the mark."""
    if setting is None:
        return
    marks = [part.setting for part in rig if part.setting is not None]
    fits = len(marks) == 1 and isinstance(marks[0], float) and setting[0] <= marks[0] <= setting[1]
    if not fits or marks[0] == 0.0:
        problems.add(
            file, f"{where}setting", setting, "want a range around the setting of the rig's one planer"
        )
