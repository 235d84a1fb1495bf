"""The quiet-spell judge: how unusual a silence is, what physically differs, the cheapest test, or "cannot tell". Pure.

    verdict = judge(minutes, strikes, now_s)

`word` is for the water; figures are for the report. A silence is "unusual" only if it is so both as the one that is
running (the captain waits for the next strike) and as the longest of a day like this (the captain would have noticed
any): most lulls are chance, and the second figure says so. "cannot tell" is an answer like the others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from assistant.outings.causes import Difference, beliefs, differences, known_now, named
from assistant.outings.cheapest import Trial, cheapest
from assistant.outings.effort import Minute, Strike, Table, effort, tabulate, worths
from assistant.outings.quiet_words import Units
from assistant.outings.rates import DEFAULT_PRIOR, Prior, change_factor, day_chance, silence_chance

Word = Literal["usual", "unusual", "rare", "cannot tell"]

UNUSUAL_BELOW = 0.05  # chance of the running silence: one in twenty, the usual convention
UNUSUAL_DAY_BELOW = 0.5  # and it is not what most days show
RARE_BELOW = 0.01
RARE_DAY_BELOW = 0.1


@dataclass(frozen=True, slots=True)
class Silence:
    """How unusual the running silence is, under one reading of the minutes that nobody knows."""

    word: Word
    strikes: int  # that count: those in effort
    strikes_off: int  # those on rods that were not at their band, speed or in order
    hours: float  # effort [spread-h]
    silent_hours: float  # of it since the last strike
    chance: float  # of a silence this long from the last strike on, at one rate; NaN: unknown
    day_chance: float  # of one this long anywhere today, at one rate
    change_factor: float  # how much better two rates explain the day's strikes than one; 1 = no evidence


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the judge says at one instant."""

    t_s: float
    word: Word
    silent_s: float | None  # by the clock since the last strike; None: no strike yet
    silence: Silence  # minutes of unknown depth or lure speed counted as effort
    silence_if_not: Silence  # and not counted
    differences: tuple[
        Difference, ...
    ]  # every quantity that could be compared, largest in its own sigma first
    beliefs: Mapping[str, float]  # chance, causes, something else; sum 1
    named: str | None  # the cause likelier than all the rest together; None: cannot tell
    trial: Trial  # the cheapest single test


def judge(
    minutes: Iterable[Minute],
    strikes: Sequence[Strike],
    now_s: float,
    prior: Prior = DEFAULT_PRIOR,
    units: Units = "angler",
) -> Verdict:
    """Judge the silence that runs at `now_s` [s] from the table of minutes and the strikes; later ones are ignored.

    Raises:
        ValueError: `now_s` is no number.
    """
    return judge_table(tabulate(minutes), strikes, now_s, prior, units)


def judge_table(
    table: Table,
    strikes: Sequence[Strike],
    now_s: float,
    prior: Prior = DEFAULT_PRIOR,
    units: Units = "angler",
    deep: complex | None = None,
) -> Verdict:
    """The same from arrays, for whoever judges one day many times.

    Args:
        deep: the deep current now [m/s], north + i east, where it is known otherwise than from the table.
    """
    if not math.isfinite(now_s):
        raise ValueError(f"now_s {now_s}: want a finite number of seconds")
    table = table.until(now_s)
    past = sorted((s for s in strikes if s.t_s <= now_s), key=lambda s: s.t_s)
    counted = silence_of(table, past, 1.0, prior)
    not_counted = silence_of(table, past, 0.0, prior) if np.isnan(table.effective).any() else counted
    found = differences(table, past, prior)
    shares = beliefs(found, effort(table, table.workable.astype(float), past), prior)
    return Verdict(
        t_s=now_s,
        word=counted.word if counted.word == not_counted.word else "cannot tell",
        silent_s=now_s - past[-1].t_s if past else None,
        silence=counted,
        silence_if_not=not_counted,
        differences=found,
        beliefs=shares,
        named=named(found, shares),
        trial=cheapest(found, shares, units, deep or known_now(table, "deep_current")),
    )


def silence_of(table: Table, strikes: Sequence[Strike], unknown: float, prior: Prior) -> Silence:
    """The statistics of strikes and effort alone."""
    done = effort(table, worths(table, unknown), strikes)
    n, fished = len(done.at_hours), done.hours - done.silent_hours
    chance = silence_chance(n, fished, done.silent_hours, prior)
    of_day = day_chance(n, done.hours, done.silent_hours, prior)
    word = word_for(chance, of_day) if n else "cannot tell"
    changed = change_factor(done.at_hours, done.hours, prior)
    return Silence(word, n, done.off, done.hours, done.silent_hours, chance, of_day, changed)


def word_for(chance: float, of_day: float) -> Word:
    """The word for a silence: its own chance and that of a day showing one must agree that it is odd."""
    if math.isnan(chance):
        return "cannot tell"
    if chance < RARE_BELOW and of_day < RARE_DAY_BELOW:
        return "rare"
    return "unusual" if chance < UNUSUAL_BELOW and of_day < UNUSUAL_DAY_BELOW else "usual"


def spoken(verdict: Verdict) -> tuple[str, str, str]:
    """The three things for a glance, all in one size of type: the silence, the reason, the test.

    On the water there are words, not figures; "cannot tell" is a reason like any other.
    """
    if verdict.silent_s is None:
        quiet = "no strike yet: cannot tell what is usual today"
    else:
        quiet = f"quiet {verdict.silent_s / 60.0:.0f} min: {verdict.word}"
    reason = f"likely: {verdict.named}" if verdict.named else "why: cannot tell"
    return quiet, reason, f"{verdict.trial.do}; {verdict.trial.expect}"
