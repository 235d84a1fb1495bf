"""Rules on the depth and speed of lures that the newest forecast says will be, and will stay for a while. Pure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from assistant.ahead import words
from assistant.ahead.outlook import LineAhead
from assistant.alerts.engine import Finding
from assistant.alerts.foreseen import Ahead, Array, ahead_of
from assistant.alerts.look import DEADBAND, Look, Rule
from assistant.units import FOOT_M

LASTING_S = 45.0
"""Judgement: what is over sooner is a turn as every captain knows it."""


def lifted(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lines that what the boat does will take above, or below, the depth wanted for LASTING_S; told by the worst."""
    ahead = ahead_of(look)
    if ahead is None or ahead.weaving or ahead.told.kind not in ("turn", "speed"):
        return
    for word in ("above", "below"):
        found = []
        for rod, line in ahead.told.lines.items():
            wanted = look.config.alerts.wanted_m.get(rod)
            if wanted is None or not line.firm:
                continue
            held = f"{rule.name} {word}" in look.held
            spare = max(FOOT_M, DEADBAND * (wanted[1] - wanted[0])) * (-1.0 if held else 1.0)
            if word == "above":
                rows, limit = line.depth_m, wanted[0] - spare
            else:
                rows, limit = mirrored(line.depth_m), -(wanted[1] + spare)
            inside = wanted[0] <= float(line.depth_m[0, 0]) <= wanted[1]
            in_s = ahead.below_s(rows, limit, held)
            if in_s is None or not inside or not ahead.goes_on(in_s + LASTING_S, held):
                continue
            if ahead.lasts_s(limit - ahead.low_side(rows)) >= LASTING_S:
                found.append((line, in_s, wanted))
        if found:
            yield _off_finding(look, rule, ahead, word, found)


def mirrored(rows: Array) -> Array:
    """(K, 3) value, low, high of the negative, so that an upper limit is a lower one."""
    return -rows[:, [0, 2, 1]]


def _off_finding(
    look: Look, rule: Rule, ahead: Ahead, word: str, found: list[tuple[LineAhead, float, tuple[float, float]]]
) -> Finding:
    """Told by the one that goes furthest."""

    def furthest(one: tuple[LineAhead, float, tuple[float, float]]) -> float:
        depths, wanted = one[0].depth_m[:, 0], one[2]
        return wanted[0] - float(depths.min()) if word == "above" else float(depths.max()) - wanted[1]

    line, in_s, wanted = max(found, key=furthest)
    depths = line.depth_m
    k = int(depths[:, 0].argmin() if word == "above" else depths[:, 0].argmax())
    value, low, high = depths[k].tolist()
    band = " to ".join(look.shown(end, "m") for end in wanted)
    doing = "turn" if ahead.told.kind == "turn" else "speed"
    verb = "lifts" if word == "above" else "sinks"
    seconds = f"{words.when(in_s):.0f} s"
    text = f"{line.rod}: this {doing} {verb} it to {look.shown(value, 'm')} in {seconds}, {word} its {band}"
    if others := [one[0].rod for one in found if one[0] is not line]:
        text += f"; {', '.join(others)} too"
    rods = (line.rod, *(one[0].rod for one in found if one[0] is not line))
    return rule.finding(
        text,
        rods,
        f"{rule.name} {word}",
        said=f"{line.rod} {'up' if word == 'above' else 'down'} to {words.spoken(value, 'm', look.config.boat.units)}",
        priority=ahead.priority(rule.priority),
        evidence={
            "value": value, "low": low, "high": high, "limit": wanted[word == "below"], "unit": "m", "in_s": in_s,
            "age_s": ahead.age_s, "source": f"forecast: {ahead.told.manoeuvre.about}", "cause": ahead.told.cause,
        },
    )  # fmt: skip


def will_run(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lures that what the boat does will make too slow, or too fast, for LASTING_S; all rods one situation."""
    ahead, limits = ahead_of(look), look.config.alerts
    slow = rule.name == "will be slow"
    limit = limits.lure_slow_mps if slow else limits.lure_fast_mps
    if ahead is None or ahead.weaving or limit is None or ahead.told.kind not in ("turn", "speed"):
        return
    held = rule.name in look.held
    spare = DEADBAND * limit * (-0.5 if held else 0.5)
    found = []
    for line in ahead.told.lines.values():
        rows = line.lure_speed_mps
        if not line.firm:
            continue
        below = limit - spare
        if not slow:
            rows, below = mirrored(rows), -(limit + spare)
        in_s = ahead.below_s(rows, below, held)
        if in_s is None or in_s <= 0.0 or not ahead.goes_on(in_s + LASTING_S, held):
            continue
        if ahead.lasts_s(below - ahead.low_side(rows)) >= LASTING_S:
            found.append((line, in_s))
    if not found:
        return
    worst = min(
        found, key=lambda one: (1.0 if slow else -1.0) * float(np.nanmin(one[0].lure_speed_mps[:, 0]))
    )
    line, in_s = worst
    speeds = line.lure_speed_mps
    value, low, high = speeds[int(speeds[:, 0].argmin() if slow else speeds[:, 0].argmax())].tolist()
    rods = (line.rod, *(one[0].rod for one in found if one[0] is not line))
    doing = "turn" if ahead.told.kind == "turn" else "speed"
    text = f"{look.listed(rods)}: lure {look.shown(value, 'm/s')} in this {doing}, from {words.when(in_s):.0f} s on"
    yield rule.finding(
        text,
        rods,
        said=f"{look.called(rods)} too {'slow' if slow else 'fast'} in {words.when(in_s):.0f} seconds",
        priority=ahead.priority(rule.priority),
        evidence={
            "value": value, "low": low, "high": high, "limit": limit, "unit": "m/s", "in_s": in_s,
            "age_s": ahead.age_s, "source": f"forecast: {ahead.told.manoeuvre.about}", "cause": ahead.told.cause,
        },
    )  # fmt: skip
