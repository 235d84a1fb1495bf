"""A speed log that sticks, freezes, reads low, and one that is right although it looks stuck.

    python tests/campaigns/stuck_log.py --seed 1 --n 10

Each of the `n` drawn days (tests/estimate/estimate_days.py: its truth and sensors share nothing with the filters)
is run with each trouble. Promised: 0.00 flagged within 15 s and unflagged within 30 s of the weed gone; frozen flagged
within 15 s of the speed changing; 60 % low flagged within 3 min; no flag in a day of `--hours` (14) that holds true
stops and, for a seventh of it, a boat adrift in 1 kn. The last is run once in a campaign, it is long.
One JSON object last; exit 1 when a promise is broken, with every case.
A log that freezes is right until the speed changes, so that is when its 15 s begin.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "estimate")]

from estimate_days import CONFIG, DEG, Sea, Tick, altered, day, legs, paces  # noqa: E402

from assistant.estimate import boat  # noqa: E402
from assistant.messages import BoatState  # noqa: E402
from assistant.sensing import quality  # noqa: E402
from assistant.units import KNOT_MPS, MPH_MPS  # noqa: E402

FLAGS = ("reads 0 while", "frozen", "far too low")
PIECE_S = 1200.0
FLAGGED_S, CLEARED_S, LOW_S = 15.0, 30.0, 180.0


@dataclass
class Result:
    """Times to flag and to clear [s] by trouble, and what broke a promise."""

    delays: dict[str, list[float]] = field(default_factory=dict)
    failures: list[str] = field(default_factory=list)

    def note(self, trouble: str, seed: int, delay_s: float, limit_s: float) -> None:
        """One delay; infinite when it never came."""
        self.delays.setdefault(trouble, []).append(delay_s)
        if delay_s > limit_s:
            self.failures.append(f"{trouble}, seed {seed}: {delay_s:.1f} s")


def states(ticks: Iterable[Tick]) -> Iterator[tuple[float, BoatState]]:
    """The boat states of a day, one after the other."""
    gates, state = quality.GateState(), boat.initial(CONFIG)
    for tick in ticks:
        accepted = []
        for reading in tick.readings:
            gates, good, _ = quality.gate(gates, reading)
            if good is not None:
                accepted.append(good)
        state, shown = boat.update(state, accepted, tick.truth.t_s)
        yield tick.truth.t_s, shown


def flagged(shown: BoatState) -> bool:
    """Whether the log is accused of anything."""
    return any(flag in shown.stw_mps.cause for flag in FLAGS)


def first(seen: list[tuple[float, BoatState]], from_s: float, wanted: Callable[[BoatState], bool]) -> float:
    """Seconds from from_s to the first state that is wanted."""
    return next((t_s - from_s for t_s, shown in seen if t_s > from_s and wanted(shown)), math.inf)


def weed(seed: int, result: Result) -> None:
    """0.00 for a minute, the boat under way; then the weed is gone."""
    ticks = altered(day(seed, Sea(minutes=5.0)), "stw_mps", lambda t_s, v: 0.0 if 120.0 < t_s < 180.0 else v)
    seen = list(states(ticks))
    result.note("weed", seed, first(seen, 120.0, flagged), FLAGGED_S)
    result.note("weed gone", seed, first(seen, 180.0, lambda b: b.stw_mps.state == "ok"), CLEARED_S)
    before = sum(flagged(b) for t_s, b in seen if t_s < 120.0 or t_s > 215.0)
    result.note("false flag", seed, math.inf if before else 0.0, 0.0)


def frozen(seed: int, result: Result) -> None:
    """The number stays as it was when the boat changes from 2 to 2.9 mph or back, at once or half a minute later."""
    rng = np.random.default_rng([seed, 3])
    slow_first, wait_s = rng.random() < 0.5, float(rng.choice([1.0, 30.0]))
    one, two = (2.0, 2.9) if slow_first else (2.9, 2.0)
    sea = Sea(
        minutes=4.0,
        stw=lambda t_s: float(np.interp(t_s, [120.0 + wait_s, 124.0 + wait_s], [one, two])) * MPH_MPS,
    )
    ticks = day(seed, sea)
    held = [r.value for t in ticks for r in t.readings if r.quantity == "stw_mps" and r.t_s <= 120.0][-1]
    seen = list(states(altered(ticks, "stw_mps", lambda t_s, v: held if t_s > 120.0 else v)))
    at_s = first(seen, 120.0, flagged)
    result.note("frozen", seed, max(0.0, at_s - wait_s - 4.0), FLAGGED_S)


def low(seed: int, result: Result) -> None:
    """Grass on the wheel: 60 % low from two minutes on; and in another boat from the start."""
    for name, from_s in (("60 % low", 120.0), ("60 % low from switch-on", 0.0)):
        ticks = altered(
            day(seed, Sea(minutes=(from_s + 240.0) / 60.0)),
            "stw_mps",
            lambda t_s, v, f=from_s: 0.4 * v if t_s > f else v,
        )
        result.note(name, seed, first(list(states(ticks)), from_s, flagged), LOW_S if from_s else math.inf)


@dataclass(frozen=True)
class LongDay:
    """A day of stops: trolling, the engine off for a while now and then, and one long drift in a current of 1 kn."""

    seed: int
    hours: float

    def current(self, t_s: float) -> tuple[float, float]:
        """Speed and direction: 0.15 m/s, rising to 1 kn within 10 min for the drift, turning once in 12 h."""
        begin, end = self.adrift_s()
        times = [begin - 900.0, begin - 300.0, end, end + 600.0]
        drift = float(np.interp(t_s, times, [0.15, KNOT_MPS, KNOT_MPS, 0.15]))
        return drift, math.tau * t_s / 43200.0

    def adrift_s(self) -> tuple[float, float]:
        """From when to when the boat drifts all the time [s]."""
        return 1800.0 * self.hours, 1800.0 * self.hours + 3600.0 * self.hours / 7.0

    def ticks(self) -> Iterator[Tick]:
        """In pieces of 20 min, so that it fits into memory; t_s runs on."""
        rng = np.random.default_rng([self.seed, 5])
        for piece in range(math.ceil(self.hours * 3600.0 / PIECE_S)):
            at_s = piece * PIECE_S
            for tick in self._piece(rng, at_s):
                yield _later(tick, at_s)

    def _piece(self, rng: np.random.Generator, at_s: float) -> list[Tick]:
        pace, course = paces(rng, PIECE_S), legs(rng, PIECE_S)
        stop = float(rng.uniform(0.1, 0.7)) * PIECE_S
        begin, end = (t_s - at_s for t_s in self.adrift_s())

        def under_way(t_s: float) -> float:
            edges = [stop, stop + 15.0, stop + 0.2 * PIECE_S, stop + 0.2 * PIECE_S + 10.0]
            return float(np.interp(t_s, edges, [1, 0, 0, 1])) * float(
                np.interp(t_s, [begin, begin + 15.0, end, end + 10.0], [1, 0, 0, 1])
            )

        def heading(t_s: float) -> float:  # a boat adrift swings
            way = under_way(t_s)
            return course(t_s) if way > 0.0 else course(stop) + 25.0 * DEG * math.sin((t_s - stop) / 40.0)

        # one boat all day: hardly another factor and deviation from piece to piece
        sea = Sea(minutes=PIECE_S / 60.0, stw=lambda t_s: under_way(t_s) * pace(t_s), heading=heading)
        sea = replace(sea, current=lambda t_s: self.current(t_s + at_s))
        return day(1000 * self.seed + round(at_s), replace(sea, deviation_sigma=0.5 * DEG, factor_sigma=0.01))


def _later(tick: Tick, by_s: float) -> Tick:
    readings = tuple(
        replace(r, t_s=r.t_s + by_s) for r in tick.readings if r.quantity not in ("lat_deg", "lon_deg")
    )
    return Tick(replace(tick.truth, t_s=tick.truth.t_s + by_s), readings)


def long_day(seed: int, hours: float, result: Result) -> dict[str, object]:
    """Count flags, and how much of the day is ok."""
    frames, causes, words = 0, Counter(), Counter[str]()
    for _, shown in states(LongDay(seed, hours).ticks()):
        frames += 1
        causes[shown.stw_mps.state] += 1
        words[shown.stw_mps.cause] += bool(shown.stw_mps.cause)
    flags = {cause: n for cause, n in words.items() if any(flag in cause for flag in FLAGS)}
    result.failures += [f"long day: {cause} ({n} frames)" for cause, n in flags.items()]
    return {"hours": hours, "ok": round(causes["ok"] / frames, 4), "causes": dict(words.most_common(5))}


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=10, help="days with each trouble")
    parser.add_argument("--hours", type=float, default=14.0, help="of the long day")
    args = parser.parse_args()
    result = Result()
    for seed in range(args.seed, args.seed + args.n):
        for trouble in (weed, frozen, low):
            trouble(seed, result)
    long = long_day(args.seed, args.hours, result)
    shown = {
        name: {
            "median_s": round(float(np.median(d)), 1),
            "worst_s": None if math.isinf(max(d)) else round(max(d), 1),
            "missed": sum(map(math.isinf, d)),
        }
        for name, d in result.delays.items()
    }
    print(
        json.dumps(
            {
                "campaign": "stuck_log",
                "seed": args.seed,
                "n": args.n,
                "delays": shown,
                "long_day": long,
                "failures": result.failures[:20],
            }
        )
    )
    return 1 if result.failures else 0


if __name__ == "__main__":
    sys.exit(main())
