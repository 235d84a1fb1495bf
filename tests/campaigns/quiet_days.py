"""Calibration of the quiet-spell judge: invented days with and without a cause of the silence, looked at every 5 min.

    python tests/campaigns/quiet_days.py --seed 1 --n 500

A day has six to nine rods, strikes at random times at a rate of its own (1.5 to 5 an hour), instruments with noise and
slow wander, a boat that changes its heading, light and time since cleaning that go their own way, and sometimes a
decoy: a quantity that changes for good and is nothing to the fish. On half of the days the rate drops to a quarter at
some moment and one quantity the boat can see at the lures changes with it; the other half has no cause. The same rule
judges every variant of the generator (WORLDS).

"wrong": a cause was named first that is not the true one, or before it began, or on a day without one. "right": the
true one was named first, within 60 min of the drop. `most_possible_percent` is what no rule can beat that is wrong on
one in twenty of the days on which a decoy changed at the lures, the rate known exactly and nothing but the strikes to
tell a cause from a decoy (Neyman and Pearson 1933, Phil. Trans. R. Soc. A 231, 289-337). The last line is one JSON
object.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.outings.causes import beliefs, differences, named
from assistant.outings.effort import MINUTE_S, Strike, Table, Track, effort
from assistant.outings.quantities import CAUSES, QUANTITIES
from assistant.outings.rates import DEFAULT_PRIOR

LOOK_MIN = 5
BEGIN_MIN = 30  # nobody asks before
RIGHT_WITHIN_MIN = 60
MINUTES = 420
CUT = 0.25


@dataclass(frozen=True)
class Instrument:
    """How one quantity behaves on an ordinary day, and what a real change of it is."""

    level: float
    noise: float  # of one minute
    wander: float  # sigma of its slow part
    step: float  # a change that a cause brings
    per_rod: bool = False


AT_LURE = ("lure_speed_mps", "depth_m", "lure_temp_c")
INSTRUMENTS: Mapping[str, Instrument] = {
    "lure_speed_mps": Instrument(0.95, 0.03, 0.03, -0.30, per_rod=True),
    "depth_m": Instrument(18.0, 0.5, 0.6, -6.0, per_rod=True),
    "lure_temp_c": Instrument(10.0, 0.2, 0.4, 4.0),
    "light_log10": Instrument(3.5, 0.05, 0.1, 1.2),
    "bottom_depth_m": Instrument(3.7, 0.03, 0.06, -0.5),  # log m
}
WANDER_MIN = 25.0  # correlation time


@dataclass(frozen=True)
class World:
    """One variant of the generator."""

    rate_low: float = 1.5  # strikes an hour
    rate_high: float = 5.0
    noise: float = 1.0
    wander: float = 1.0
    drifting: int = 0  # quantities that drift through the day by their step, whatever the fish do
    decoys: float = 0.25  # chance that one quantity steps at some moment without any effect on the strikes
    heading_legs: bool = True
    causes: tuple[str, ...] = AT_LURE
    pairs: float = 0.0  # share of strikes that bring a second one within a minute


WORLDS: Mapping[str, World] = {
    "usual": World(),
    "no decoys": World(decoys=0.0),
    "decoy every day": World(decoys=1.0),
    "noisy": World(noise=3.0, wander=2.0),
    "three drifting": World(drifting=3),
    "slow, 1.5 an hour": World(rate_low=1.5, rate_high=1.5),
    "3 an hour": World(rate_low=3.0, rate_high=3.0),
    "5 an hour": World(rate_low=5.0, rate_high=5.0),
    "strikes in pairs": World(pairs=0.3),
    "cause around the lure": World(causes=("light_log10", "bottom_depth_m")),
}


@dataclass(frozen=True)
class Day:
    """An invented day and its truth."""

    table: Table
    strikes: tuple[Strike, ...]
    cause: str | None
    onset_min: int


def wandering(rng: np.random.Generator, n: int, columns: int) -> np.ndarray:
    """(n, columns) of a first-order autoregression of unit variance."""
    keep = np.exp(-1.0 / WANDER_MIN)
    kicks = rng.standard_normal((n, columns)) * np.sqrt(1.0 - keep**2)
    kicks[0] = rng.standard_normal(columns)
    out = np.empty_like(kicks)
    out[0] = kicks[0]
    for i in range(1, n):
        out[i] = keep * out[i - 1] + kicks[i]
    return out


def instruments(
    rng: np.random.Generator, world: World, rods: int, steps: Mapping[str, int]
) -> dict[str, Track]:
    """Every quantity of the day; `steps` gives the minute at which some change for good."""
    minute = np.arange(MINUTES)[:, None]
    drifting = rng.permutation(list(INSTRUMENTS))[: world.drifting]
    tracks = {}
    for name, kind in INSTRUMENTS.items():
        columns = rods if kind.per_rod else 1
        value = kind.level + world.noise * kind.noise * rng.standard_normal((MINUTES, columns))
        value = value + world.wander * kind.wander * wandering(rng, MINUTES, 1)
        if name in drifting:
            value = value + kind.step * minute / MINUTES
        if name in steps:
            value = value + kind.step * (minute >= steps[name])
        sigma = np.full(value.shape, 2.0 * world.noise * kind.noise)
        tracks[name] = Track(value.astype(complex), sigma, "measured", ["a sensor"] * columns)
    cleaned = rng.integers(0, MINUTES, (1, rods))
    age = np.where(minute >= cleaned, minute - cleaned, minute).astype(complex)
    tracks["fouling_min"] = Track(age, np.full(age.shape, 2.0), "entered", ["the clock"] * rods)
    if world.heading_legs:
        legs = np.cumsum(rng.exponential(70.0, 40))
        base = rng.uniform(0.0, 2.0 * np.pi)
        leg = np.searchsorted(legs, np.arange(MINUTES))
        heading = base + np.pi * (leg % 2) + 0.4 * np.sin(np.arange(MINUTES) / 3.0)
        unit = np.exp(1j * heading)[:, None]
        tracks["heading_rad"] = Track(unit, np.full(unit.shape, 0.05), "measured", ["compass"])
    return tracks


def invented(rng: np.random.Generator, world: World, with_cause: bool) -> Day:
    """One day."""
    rods = int(rng.integers(6, 10))
    rate = float(np.exp(rng.uniform(np.log(world.rate_low), np.log(world.rate_high))))
    onset = int(rng.integers(120, MINUTES - RIGHT_WITHIN_MIN - 30))
    cause = str(rng.choice(world.causes)) if with_cause else None
    steps = {cause: onset} if cause else {}
    if rng.uniform() < world.decoys:
        decoy = str(rng.choice([name for name in INSTRUMENTS if name != cause]))
        steps[decoy] = int(rng.integers(90, MINUTES - 30))
    per_minute = np.full(MINUTES, rate / 60.0 / (1.0 + world.pairs))
    if cause:
        per_minute[onset:] *= CUT
    counts = rng.poisson(per_minute)
    at = np.repeat(np.arange(MINUTES), counts) * MINUTE_S + rng.uniform(0.0, MINUTE_S, int(counts.sum()))
    second = at[rng.uniform(size=len(at)) < world.pairs] + rng.uniform(1.0, 60.0)
    times = np.sort(np.concatenate([at, second]))
    names = tuple(f"rod {i + 1}" for i in range(rods))
    strikes = tuple(Strike(float(t), names[int(rng.integers(rods))]) for t in times)
    workable = np.ones((MINUTES, rods), dtype=bool)
    table = Table(
        np.arange(MINUTES) * MINUTE_S,
        names,
        workable,
        workable.astype(float),
        instruments(rng, world, rods, steps),
    )
    return Day(table, strikes, cause, onset)


@dataclass(frozen=True)
class Answer:
    """The first cause named on a day, when, and how strongly each cause was believed at the end."""

    cause: str | None
    at_min: int
    believed: Mapping[str, float]


def answer(day: Day) -> Answer:
    """Judge a day every LOOK_MIN until a cause is named."""
    shares: Mapping[str, float] = {}
    for minute in range(BEGIN_MIN, MINUTES + 1, LOOK_MIN):
        now_s = minute * MINUTE_S
        table = day.table.until(now_s)
        past = [strike for strike in day.strikes if strike.t_s <= now_s]
        found = differences(table, past, DEFAULT_PRIOR)
        worked = effort(table, table.workable.astype(float), past)
        shares = beliefs(found, worked, DEFAULT_PRIOR)
        if (cause := named(found, shares)) is not None:
            return Answer(cause, minute, shares)
    return Answer(None, MINUTES, shares)


def outcome(day: Day, said: Answer) -> str:
    """One word for what the answer was worth."""
    if said.cause is None:
        return "cannot tell"
    if day.cause is None or said.cause != QUANTITIES[day.cause].cause or said.at_min <= day.onset_min:
        return "wrong"
    return "right" if said.at_min <= day.onset_min + RIGHT_WITHIN_MIN else "right later"


BINS = (0.0, 0.1, 0.3, 0.5, 0.65, 0.8)


def table_of(beliefs_true: Sequence[tuple[float, bool]]) -> dict[str, object]:
    """How often what was believed so strongly was true."""
    rows = {}
    for low, high in itertools.pairwise(BINS):
        hits = [true for share, true in beliefs_true if low < share <= high]
        if hits:
            row = {"n": len(hits), "true_percent": round(100.0 * float(np.mean(hits)), 1)}
            rows[f"{100 * low:.0f}-{100 * high:.0f} %"] = row
    return rows


def judged(seed: int, n: int, world: World) -> dict[str, object]:
    """Outcomes of n days of one world, half of them with a cause."""
    rng = np.random.default_rng(seed)
    counts: dict[bool, dict[str, int]] = {True: {}, False: {}}
    believed: list[tuple[float, bool]] = []
    for i in range(n):
        with_cause = i % 2 == 0
        day = invented(rng, world, with_cause)
        said = answer(day)
        word = outcome(day, said)
        counts[with_cause][word] = counts[with_cause].get(word, 0) + 1
        true = QUANTITIES[day.cause].cause if day.cause and said.at_min > day.onset_min else None
        believed += [(share, name == true) for name, share in said.believed.items() if name in CAUSES]
    wrong = {with_cause: c.get("wrong", 0) for with_cause, c in counts.items()}
    days = {with_cause: max(1, sum(c.values())) for with_cause, c in counts.items()}
    return {
        "with_cause": dict(sorted(counts[True].items())),
        "without": dict(sorted(counts[False].items())),
        "wrong_percent": round(100.0 * sum(wrong.values()) / max(1, n), 1),
        "wrong_without_cause_percent": round(100.0 * wrong[False] / days[False], 1),
        "right_within_60_min_percent": round(100.0 * counts[True].get("right", 0) / days[True], 1),
        "believed_when_named_or_at_the_end": table_of(believed),
    }


def most_possible(rate_per_h: float, wrong: float = 0.05) -> float:
    """Power of the best test of a cut rate against a constant one from the strikes of RIGHT_WITHIN_MIN minutes."""
    mean = rate_per_h * RIGHT_WITHIN_MIN / 60.0
    left, power = wrong, 0.0
    for count in range(100):
        factorial = math.factorial(count)
        constant = math.exp(-mean) * mean**count / factorial
        cut = math.exp(-CUT * mean) * (CUT * mean) ** count / factorial
        share = min(1.0, left / constant)
        power, left = power + share * cut, left - share * constant
        if left <= 0.0:
            break
    return power


def campaign(seed: int, n: int, worlds: Sequence[str] = tuple(WORLDS)) -> dict[str, object]:
    """Outcomes by world."""
    possible = {
        f"{rate} an hour": round(100.0 * most_possible(rate), 1) for rate in (1.5, 2.0, 3.0, 4.0, 5.0)
    }
    found = {name: judged(seed, n, WORLDS[name]) for name in worlds}
    return {"seed": seed, "n": n, "worlds": found, "most_possible_percent": possible}


def main() -> None:
    """Run one campaign and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=500)
    parser.add_argument(
        "--world", action="append", choices=tuple(WORLDS), help="only this one; may be repeated"
    )
    options = parser.parse_args()
    print(json.dumps(campaign(options.seed, options.n, options.world or tuple(WORLDS))))


if __name__ == "__main__":
    main()
