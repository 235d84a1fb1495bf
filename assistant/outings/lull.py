"""The judge of quiet spells beside the flow: Frames and events in, what it says out. Pure.

Once a minute the Frames of the last one become a row of the judge's table; it is asked then, and when somebody told
of a strike. Before the first strike it says nothing. The words are for the water; figures stand in the report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from assistant.configured import Config
from assistant.messages import Event, Frame, Quiet
from assistant.outings.deep_water import DeepWater, deep_water
from assistant.outings.effort import Minute, Strike, Table
from assistant.outings.growing import HOLD_ROWS, grown
from assistant.outings.minutes import minute_number, minute_of
from assistant.outings.quantities import AT_THE_LURE, CAUSES
from assistant.outings.quiet import Verdict, judge_table
from assistant.outings.quiet_words import hint_words
from assistant.outings.suspects import suspects

SAMPLE_S = 2.0  # between two Frames that count: a minute's mean needs no more
HINTS = 3
HINT_SIZE = 0.5  # of what fish may mind: judgement
STRIKE = "fish on"
WITHDRAWN = "withdrawn"
CLEANS = ("cleaned", "checked")  # who looks at a lure wipes its line


@dataclass(frozen=True, slots=True)
class Lull:
    """What is remembered between two Frames."""

    told: tuple[Event, ...] = ()  # as last corrected, in order of time
    rows: tuple[Minute, ...] = ()  # the last ones
    table: Table | None = None  # of all
    frames: tuple[Frame, ...] = ()  # of the minute that runs
    clean_s: Mapping[str, float] = field(default_factory=dict)  # when a rod's line was last clean, as told
    fresh: bool = False  # something was told since the last verdict
    quiet: Quiet | None = None


def heard(lull: Lull, events: Sequence[Event]) -> Lull:
    """Take in what the crew told. An event that corrects another happened when that one did."""
    if not events:
        return lull
    told, clean_s = list(lull.told), dict(lull.clean_s)
    for event in events:
        if event.kind in CLEANS and event.rod is not None:
            clean_s[event.rod] = event.t_s
        for old in [one for one in told if event.corrects is not None and one.number == event.corrects]:
            told.remove(old)
            event = replace(event, t_s=old.t_s)
        if event.kind != WITHDRAWN:
            told.append(event)
    return replace(lull, told=tuple(sorted(told, key=lambda one: one.t_s)), clean_s=clean_s, fresh=True)


def look(lull: Lull, config: Config, frame: Frame) -> Lull:
    """Take in a Frame, later than the last one, and judge where it is time."""
    if lull.frames and frame.t_s - lull.frames[-1].t_s < SAMPLE_S and not lull.fresh:
        return lull
    over = bool(lull.frames) and minute_number(frame.t_s) != minute_number(lull.frames[0].t_s)
    if over:
        row = minute_of(lull.frames, config.alerts, weighted(config), lull.clean_s)
        rows = (*lull.rows, row)[-HOLD_ROWS:]
        lull = replace(lull, rows=rows, table=grown(lull.table, rows), frames=())
    aboard = {rod: frame.t_s for rod, line in frame.lines.items() if line.rod_state == "aboard"}
    clean_s = {**lull.clean_s, **aboard} if aboard else lull.clean_s
    lull = replace(lull, frames=(*lull.frames, frame), clean_s=clean_s)
    if not (over or lull.fresh):
        return lull
    return replace(lull, fresh=False, quiet=_judged(lull, config, frame))


def _judged(lull: Lull, config: Config, frame: Frame) -> Quiet | None:
    """What is said now."""
    if lull.table is None:
        return None
    lat, heading = (
        frame.boat[name].value if name in frame.boat else None for name in ("lat_deg", "heading_rad")
    )
    water = deep_water(lull.table, config.boat, *([] if lat is None else [lat]))
    return said(lull.table, lull.told, frame.t_s, config, water, heading)


def said(
    table: Table,
    told: Sequence[Event],
    now_s: float,
    config: Config,
    water: DeepWater | None,
    heading_rad: float | None,
) -> Quiet | None:
    """What is to be said of a table at `now_s` [s]; None before the first strike.

    Args:
        told: what the crew told so far.
        water: the deep current, as far as it is known; heading_rad: the boat's, now.
    """
    past = strikes(told)
    if not past:
        return None
    verdict = judged(table, past, now_s, config, water)
    return Quiet(
        t_s=now_s,
        word=verdict.word,
        strike_s=past[-1].t_s,
        reason=reason(verdict, water, heading_rad),
        trial=f"{verdict.trial.do}; {verdict.trial.expect}",
        differs=hints(verdict, config),
        suspects=tuple(one.words for one in suspects(table)),
    )


def reason(verdict: Verdict, water: DeepWater | None, heading_rad: float | None) -> str:
    """What is likely, in words; deep water that goes with the boat is how lures lose speed unnoticed."""
    if verdict.named is None:
        return "why: cannot tell"
    slowed = water is not None and water.known and heading_rad is not None and water.slows(heading_rad) > 0.5
    why = ", deep water goes with the boat" if slowed and verdict.named == "lure speed" else ""
    return f"likely: {verdict.named}{why}"


def judged(
    table: Table, past: Sequence[Strike], now_s: float, config: Config, water: DeepWater | None
) -> Verdict:
    """The verdict, with the deep current to steer by where it is known."""
    deep = water.velocity_mps if water is not None and water.known else None
    return judge_table(table, past, now_s, units=config.boat.units, deep=deep)


def hints(verdict: Verdict, config: Config) -> tuple[str, ...]:
    """What physically differs at the lures by as much as fish may mind, in words without figures of belief."""
    at_lures = [
        d
        for d in verdict.differences
        if d.differs
        and d.origin != "worked out"
        and CAUSES[d.cause].chance >= AT_THE_LURE
        and d.size >= HINT_SIZE
    ]
    return tuple(hint_words(d, config.boat.units) for d in at_lures[:HINTS])


def strikes(told: Sequence[Event]) -> list[Strike]:
    """The strikes among what was told, in order of time."""
    return sorted((Strike(e.t_s, e.rod) for e in told if e.kind == STRIKE), key=lambda one: one.t_s)


def weighted(config: Config) -> frozenset[str]:
    """Rods without anything that dives: their lines run the deeper the slower they are towed."""
    dives = {name for name, body in config.bodies.items() if body.kind in ("planer", "diver")}
    return frozenset(rod.name for rod in config.rods if not any(part.body in dives for part in rod.rig))
