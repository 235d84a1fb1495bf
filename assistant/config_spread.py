"""Reads spread.toml: the rods, their rigs, and what a rig must be to be a line at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_coefficient, read_keys
from assistant.config_keys import COLOUR_M, COUNTER_RANGE, PART_KEYS, ROD_KEYS, TIP_KEYS, label
from assistant.config_tow import check_place, check_tips, hung, read_attached, read_board
from assistant.configured import UNMARKED_CABLE, BodyType, RigPart, Rod

MAX_RODS = 12  # more lines than a small boat can run
MAX_PARTS = 12
MAX_LINES = 6  # pieces of line in a rig: each needs some pieces of the model's


@dataclass(frozen=True, slots=True)
class Known:
    """What a rig may name: the stems of the files, and the bodies that could be read."""

    lines: frozenset[str]
    bodies: frozenset[str]
    body_types: Mapping[str, BodyType]


def read_rods(file: Path, table: Mapping[str, Any], known: Known, problems: Problems) -> tuple[Rod, ...]:
    """Read every [[rod]]; each problem is noted under rod[i], counted from 1."""
    for name in table:
        if name != "rod":
            problems.add(file, name, table[name], f"no such key; {nearest(name, ['rod'])}")
    raw = table.get("rod", [])
    if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
        problems.note(file, "rod is not a list of tables: begin each rod with [[rod]]")
        return ()
    if not 1 <= len(raw) <= MAX_RODS:
        problems.note(file, f"{len(raw)} rods: want 1..{MAX_RODS}; write one [[rod]] for each")
        return ()
    rods: list[Rod] = []
    for index, item in enumerate(raw, 1):
        rod = read_rod(file, f"rod[{index}].", item, known, problems)
        if rod is None:
            continue
        if rod.name in (other.name for other in rods):
            problems.add(file, f"rod[{index}].name", rod.name, "taken; give each rod its own name")
        rods.append(rod)
    if problems.lines:
        return tuple(rods)
    check_tips(file, rods, problems)
    return hung(file, rods, problems)


def read_rod(file: Path, where: str, item: Mapping[str, Any], known: Known, problems: Problems) -> Rod | None:
    """Read one [[rod]]; None when a part of it is wrong."""
    before = len(problems.lines)
    good = read_keys(file, where, item, ROD_KEYS, problems)
    check_place(file, where, item, problems)
    tip_table, rig_list = good.pop("tip", {}), good.pop("rig", [])
    if not isinstance(tip_table, dict):
        allowed = 'want { forward = "-1 m", starboard = "2 m", height = "1 m" }'
        problems.add(file, f"{where}tip", tip_table, allowed)
        return None
    tip = read_keys(file, f"{where}tip.", tip_table, TIP_KEYS, problems) if "tip" in item else {}
    rig = read_rig(file, f"{where}rig", rig_list, known, problems) if "rig" in item else ()
    if "counter" in good:
        counter = good.pop("counter")
        good["counter"] = read_coefficient(file, f"{where}counter", counter, COUNTER_RANGE, problems)
    elif good.get("counter_zero") == "surface":
        good["counter"] = UNMARKED_CABLE
    if "attached" in good:
        good["attached"] = read_attached(file, f"{where}attached", good["attached"], problems)
    if "board" in good:
        good["board"] = read_board(file, f"{where}board", good["board"], good.get("side"), problems)
    check_side(file, where, good.get("side"), rig, known, problems)
    if len(problems.lines) > before:
        return None
    good.setdefault("about", good["name"])
    positions = {f"tip_{axis}_m": tip.get(axis, 0.0) for axis in ("forward", "starboard", "height")}
    if "rod_length" in good:
        good["rod_length_m"] = good.pop("rod_length")
    return Rod(line_out_m=good.pop("line_out"), rig=rig, **positions, **good)


def check_side(
    file: Path, where: str, side: str | None, rig: tuple[RigPart, ...], known: Known, problems: Problems
) -> None:
    """A planer with a setting pulls to one side: a rod amidships does not say which."""

    def pulls(part: RigPart) -> bool:
        body = known.body_types.get(part.body or "")
        if body is not None and body.settings is not None:
            return bool(body.settings.get(str(part.setting), 0.0))
        return bool(part.setting)

    if side == "centre" and any(pulls(part) for part in rig):
        problems.add(file, f"{where}side", side, 'a planer here needs "port" or "starboard", or setting 0')


def read_rig(file: Path, where: str, raw: object, known: Known, problems: Problems) -> tuple[RigPart, ...]:
    """Read a rig, reel to hook: line and body parts that begin with the main line and end in a body."""
    tables = isinstance(raw, list) and all(isinstance(part, dict) for part in raw)
    if not isinstance(raw, list) or not tables or not 2 <= len(raw) <= MAX_PARTS:
        problems.add(
            file, where, raw, f'want 2..{MAX_PARTS} parts like {{ line = "wire-30" }}, {{ body = "spoon" }}'
        )
        return ()
    parts = tuple(
        read_part(file, f"{where}[{index}]", part, index == 1, known, problems)
        for index, part in enumerate(raw, 1)
    )
    if "line" not in raw[0]:
        problems.add(file, f"{where}[1]", raw[0], "a rig begins with its main line; put { line = ... } first")
    if "body" not in raw[-1]:
        problems.add(file, f"{where}[{len(raw)}]", raw[-1], "a rig ends in a lure; put { body = ... } last")
    lines = sum("line" in part for part in raw)
    if lines > MAX_LINES:
        problems.add(file, where, f"{lines} lines", f"want at most {MAX_LINES} pieces of line in a rig")
    check_counted(file, where, parts, problems)
    for index, (part, after) in enumerate(pairwise(raw), 2):
        if "body" in part and "body" in after:
            problems.add(file, f"{where}[{index}]", after, "two bodies in a row; put a line between them")
    return parts


def check_counted(file: Path, where: str, parts: tuple[RigPart, ...], problems: Problems) -> None:
    """What the counter counts hangs together: counted pieces come right below the main line."""
    may = True
    for index, part in enumerate(parts[1:], 2):
        if part.counted and not may:
            allowed = "what is counted within the line out comes right below the main line, above any body"
            problems.add(file, f"{where}[{index}]", part.line or part.body, allowed)
        may = may and part.counted


def read_part(
    file: Path, where: str, raw: Mapping[str, Any], main: bool, known: Known, problems: Problems
) -> RigPart:
    """Read one part: exactly one of line and body, each with what belongs to it."""
    good = read_keys(file, f"{where}.", raw, PART_KEYS, problems)
    line, body, length_m, setting = (good.get(key) for key in ("line", "body", "length", "setting"))
    counted = good.get("counted", "colours" in good)
    if "colours" in good and "length" not in raw:
        length_m = good["colours"] * COLOUR_M
    if ("line" in raw) == ("body" in raw):
        problems.add(file, where, raw, "want either line = ... or body = ..., one of them")
    if line is not None and line not in known.lines:
        problems.add(file, f"{where}.line", line, f"no such file in lines/; {nearest(line, known.lines)}")
    if body is not None and body not in known.bodies:
        problems.add(file, f"{where}.body", body, f"no such file in bodies/; {nearest(body, known.bodies)}")
    check_length(file, where, raw, main, problems)
    of_body = known.body_types.get(body or "")
    check_setting(file, where, raw, of_body, problems)
    if of_body is not None and of_body.settings is not None and setting is not None:
        setting = label(setting)
    return RigPart(line=line, length_m=length_m, body=body, setting=setting, counted=counted)


def check_length(file: Path, where: str, raw: Mapping[str, Any], main: bool, problems: Problems) -> None:
    """The main line is as long as the line out, any other piece has one length, a body has none."""
    given = [key for key in ("length", "colours") if key in raw]
    if "line" in raw and main:
        for key in (key for key in (*given, "counted") if key in raw):
            problems.add(file, f"{where}.{key}", raw[key], "the main line is line_out long; leave it away")
    if "line" in raw and not main and not given:
        problems.note(file, f'{where}.length is missing: add it, such as length = "10 ft"')
    if len(given) > 1:
        problems.add(file, f"{where}.colours", raw["colours"], "want either length or colours, one of them")
    if "colours" in raw and raw.get("counted") is False:
        problems.add(file, f"{where}.counted", False, "colours are always counted; leave it away")
    for key in (key for key in (*given, "counted") if key in raw and "body" in raw):
        problems.add(file, f"{where}.{key}", raw[key], "a body has no length; leave it away")


def check_setting(
    file: Path, where: str, raw: Mapping[str, Any], body: BodyType | None, problems: Problems
) -> None:
    """Only a planer has a dial; its setting lies on it."""
    planer = body is not None and body.kind == "planer"
    key = f"{where}.setting"
    if "setting" in raw and ("line" in raw or (body is not None and not planer)):
        problems.add(file, key, raw["setting"], "only a planer has a setting; leave it away")
    if body is None or not planer:
        return
    if body.settings is not None:
        check_label(file, key, raw.get("setting"), body, problems)
        return
    if body.setting_min is None or body.setting_max is None:
        if "setting" in raw and not body.coefficients.get("roll_per_setting_deg"):
            problems.add(file, key, raw["setting"], f"{body.name} runs straight; leave it away")
        return
    allowed = f"{body.setting_min:g}..{body.setting_max:g} on the dial of {body.name}"
    setting = raw.get("setting")
    if setting is None:
        problems.note(file, f"{key} is missing: add it ({allowed})")
    elif not isinstance(setting, int | float) or not body.setting_min <= setting <= body.setting_max:
        problems.add(file, key, setting, f"want {allowed}")


def check_label(file: Path, key: str, setting: object, body: BodyType, problems: Problems) -> None:
    """A setting is one of the labels on the dial."""
    assert body.settings is not None
    allowed = f"want one of {', '.join(body.settings)} on the dial of {body.name}"
    if setting is None:
        problems.note(file, f"{key} is missing: {allowed}")
        return
    try:
        known = label(setting) in body.settings
    except ValueError:
        known = False
    if not known:
        problems.add(file, key, setting, allowed)
