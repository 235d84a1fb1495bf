"""How much is told on simulated days with faults and forecasts, how much of it is true, and what was not told.

    python tests/campaigns/alert_days.py --seed 51 --n 14

`n` hours of passes (half of them in curves), turns and changes of speed of sim/, drawn instruments, lines a little
other than their tables, one fault of an instrument every twenty minutes, through the whole flow with forecasts as the
daemon makes them but more seldom (every 12 s, 4 s in a turn). A crew acts on what it is told (alert_crew.py): rates,
floods, chattering and shares are those of that day. Whether a warning or an alarm was true is judged in a copy of the
world, taken as it sounds, in which nobody acts on it; what happened is what came although somebody acted, or untold,
and what would have come. Then an hour of S-curves of 20-30 degrees. Wanted of every rod: what it does at 2.25 mph, a
fifth up or down. Figures of alarm practice (EEMUA 191; ISA-18.2-2016, from memory): at most 1 per 10 min in the mean,
never more than 10 in 10 min, nothing chatters, at most a tenth are alarms; of warnings and alarms 80 % true, of touches
and crossings 90 % told (alert_truth.py). A line of JSON on stderr after each day, one object last on stdout; exit 1
when a promise is broken.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from alert_crew import Crew
from alert_truth import Record, Truth
from sim_days import SOURCE, drawn_day, with_faults

from assistant import config, locate, pipeline
from assistant.ahead.following import Followed, followed, question_of, turning
from assistant.ahead.forecast import forecast
from assistant.ahead.recorded import as_input
from assistant.alerts.statistics import Told
from assistant.configured import AlertLimits, Config
from assistant.lines import spread
from assistant.locate import STEP_S
from assistant.messages import Alert, BoatState, Estimate, Inputs, LineSetting, Outlook, Sentence
from assistant.units import MPH_MPS, wrap_tau
from sim.boat import Leg
from sim.faults import Fault
from sim.feed import Feed
from sim.gear import read_spread, read_water
from sim.scenario import Scenario
from sim.world import World

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
RODS = ("P2", "P1", "W")
EVERY_S, TURNING_EVERY_S = 12.0, 4.0
OFF = {"counter_factor": 0.02, "normal_drag_factor": 0.04, "planer_lift_factor": 0.03}
"""1 sigma of how far the true lines are off their tables: counters that were taped, depths that were checked."""
BOTTOM_M = 38.0  # the weight rod, 29 m down at 2.1 mph, is near it when the boat slows or turns
DAY_H = 2.0
FAULT_EVERY_S = 1200.0
COARSE: dict[str, Any] = {"line_step_s": 0.3, "line_elements": 20}
"""Of the true lines: a third of the time, depths in a turn of 90 s within 1 cm of those of the defaults (measured)."""
SHARE = 0.2  # how far a lure may be off what is wanted
FAULTS: tuple[tuple[str, str | None, str | None, float, float], ...] = (
    # kind, quantity, sentence, size, share of values or sentences
    ("drop", None, "RMC", 0.0, 1.0),
    ("drop", None, "*", 0.0, 1.0),
    ("stuck", "stw_mps", None, 0.0, 1.0),
    ("freeze", "heading_rad", None, 0.0, 1.0),
    ("blank", "water_depth_m", None, 0.0, 1.0),
    ("spike", "water_depth_m", None, 30.0, 0.2),
    ("bad checksum", None, "VHW", 0.0, 0.5),
    ("late", None, "*", 2.0, 0.3),
    ("scale", "stw_mps", None, 0.4, 1.0),
)


def drawn_faults(seed: int, seconds: float) -> list[Fault]:
    """One fault of 20 to 300 s in every FAULT_EVERY_S."""
    rng = np.random.default_rng([seed, 77])
    faults = []
    for first_s in np.arange(300.0, seconds - FAULT_EVERY_S, FAULT_EVERY_S):
        kind, quantity, sentence, size, share = FAULTS[rng.integers(len(FAULTS))]
        start_s = float(first_s + rng.uniform(0.0, 800.0))
        faults.append(
            Fault(kind, quantity, sentence, start_s, start_s + rng.uniform(20.0, 300.0), size, share)
        )
    return faults


def curves(seed: int, seconds: float) -> Scenario:
    """S-curves of 20-30 degrees to each side at the scenario's rate."""
    day = drawn_day(seed, 60.0)
    rng = np.random.default_rng([seed, 78])
    legs, side, total = [], 1.0, 0.0
    while total < seconds:
        heading = 200.0 + side * float(rng.uniform(20.0, 30.0))
        legs.append(Leg(60.0, 2.25 * MPH_MPS, math.radians(heading)))
        side, total = -side, total + 60.0
    return replace(day, legs=tuple(legs), **COARSE)


