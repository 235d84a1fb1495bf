"""Reads what a rod's line is towed from when that is not the rod tip alone: another rod's line, a side board."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from assistant.config_files import Problems, nearest, read_coefficient, read_keys
from assistant.config_keys import ATTACHED_KEYS, BOARD_KEYS, SAG_RANGE
from assistant.configured import Attached, Board, Rod

TIPS_APART_M = 0.3
"""Rod tips nearer than this touch as the boat rolls (judgement)."""


def read_attached(file: Path, where: str, raw: object, problems: Problems) -> Attached | None:
    """Read `attached`: the other rod, and either how far above its first body or half way."""
    if not isinstance(raw, dict):
        problems.add(
            file, where, raw, 'want { rod = "R1", above = "15 ft" } or { rod = "R1", half_way = true }'
        )
        return None
    good = read_keys(file, f"{where}.", raw, ATTACHED_KEYS, problems)
    if ("above" in raw) == bool(raw.get("half_way", False)):
        problems.add(file, where, raw, "want either above = ... or half_way = true, one of them")
    return Attached(good["rod"], good.get("above")) if "rod" in good else None


def read_board(file: Path, where: str, raw: object, side: object, problems: Problems) -> Board | None:
    """Read `board`: how far out and aft it runs, and how it sags as the line pulls."""
    if not isinstance(raw, dict):
        problems.add(file, where, raw, 'want { out = "60 ft", aft = "5 ft", sag_m_per_n = { value = ... } }')
        return None
    good = read_keys(file, f"{where}.", raw, BOARD_KEYS, problems)
    if side == "centre":
        problems.add(file, where, raw, 'a side board needs side = "port" or "starboard"')
    if "sag_m_per_n" not in good:
        return None
    sag = read_coefficient(file, f"{where}.sag_m_per_n", good["sag_m_per_n"], SAG_RANGE, problems)
    return None if sag is None or len(good) < len(BOARD_KEYS) else Board(good["out"], good["aft"], sag)


def check_place(file: Path, where: str, item: Mapping[str, Any], problems: Problems) -> None:
    """A rod has a tip, or hangs on another rod's line and has neither tip nor board."""
    if "attached" not in item:
        if "tip" not in item:
            problems.note(file, f"{where}tip is missing: add it (a table: forward, starboard, height)")
        return
    for name in ("tip", "board", "counter_zero"):
        if name in item:
            problems.add(
                file, where + name, item[name], "an attached rod hangs on another's line; leave it away"
            )


def hung(file: Path, rods: Sequence[Rod], problems: Problems) -> tuple[Rod, ...]:
    """The rods with every attached one at its host's tip; its swing and setback are seen from there."""
    by_name = {rod.name: rod for rod in rods}
    done = []
    for number, rod in enumerate(rods, 1):
        if rod.attached is not None:
            where = f"rod[{number}].attached.rod"
            host = by_name.get(rod.attached.rod)
            if host is None:
                known = nearest(rod.attached.rod, by_name)
                problems.add(file, where, rod.attached.rod, f"no such rod; {known}")
                continue
            if host.attached is not None or host.board is not None:
                problems.add(file, where, host.name, "want a rod whose line runs from its own tip")
            rod = replace(
                rod,
                tip_forward_m=host.tip_forward_m,
                tip_starboard_m=host.tip_starboard_m,
                tip_height_m=host.tip_height_m,
            )
        done.append(rod)
    return tuple(done)


def check_tips(file: Path, rods: Sequence[Rod], problems: Problems) -> None:
    """Name two rods whose tips cannot clear each other."""
    own = [(n, rod) for n, rod in enumerate(rods, 1) if rod.attached is None]
    for k, (_, one) in enumerate(own):
        for number, other in own[k + 1 :]:
            apart = math.dist(tip_of(one), tip_of(other))
            if apart < TIPS_APART_M:
                allowed = (
                    f"{apart:.2f} m from the tip of {one.name}; want {TIPS_APART_M:g} m or more between tips"
                )
                problems.add(file, f"rod[{number}].tip", other.name, allowed)


def tip_of(rod: Rod) -> tuple[float, float, float]:
    """Forward, starboard, height [m] of the rod tip."""
    return rod.tip_forward_m, rod.tip_starboard_m, rod.tip_height_m
