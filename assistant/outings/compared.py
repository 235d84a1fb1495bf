"""What a report holds against what: claims by their exact tests, twin rods, the deep water then and later."""

from __future__ import annotations

import math

from assistant.outings import tally
from assistant.outings.claims import compare
from assistant.outings.day_claims import hot_rod_today, inside_and_outside
from assistant.outings.effort import Table
from assistant.outings.quiet_words import shown
from assistant.outings.story import Spell, Story, worst
from assistant.outings.twins import pairs, twins


def claims(story: Story, table: Table) -> list[str]:
    """What is often claimed of a day, each by its exact test."""
    sides = {rod.name: rod.side for rod in story.config.rods}
    asked = [hot_rod_today(table, story.strikes), inside_and_outside(table, story.strikes, sides)]
    rows = {r.label: r for r in tally.by_deep_current(table, story.caught, story.water, story.lat_deg)}
    if {"against it", "along with it"} <= set(rows):
        a, b = rows["against it"], rows["along with it"]
        names = ("against the deep water", "along with it")
        asked.append(compare("deep water", names, (a.strikes, b.strikes), (a.rod_hours, b.rod_hours)))
    return [f"{claim.about}: {claim.words}" for claim in asked]


def compared_twins(story: Story, table: Table) -> list[dict[str, object]]:
    """Each rod against its twin at the moment at which the worst silence is reported, or at the end of the day."""
    spell = worst(story)
    at_s = story.seconds if spell is None else spell.judged_s
    found = [rods for rods in pairs(story.config.rods) if set(rods) <= set(table.rods)]
    units = story.config.boat.units
    return [
        {
            "t_s": round(at_s, 1),
            "rods": list(rods),
            "words": twins(table, story.strikes, at_s, rods, len(found), units).words,
        }
        for rods in found
    ]


def deep_along(spell: Spell, story: Story) -> tally.Along | None:
    """The deep current along the boat before the strikes and when the silence was judged; None while unknown."""
    assert story.table is not None
    past = [one for one in story.strikes if spell.from_s is not None and one.t_s <= spell.from_s]
    return tally.along_boat(story.table.until(spell.judged_s), past, spell.water, story.lat_deg)


def along_words(along: tally.Along, story: Story) -> str:
    """How the deep water went with the boat, in words."""

    def one(value_mps: float) -> str:
        way = "with the boat" if value_mps > 0.0 else "against it"
        return f"{shown(abs(value_mps), 'm/s', story.config.boat.units)} {way}"

    sigmas = abs(along.now_mps - along.then_mps) / along.sigma_mps if along.sigma_mps > 0.0 else math.inf
    return f"{one(along.then_mps)} before the strikes, {one(along.now_mps)} then ({sigmas:.1f} sigma)"