def wishes(loaded: Config) -> AlertLimits:
    """Every rod's steady depth at 2.25 mph, SHARE up or down; lures between 1.4 and 3.2 mph."""
    known = Estimate(2.25 * MPH_MPS, 0.05, "ok", 0.0, "wanted")
    heading = Estimate(0.0, 0.02, "ok", 0.0, "wanted")
    state = spread.advance(spread.initial(loaded), known, heading, (), 0.0, True)
    lines = spread.report(state, BoatState(0.0, stw_mps=known, heading_rad=heading))
    depths = {rod: line.depth_m.value for rod, line in lines.items()}
    wanted = {rod: ((1 - SHARE) * d, (1 + SHARE) * d) for rod, d in depths.items() if d is not None}
    return AlertLimits(1.4 * MPH_MPS, 3.2 * MPH_MPS, wanted)


def outing(seed: int, seconds: float) -> Scenario:
    """Passes of 3-8 min, half of them in curves of 20-30 degrees, at 1.8-2.5 mph; turns of 60-180 degrees between them.

    They take 0.4-1.5 deg/s: 180 degrees with all lines out take 5-8 min (common practice, no source), some less.
    """
    day = drawn_day(seed, 60.0)
    rng = np.random.default_rng([seed, 79])
    legs: list[Leg] = []
    heading, total = float(rng.uniform(0.0, math.tau)), 0.0
    while total < seconds:
        speed, left, side = float(rng.uniform(1.8, 2.5)) * MPH_MPS, float(rng.uniform(180.0, 480.0)), 1.0
        weaving = bool(rng.integers(2))
        while left > 0.0:
            swing = side * math.radians(float(rng.uniform(10.0, 15.0))) if weaving else 0.0
            legs.append(Leg(60.0, speed, wrap_tau(heading + swing)))
            side, left = -side, left - 60.0
        angle = math.radians(float(rng.choice([-1.0, 1.0]) * rng.uniform(60.0, 180.0)))
        rate = math.copysign(math.radians(math.exp(rng.uniform(math.log(0.4), math.log(1.5)))), angle)
        legs.append(Leg(angle / rate, speed, None, rate))
        heading = wrap_tau(heading + angle)
        total = sum(leg.duration_s for leg in legs)
    return replace(day, legs=tuple(legs), lake=replace(day.lake, bottom_m=BOTTOM_M), **COARSE)


class Live:
    """The flow with its forecasts, as the daemon runs it."""

    def __init__(self, loaded: Config) -> None:
        self._boat = locate.initial(loaded.boat)
        self._lines = pipeline.initial_lines(loaded, "simulated")
        self._fish_mps = loaded.boat.fish_speed_mps
        self._followed, self._asked_s = Followed(), -math.inf
        self._outlook: Outlook | None = None
        self.told = Told()

    def step(
        self, tick: int, sentences: Sequence[Sentence], settings: tuple[LineSetting, ...] = ()
    ) -> tuple[Alert, ...] | None:
        """One step; the alerts of its Frame, where it is time for one (every second)."""
        framed = tick % 4 == 0
        inputs = Inputs(tick * STEP_S, tuple(sentences), settings, outlook=self._outlook)
        self._outlook, alerts = None, None
        self._boat, instant = locate.located(self._boat, inputs, framed)
        if instant.boat is None:
            self._lines = pipeline.follow(self._lines, instant)
        else:
            self._lines, frame = pipeline.frame_of(self._lines, instant)
            self.told.add(frame.t_s, frame.alerts)
            alerts = frame.alerts
        _, stw, heading = self._boat.steering
        motion = self._lines.spread.motion
        self._followed = followed(self._followed, inputs.t_s, stw, heading, motion, instant.boat)
        if instant.boat is not None:
            self._look_ahead(inputs.t_s, instant.boat)
        return alerts

    def _look_ahead(self, t_s: float, boat: BoatState) -> None:
        """A new forecast for the next step, where it is time for one."""
        if t_s - self._asked_s < (TURNING_EVERY_S if turning(self._followed) else EVERY_S):
            return
        lines = self._lines.spread
        asked = question_of(self._followed, boat, [rod.rod_state for rod in lines.rods], self._fish_mps)
        if asked is None:
            return
        self._asked_s = t_s
        response = self._followed.learned.response()
        told = forecast(lines, asked.manoeuvre, response, self._followed.soundings)
        if told is not None:
            self._outlook = as_input(replace(told, kind=asked.kind, state=asked.state, cause=asked.cause))


