"""Rules on what is felt at the rods: pull against the model and the twin rod, and what the crew sees of bend and lean.

A load cell and the model differ by a factor of their own (drag of lure and line, the cell): that factor is followed
slowly, and a change of it is what is judged. Without a pull input or a word of the crew nothing is said here. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from assistant.alerts.engine import Finding
from assistant.alerts.foreseen import ahead_of
from assistant.alerts.look import STOPPED_MPS, Look, Rule
from assistant.alerts.now import has_planer
from assistant.configured import Config, Rod

HELD_S = 600.0  # of fishing, before what a rod has held says anything
FELL, ROSE = 0.6, 1.4
"""Judgement, after common practice: a tripped planer pulls under half."""
TWIN_FELL, TWIN_ROSE = 0.8, 1.2
SOFT, HARD = 0.85, 1.18
LEAST_LINES = 3
WITH = ("with the boat more than before", "deep lures slower, weighted lines deeper than shown", "soft")
AGAINST = (
    "against the boat more than before",
    "deep lures faster, weighted lines shallower than shown",
    "hard",
)


def twin_of(config: Config, rod: Rod) -> Rod | None:
    """The rod on the other side with the same lines and bodies and nearly as much line out, if there is one."""
    parts = [(part.line, part.body) for part in rod.rig]
    for other in config.rods:
        same = [(part.line, part.body) for part in other.rig] == parts and other.side != rod.side
        if (
            same
            and "centre" not in (rod.side, other.side)
            and abs(other.line_out_m / rod.line_out_m - 1.0) < 0.25
        ):
            return other
    return None


def pull_changed(look: Look, rule: Rule) -> Iterator[Finding]:
    """A pull that fell, or rose, as neither the model nor the twin rod did."""
    stw = look.boat.stw_mps.value
    if stw is None or stw < STOPPED_MPS:
        return
    fell = rule.name == "pull fell"
    for rod, line in look.firm():
        now = look.felt.get(rod.name)
        if now is None or not now.known or line.tension_n.value is None:
            continue
        key = f"{rule.name} {rod.name}"
        slack = 0.1 * (key in look.held)
        if not (now.change < FELL + slack if fell else now.change > ROSE - slack):
            continue
        twin = twin_of(look.config, rod)
        other = look.felt.get(twin.name) if twin is not None else None
        if other is not None and (other.change < TWIN_FELL if fell else other.change > TWIN_ROSE):
            continue  # both: the water, not the rod
        expected = now.usual * line.tension_n.value
        measured = now.now * line.tension_n.value
        cause = (
            ("tripped" if has_planer(look, rod) else "fouled or lost")
            if fell
            else "fouled, or something drags"
        )
        text = f"{rod.name} pulls {look.shown(measured, 'N')}, {look.shown(expected, 'N')} expected: {cause}?"
        if other is not None and twin is not None:
            text += f" {twin.name} pulls as usual"
        yield rule.finding(
            text, (rod.name,), key,
            said=f"{rod.name} pull {'fell, look at it' if fell else 'rose, look at it'}",
            evidence={"value": measured, "limit": expected * (FELL if fell else ROSE), "unit": "N",
                      "age_s": _age_s(look, rod.name), "source": "pull at the rod against the model and its twin"},
        )  # fmt: skip


def trip_margin(look: Look, rule: Rule) -> Iterator[Finding]:
    """A planer whose pull will be more than its rod has held so far, waves included: only with a pull input."""
    ahead = ahead_of(look)
    if ahead is None:
        return
    for rod, _ in look.firm():
        now, line = look.felt.get(rod.name), ahead.told.lines.get(rod.name)
        if now is None or line is None or now.fished_s < HELD_S or not has_planer(look, rod):
            continue
        peak = now.usual * line.peak.value + now.wave_n
        key = f"{rule.name} {rod.name}"
        in_s = line.peak.at_s - ahead.age_s
        if not math.isfinite(peak) or peak <= now.held_n * (0.95 if key in look.held else 1.0) or in_s <= 0.0:
            continue
        text = f"{rod.name} will pull {look.shown(peak, 'N')} in {in_s:.0f} s"
        text += f", has held {look.shown(now.held_n, 'N')}: may trip"
        yield rule.finding(
            text, (rod.name,), key, said=f"{rod.name} may trip in {in_s:.0f} seconds",
            evidence={"value": peak, "low": now.usual * line.peak.low, "high": now.usual * line.peak.high,
                      "limit": now.held_n, "unit": "N", "in_s": in_s, "age_s": ahead.age_s,
                      "source": f"forecast: {ahead.told.manoeuvre.about}"},
        )  # fmt: skip


def deep_water(look: Look, rule: Rule) -> Iterator[Finding]:
    """Planers pull less while weighted lines hang straighter, or the other way: the water down there has changed."""
    signs = {rod.name: sign for rod in look.config.rods if (sign := _sign(look, rod)) is not None}
    for way, doing in ((-1, WITH), (1, AGAINST)):
        of = [rod for rod in look.config.rods if rod.name in signs and signs[rod.name][0] == way]
        planers = [rod.name for rod in of if has_planer(look, rod)]
        if not 0 < len(planers) < len(of) or len(of) < LEAST_LINES:
            continue
        if any(one == -way for one, _ in signs.values()):
            continue
        seen = ", ".join(f"{rod.name} {signs[rod.name][1]}" for rod in of)
        yield rule.finding(
            f"deep water runs {doing[0]} ({seen}): {doing[1]}",
            tuple(rod.name for rod in of),
            f"{rule.name} {doing[0].partition(' ')[0]}",
            said=f"{planers[0]} {doing[2]}, deep water has changed",
            evidence={"value": len(of), "limit": LEAST_LINES, "unit": "lines", "source": "seen at the rods",
                      "age_s": _age_s(look, *(rod.name for rod in of))},
        )  # fmt: skip


def _age_s(look: Look, *rods: str) -> float | None:
    """Age of the oldest of what is newest at each rod [s]; None where nothing is seen."""
    ages = [
        [one.q.age_s for one in look.seen.get(rod, {}).values() if one.q.age_s is not None] for rod in rods
    ]
    return max((min(of) for of in ages if of), default=None)


def _sign(look: Look, rod: Rod) -> tuple[int, str] | None:
    """What is seen of the water at one line: -1 slower, +1 faster, and in words; None where nothing is seen."""
    line = look.lines[rod.name]
    if line.rod_state != "fishing":
        return None
    seen, now = look.seen.get(rod.name, {}), look.felt.get(rod.name)
    for kind in ("bend", "lean"):
        word = seen.get(kind)
        if word is not None and word.q.state == "ok" and word.q.value is not None:
            return (round(word.q.value), f"{word.word}") if word.q.value else (0, "usual")
    if now is not None and now.known:
        return (
            (-1, "pulls less")
            if now.change < SOFT
            else (1, "pulls more")
            if now.change > HARD
            else (0, "usual")
        )
    depth = seen.get("logged_depth_m")
    if depth is None or depth.q.state != "ok" or depth.q.value is None or line.depth_m.low is None:
        return None
    assert line.depth_m.high is not None
    shallow, deep = depth.q.value < line.depth_m.low, depth.q.value > line.depth_m.high
    if has_planer(look, rod):
        return (-1, "shallower") if shallow else (1, "deeper") if deep else (0, "usual")
    return (-1, "deeper") if deep else (1, "shallower") if shallow else (0, "usual")
