"""What a report says of an outing, as one JSON object; the page of it (report.py) shows the same and no more."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from assistant.messages import Quiet
from assistant.outings import tally
from assistant.outings.claims import percent
from assistant.outings.compared import claims, compared_twins, deep_along
from assistant.outings.deep_water import DeepWater, layered
from assistant.outings.effort import Strike, Table, minute_before
from assistant.outings.quiet_words import bearing_deg, difference_words, shown
from assistant.outings.story import Spell, Story, worst
from assistant.outings.tally import LANDED, LOST, NO_HOOK_UP, OPEN, Share
from assistant.units import DISPLAY_UNITS

VERSION = 1
BEFORE: Mapping[str, str] = {"depth_m": "m", "lure_speed_mps": "m/s", "water_temp_c": "degC"}
"""What is told of the minute before a strike, and its unit."""
STEPS: Mapping[str, tuple[str, str, Mapping[str, float]]] = {
    "depth": ("depth_m", "m", {"angler": 10.0, "metric": 3.0}),
    "lure speed": ("lure_speed_mps", "m/s", {"angler": 0.2, "metric": 0.1}),
    "surface temperature": ("water_temp_c", "degC", {"angler": 2.0, "metric": 1.0}),
}
"""Conditions by value: the quantity, its unit, and the step by system of units."""
UNSEEN_DEEP = "No instrument on the surface sees the deep water, and lure speeds here are without it."
CAUTIONS = (
    "Depths and lure speeds are worked out, not measured.",
    "A day has ten strikes: every figure here has wide limits, and what ranks first is likely, never proven.",
    "Strikes and what was seen are as they were told; what nobody told is not in here.",
    "Not for navigation.",
)


def findings(story: Story) -> dict[str, Any]:
    """Everything, ready for JSON; numbers in SI but where a text says otherwise."""
    assert story.table is not None
    table, caught = story.table, story.caught
    counts = Counter(one.outcome for one in caught)
    return {
        "version": VERSION,
        "outing": story.outing,
        "boat": story.config.boat.title,
        "began_utc": story.utc,
        "hours": round(story.seconds / 3600.0, 3),
        "strikes": {
            "all": len(caught),
            **{name: counts[name] for name in (LANDED, LOST, NO_HOOK_UP, OPEN)},
            "each": [
                {"t_s": one.t_s, "rod": one.rod, "outcome": one.outcome, **_before(table, one.t_s, one.rod)}
                for one in caught
            ],
        },
        "rod_hours": round(float(table.workable.sum()) / 60.0, 2),
        "effort": {name: [_plain(row) for row in rows] for name, rows in conditions(story, table).items()},
        "claims": claims(story, table),
        "twins": compared_twins(story, table),
        "silences": [
            silence(spell, story) for spell in sorted(story.spells, key=lambda s: s.verdict.silence.chance)
        ],
        "said": [_said(quiet) for quiet in turning_points(story.said)],
        "suspected": suspected(story.said),
        "alerts": story.alerts,
        "deep_water": _deep(story.water),
        "next_time": next_time(story),
        "cautions": [*([UNSEEN_DEEP] if layered(table, story.config.boat) else []), *CAUTIONS],
    }


def _before(table: Table, t_s: float, rod: str | None) -> dict[str, float | None]:
    """How the line ran in the minute before a strike."""
    n = minute_before(table, Strike(t_s, rod))
    found: dict[str, float | None] = {}
    for name in BEFORE:
        track = table.tracks.get(name)
        of_rod = track is not None and track.value.shape[1] == len(table.rods) > 1
        if track is None or n < 0 or (of_rod and rod not in table.rods):
            found[name] = None
            continue
        value = float(track.value[n, table.rods.index(rod) if of_rod and rod is not None else 0].real)
        found[name] = round(value, 3) if math.isfinite(value) else None
    return found


def conditions(story: Story, table: Table) -> dict[str, list[Share]]:
    """Effort and strikes by line, depth, lure speed, temperature, turn side, heading against the deep current."""
    caught, units = story.caught, story.config.boat.units
    sides = {rod.name: rod.side for rod in story.config.rods}
    found = {"line": tally.by_line(table, caught, [rod.name for rod in story.config.rods])}
    for words, (name, unit, steps) in STEPS.items():
        found[words] = tally.by_value(table, caught, name, DISPLAY_UNITS[units][unit], steps[units])
    found["turn side"] = tally.by_turn(table, caught, sides)
    found["heading against the deep current"] = tally.by_deep_current(
        table, caught, story.water, story.lat_deg
    )
    return {name: rows for name, rows in found.items() if rows}


def _plain(row: Share) -> dict[str, object]:
    return {
        "label": row.label,
        "rod_hours": round(row.rod_hours, 3),
        "strikes": row.strikes,
        "per_rod_hour": round(row.rate, 4),
        "low": round(row.low, 4),
        "high": round(row.high, 4),
    }


def silence(spell: Spell, story: Story) -> dict[str, Any]:
    """One silence with its figures."""
    verdict, units = spell.verdict, story.config.boat.units
    figures = verdict.silence
    return {
        "from_s": spell.from_s,
        "to_s": spell.to_s,
        "minutes": round((spell.to_s - (spell.from_s or 0.0)) / 60.0, 1),
        "judged_s": round(spell.judged_s, 1),
        "ended_by_strike": spell.ended_by_strike,
        "word": verdict.word,
        "chance": _figure(figures.chance),
        "day_chance": _figure(figures.day_chance),
        "two_rates_better": _figure(figures.change_factor),
        "likely": verdict.named,
        "beliefs": {name: round(value, 3) for name, value in verdict.beliefs.items()},
        "differences": [difference_words(d, units) for d in verdict.differences if d.differs],
        "test": {"do": verdict.trial.do, "expect": verdict.trial.expect},
        "deep_water": _deep(spell.water),
        "deep_along_boat": None if (along := deep_along(spell, story)) is None else asdict(along),
    }


def _figure(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None


def _deep(water: DeepWater | None) -> dict[str, object] | None:
    """The deep current where it is known; that nobody knows it is null."""
    if water is None or not water.known:
        return None
    return {
        "drift_mps": round(abs(water.velocity_mps), 3),
        "toward_deg": bearing_deg(water.velocity_mps, 1),
        "seen_by": list(water.seen_by),
    }


def deep_words(water: DeepWater | None, story: Story) -> str:
    """The same in words."""
    if water is None or not water.known:
        return "cannot tell: nothing aboard sees it well enough"
    drift = shown(abs(water.velocity_mps), "m/s", story.config.boat.units)
    return f"{drift} toward {bearing_deg(water.velocity_mps):03d}, from {', '.join(water.seen_by)}"


def turning_points(said: Sequence[Quiet]) -> list[Quiet]:
    """Of what the judge said, the moments at which word, reason, test or suspects became others, and stayed so."""
    keys = [
        (q.word, q.reason, q.trial.split(";")[0], tuple(s.split(" ")[0] for s in q.suspects)) for q in said
    ]
    steady = [n for n in range(len(said)) if n + 1 == len(said) or keys[n] == keys[n + 1]]
    kept = steady[:1] + [b for a, b in pairwise(steady) if keys[a] != keys[b]]
    return [said[n] for n in kept]


def _said(quiet: Quiet) -> dict[str, object]:
    return {
        "t_s": quiet.t_s,
        "word": quiet.word,
        "reason": quiet.reason,
        "test": quiet.trial,
        "differs": list(quiet.differs),
        "suspects": list(quiet.suspects),
    }


def suspected(said: Sequence[Quiet]) -> list[dict[str, object]]:
    """Each line that was suspected: from when to when, and the last words."""
    found: dict[str, dict[str, object]] = {}
    for quiet in said:
        for words in quiet.suspects:
            rod = words.split(" ")[0]
            entry = found.setdefault(rod, {"rod": rod, "from_s": quiet.t_s})
            entry.update(to_s=quiet.t_s, words=words)
    return list(found.values())


def next_time(story: Story) -> list[str]:
    """What to try on the next outing; at most one of a kind, and nothing where nothing stands out."""
    tips = []
    spell = worst(story)
    if spell is not None and spell.verdict.word in ("unusual", "rare"):
        verdict = spell.verdict
        shares = ", ".join(f"{name} {percent(share)}" for name, share in list(verdict.beliefs.items())[:3])
        minutes = (spell.to_s - (spell.from_s or 0.0)) / 60.0
        tips.append(
            f"In the silence of {minutes:.0f} min: {verdict.trial.do}, early in it; {verdict.trial.expect}. "
            f"It ranks first ({shares}), which is no proof."
        )
    if story.water is not None and story.water.known:
        against = bearing_deg(-story.water.velocity_mps)
        tips.append(
            f"The deep water moved {deep_words(story.water, story)}. At the end of the day {against:03d} was against "
            "it; in the northern half of the world that turns to the right, about 20 degrees an hour at 45 north."
        )
    for one in suspected(story.said):
        minutes = (float(str(one["to_s"])) - float(str(one["from_s"]))) / 60.0
        if minutes >= 5.0:
            tips.append(f"Look at {one['rod']} sooner: {one['words']} It stood for {minutes:.0f} min.")
    if not any(reel.marks for reel in story.config.reels):
        tips.append("Tape three marks on each reel: all depths rest on counters that nobody has checked.")
    return tips
