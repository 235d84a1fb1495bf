"""An outing's report as one HTML file that needs nothing else, and as JSON (findings.py)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from assistant.messages import Z90
from assistant.outings import plots, story
from assistant.outings.claims import percent
from assistant.outings.compared import along_words, deep_along
from assistant.outings.deep_water import layered
from assistant.outings.findings import conditions, deep_words, findings, turning_points
from assistant.outings.plots import Hours, Mark, Strip
from assistant.outings.quiet import RARE_BELOW, UNUSUAL_BELOW
from assistant.outings.quiet_words import difference_words, shown
from assistant.outings.recording import opening_of
from assistant.outings.story import Spell, Story
from assistant.payloads import to_json
from assistant.replay import chosen
from assistant.units import DISPLAY_UNITS
from assistant.web.server import port_to_starboard

STYLE = (Path(__file__).parent / "report.css").read_text(encoding="utf-8")
SPELLS_SHOWN = 3


def html(one: Story, found: dict[str, Any], offset_h: float = 0.0) -> str:
    """The whole page.

    Args:
        found: its findings; offset_h: of the clock shown, from UTC [h].
    """
    clock = Clock(one, offset_h)
    marks = [Mark(c.t_s, c.rod, c.outcome) for c in one.caught]
    sections = [
        _head(one, found, clock),
        _section(
            "What to try next time", _list(found["next_time"]) or "<p>Nothing stands out: cannot tell.</p>"
        ),
        _section(
            "Silences, and what was said", _spells(one, clock) + _curve(one, marks, clock) + _said(one, clock)
        ),
        f'<div class="two"><div>{_section("The way", _track(one, marks))}</div>'
        f"<div>{_section('Depth of every lure', _depths(one, marks, clock))}</div></div>",
        _section("Strikes", _strikes(one, found, clock)),
        _section("Effort, strikes and blanks", _rates(one) + _list(found["claims"])),
        _section("Twins", _list([f"At {clock.at(t['t_s'])}: {t['words']}" for t in found["twins"]])),
        _section("Lines that were suspected", _suspected(found, clock)),
        _section("Alerts", _alerts(found["alerts"])),
        _section("Care", _list(found["cautions"])),
    ]
    title = escape(f"{one.config.boat.title}, {clock.date or one.outing}")
    head = '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}<title>{title}</title><style>{STYLE}</style></head>'
        f"<body>{''.join(sections)}</body></html>\n"
    )


class Clock:
    """Times as the report shows them: of the day where the outing knows it, else since its start."""

    def __init__(self, one: Story, offset_h: float) -> None:
        begun = one.utc
        self.known = begun is not None
        self.date = begun[:10] if begun else ""
        self.start_h = 0.0
        if begun:
            self.start_h = (
                int(begun[11:13]) + int(begun[14:16]) / 60.0 + int(begun[17:19]) / 3600.0 + offset_h
            )
        self.zone = "since the start" if not begun else "UTC" if not offset_h else f"UTC{offset_h:+g}"
        self.hours = Hours(self.start_h, one.seconds)

    def at(self, t_s: float) -> str:
        """HH:MM."""
        minutes = math.floor(self.start_h * 60.0 + t_s / 60.0 + 1e-6)
        return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _section(title: str, body: str) -> str:
    return f"<h2>{escape(title)}</h2>{body}" if body else ""


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""


def _head(one: Story, found: dict[str, Any], clock: Clock) -> str:
    strikes = found["strikes"]
    tiles = [
        (strikes["all"], "strikes"),
        *((strikes[name], name) for name in ("landed", "lost", "no hook-up")),
    ]
    tiles += [(strikes["not told"], "end not told")] if strikes["not told"] else []
    tiles += [(f"{found['rod_hours']:.0f}", "rod-hours fished"), (f"{found['hours']:.1f}", "hours")]
    cells = "".join(f"<div><b>{value}</b>{escape(str(name))}</div>" for value, name in tiles)
    when = f"{clock.date}, {clock.at(0.0)} to {clock.at(one.seconds)} ({clock.zone})"
    about = f"<p>{escape(when)}, outing {escape(one.outing)}</p>"
    return f'<h1>{escape(one.config.boat.title)}</h1>{about}<div class="sum">{cells}</div>'


def _spells(one: Story, clock: Clock) -> str:
    """The longest silences with their figures."""
    if not one.caught:
        return "<p>No strike was told, so nobody can say which silence is usual.</p>"
    ordered = sorted(one.spells, key=lambda s: s.verdict.silence.chance)[:SPELLS_SHOWN]
    return "".join(_spell(spell, one, clock) for spell in ordered) or "<p>No silence of half an hour.</p>"


def _spell(spell: Spell, one: Story, clock: Clock) -> str:
    verdict, figures, along = spell.verdict, spell.verdict.silence, deep_along(spell, one)
    deep = one.table is not None and layered(one.table, one.config.boat)
    minutes = (spell.to_s - (spell.from_s or 0.0)) / 60.0
    ended = "the next strike" if spell.ended_by_strike else "the end"
    beliefs = ", ".join(
        f"{name} {percent(share)}" for name, share in verdict.beliefs.items() if share >= 0.01
    )
    span = f"{clock.at(spell.from_s or 0.0)} to {clock.at(spell.to_s)} ({ended})"
    days = f"{percent(figures.day_chance)} of such days have one"
    lines = [
        f"{span}. At one rate all day a strike is followed by so long a one in {percent(figures.chance)}; {days}.",
        f"What may be behind it, as it stood at {clock.at(spell.judged_s)}: {beliefs}. "
        + (f"Likeliest: {verdict.named}, not proven." if verdict.named else "Cannot tell."),
        *[difference_words(d, one.config.boat.units) for d in verdict.differences if d.differs][:5],
        *([f"Deep current then: {deep_words(spell.water, one)}."] if deep else []),
        *([] if along is None else [f"Along the boat it went {along_words(along, one)}."]),
        f"The cheapest test: {verdict.trial.do}; {verdict.trial.expect}.",
    ]
    word = f'<div class="word">{minutes:.0f} min without a strike: {escape(verdict.word)}</div>'
    return f'<div class="spell">{word}{"".join(f"<p>{escape(text)}</p>" for text in lines)}</div>'


def _curve(one: Story, marks: Sequence[Mark], clock: Clock) -> str:
    if not one.chances:
        return ""
    limits = [(UNUSUAL_BELOW, "unusual"), (RARE_BELOW, "rare")]
    drawn = plots.chances(one.chances, marks, limits, clock.hours)
    note = '<p class="key">Below a line the word is so only if few days like this have such a silence anywhere.</p>'
    return f"<h3>Chance of a silence as long as the one that ran</h3>{drawn}{_key()}{note}"


def _key() -> str:
    return '<p class="key">Strikes: full landed, hollow lost, cross no fish on.</p>'


def _said(one: Story, clock: Clock) -> str:
    """What was said on the water and when, where it changed and stayed so."""
    parts, before = [], ""
    for quiet in turning_points(one.said):
        odd = [*quiet.suspects, *quiet.differs]
        names = " ".join(sorted(words.split(":")[0].split(" pulls")[0] for words in odd))
        told = f"<p>{escape('; '.join(odd))}</p>" if odd and names != before else ""
        before = names
        test = escape(quiet.trial.split(";")[0])
        head = f"<b>{clock.at(quiet.t_s)} {escape(quiet.word)}</b>; {escape(quiet.reason)}; test: {test}"
        parts.append(f'<div class="said"><p>{head}</p>{told}</div>')
    return f"<h3>What was said on the water</h3>{''.join(parts)}" if parts else ""


def _track(one: Story, marks: Sequence[Mark]) -> str:
    silent = [
        (spell.from_s or 0.0, spell.to_s) for spell in one.spells if spell.verdict.word in ("unusual", "rare")
    ]
    drawn = plots.track([(p.t_s, p.lat_deg, p.lon_deg) for p in one.places], marks, silent)
    return (
        (drawn + _key() + '<p class="key">Thin: the silences that were unusual or rare.</p>') if drawn else ""
    )


def _depths(one: Story, marks: Sequence[Mark], clock: Clock) -> str:
    table = one.table
    depth = table.tracks.get("depth_m") if table is not None else None
    if table is None or depth is None:
        return ""
    unit = DISPLAY_UNITS[one.config.boat.units]["m"]
    sides = {rod.name: rod.side for rod in one.config.rods}
    t_s = table.t_s.tolist()
    strips = []
    for rod in port_to_starboard(one.config.rods):
        if rod not in table.rods:
            continue
        c = table.rods.index(rod)
        value = np.where(table.workable[:, c], depth.value[:, c].real, math.nan) * unit.scale
        half = Z90 * depth.sigma[:, c] * unit.scale
        strips.append(
            Strip(
                rod,
                sides[rod],
                t_s,
                value.tolist(),
                (value - half).clip(0.0).tolist(),
                (value + half).tolist(),
            )
        )
    track = table.tracks.get("bottom_depth_m")
    bottom = (
        []
        if track is None
        else list(zip(t_s, (np.exp(track.value[:, 0].real) * unit.scale).tolist(), strict=True))
    )
    drawn = plots.depths(strips, bottom, marks, clock.hours, unit.label)
    note = (
        f"In {unit.label}, surface on top. Blue: where the lure is eight times out of ten. Sand: the bottom."
    )
    return f'{drawn}<p class="key">{escape(note)}</p>'


def _strikes(one: Story, found: dict[str, Any], clock: Clock) -> str:
    units = one.config.boat.units
    rows = []
    for each in found["strikes"]["each"]:
        cells = [clock.at(each["t_s"]), each["rod"] or "not said", each["outcome"]]
        for name, unit in (("depth_m", "m"), ("lure_speed_mps", "m/s"), ("water_temp_c", "degC")):
            cells.append("--" if each[name] is None else shown(each[name], unit, units))
        rows.append(f"<tr>{''.join(f'<td>{escape(str(cell))}</td>' for cell in cells)}</tr>")
    gaps = [b["t_s"] - a["t_s"] for a, b in pairwise(found["strikes"]["each"])]
    head = "".join(
        f"<th>{name}</th>" for name in ("time", "rod", "end", "lure depth", "lure speed", "surface")
    )
    closest = f"<p>Closest two: {min(gaps):.0f} s apart.</p>" if gaps else ""
    return (
        f'<div class="wide"><table><tr>{head}</tr>{"".join(rows)}</table></div>{closest}{_also(one, clock)}'
        if rows
        else "<p>None was told.</p>"
    )


OF_STRIKES = ("fish on", "hook-up", "landed", "lost", "back as it was", "rod state")


def _also(one: Story, clock: Clock) -> str:
    """What else was told."""
    other = [e for e in one.told if e.kind not in OF_STRIKES]
    words = [" ".join(filter(None, [clock.at(e.t_s), e.rod, e.kind, str(e.value or "")])) for e in other]
    return f'<p class="key">Also told: {escape("; ".join(words))}.</p>' if words else ""


def _rates(one: Story) -> str:
    assert one.table is not None
    parts = []
    for name, rows in conditions(one, one.table).items():
        drawn = plots.rates([(r.label, r.rod_hours, r.strikes, r.rate, r.low, r.high) for r in rows])
        parts.append(f"<div><h3>By {escape(name)}</h3>{drawn}</div>")
    note = (
        "Strikes per rod-hour with the limits that hold the true rate eight times out of ten; at right strikes and "
        "rod-hours. A bar from 0 is a blank."
    )
    return f'<div class="two">{"".join(parts)}</div><p class="key">{note}</p>'


def _suspected(found: dict[str, Any], clock: Clock) -> str:
    lines = [f"{clock.at(s['from_s'])} to {clock.at(s['to_s'])}: {s['words']}" for s in found["suspected"]]
    return _list(lines) or "<p>None; only a line with a load cell can be.</p>"


def _alerts(alerts: dict[str, Any]) -> str:
    per = alerts["per_10_min"]
    rate = "" if per is None else f", {per:.2f} per 10 min, {alerts['worst_10_min']} in the worst"
    most = ", ".join(f"{key} {count}" for key, count in list(alerts["most_often"].items())[:5])
    lines = [
        f"{alerts['told']} told{rate}; {alerts['shown_silently']} shown without a sound.",
        f"Most often: {most or 'none'}.",
    ]
    return _list(lines)


def write(log: Path, directory: Path | None, out: Path | None, offset_h: float) -> list[Path]:
    """`spreadwatch report`: the HTML file and the JSON beside it; their paths.

    Raises:
        LogError, ConfigError, OptionError: the outing or its configuration cannot be read.
        OSError: a file cannot be written.
    """
    path, config, seed = chosen(log, directory)
    one = story.read(path, config, seed)
    found = findings(one)
    page = out or Path(f"{path.stem}.html")
    page.write_text(html(one, found, offset_h), encoding="utf-8")
    data = page.with_suffix(".json")
    data.write_bytes(to_json(found) + b"\n")
    return [page, data]


OF_THE_JUDGE = ("silences", "said", "suspected", "deep_water", "claims", "next_time")


def judgement(folder: Path) -> dict[str, Any]:
    """What the judge of quiet spells said of an outing and says of it now. Raises LogError."""
    opening = opening_of(folder)
    found = findings(story.read(folder, opening.config, opening.seed))
    return {name: found[name] for name in OF_THE_JUDGE}