def played(
    day: Scenario, seed: int, seconds: float, loaded: Config, acting: bool = True
) -> tuple[Told, Truth, Crew]:
    """A day through the flow, beside the truth, with a crew that acts on what it is told; one row a second."""
    rng = np.random.default_rng([seed, 80])
    names = tuple(rod.name for rod in loaded.rods)
    factors = {rod: {key: 1.0 + sigma * rng.standard_normal() for key, sigma in OFF.items()} for rod in names}
    water = read_water(CONFIGS)
    rigs = [rig for rig in read_spread(CONFIGS / "spread.toml", CONFIGS, water, factors) if rig.rod in names]
    world = World(day, rigs, water, seed)
    live, truth = Live(loaded), Truth(Record(names, day.lake))
    counters = {rod.name: rod.line_out_m for rod in loaded.rods}
    true = {rod: factors[rod]["counter_factor"] for rod in names}
    crew = Crew(counters, true, day.legs, np.random.default_rng([seed, 81]))
    ahead: list[Sentence] = []
    settings: tuple[LineSetting, ...] = ()
    tick = 1
    for out in Feed(day, world, seed, truth=False).run(seconds):
        while out.t_s > tick * STEP_S + 1e-9:  # the world stands at most one boat step further on
            alerts = live.step(tick, ahead, settings)
            settings = ()
            if alerts is not None:
                crew.hear(tick * STEP_S, truth.add(tick * STEP_S, world, alerts), alerts)
            if alerts is not None and acting:
                settings = crew.act(tick * STEP_S, world)
            ahead, tick = [], tick + 1
        ahead.append(Sentence(out.t_s, SOURCE, out.text))
    return live.told, truth, crew


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the days; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="of the first day; the next day has the next one")
    parser.add_argument("--n", type=float, default=14.0, help="hours with faults, in days of two hours")
    parser.add_argument("--curves", type=float, default=1.0, help="hours of S-curves")
    args = parser.parse_args(argv)
    loaded = config.load()
    loaded = replace(loaded, rods=tuple(rod for rod in loaded.rods if rod.name in RODS))
    loaded = replace(loaded, alerts=wishes(loaded))
    days = []
    for k in range(math.ceil(args.n / DAY_H - 1e-9)):
        seed, seconds = args.seed + k, 3600.0 * min(DAY_H, args.n - DAY_H * k)
        days.append(
            played(with_faults(outing(seed, seconds), drawn_faults(seed, seconds)), seed, seconds, loaded)
        )
        sofar = {"seed": seed, "faults": days[-1][0].summary(), "judged": days[-1][1].judged()}
        print(json.dumps(sofar), file=sys.stderr, flush=True)
    faults, judged = summed([told for told, _, _ in days]), totals([truth for _, truth, _ in days])
    weaving = 3600.0 * args.curves
    quiet_told, quiet_truth, _ = played(curves(args.seed, weaving), args.seed, weaving, loaded)
    quiet = quiet_told.summary()
    result = {
        "seed": args.seed, "n": args.n, "with_faults": faults, "judged": judged, "curves": quiet,
        "lines_lifted": sum(crew.lifted for *_, crew in days), "turns_eased": sum(crew.eased for *_, crew in days),
        "curves_happened": quiet_truth.judged()["happened"],
        "sounds_in_curves": [f"{one.t_s:.0f} s: {one.alert.text}" for one in quiet_truth.told],
        "broken": broken(faults, judged, quiet),
    }  # fmt: skip
    print(json.dumps(result))
    return result


def summed(days: Sequence[Told]) -> dict[str, Any]:
    """The figures of several days as of one; the worst ten minutes are those of the worst day."""
    all_days = Told()
    for one in days:
        all_days.seconds += one.seconds
        all_days.by_priority += one.by_priority
        all_days.by_key += one.by_key
        all_days.silent += one.silent
        all_days.worst_period = max(all_days.worst_period, one.worst_period)
        all_days.chattering |= one.chattering
        all_days.long |= one.long
    return all_days.summary()


def totals(days: Sequence[Truth]) -> dict[str, Any]:
    """Counts and lists of several days, one after the other."""
    each = [truth.judged() for truth in days]
    return {key: [one for day in each for one in day[key]] if isinstance(each[0][key], list)
            else sum(day[key] for day in each) for key in each[0]}  # fmt: skip


def broken(faults: dict[str, Any], judged: dict[str, Any], quiet: dict[str, Any]) -> list[str]:
    """The promises that are."""
    alarms = faults["shares"]["alarm"]
    return [
        *(["more than 1 per 10 min"] if faults["per_10_min"] > 1.0 else []),
        *(["a flood"] if faults["flood"] else []),
        *(["chattering"] if faults["chattering"] or quiet["chattering"] else []),
        *(["more than a tenth are alarms"] if alarms is not None and alarms > 0.1 else []),
        *(["less than 80 % true"] if judged["true"] < 0.8 * judged["judged"] else []),
        *(["less than 90 % told"] if judged["announced"] < 0.9 * judged["happened"] else []),
        *(["a sound in deliberate curves"] if quiet["told"] else []),
    ]


if __name__ == "__main__":
    sys.exit(1 if main()["broken"] else 0)
