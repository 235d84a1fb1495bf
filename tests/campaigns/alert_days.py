"""How much is told on simulated days with faults, and nothing on an hour of deliberate curves.

    python tests/campaigns/alert_days.py --seed 1 --n 14

`n` hours of straight legs, turns and changes of speed of sim/ (drawn instruments), with one fault of an instrument
every twenty minutes, through the whole flow; then an hour of S-curves of 20-30 degrees. Wanted of every rod: what it
does at 2.25 mph, a fifth up or down. Figures of alarm practice (EEMUA 191; ISA-18.2-2016, from memory): at most 1 per
10 min in the mean, never more than 10 in 10 min, nothing chatters, at most a tenth are alarms. One JSON object last;
exit 1 when a promise is broken.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
from sim_days import SOURCE, Second, drawn_day, seconds_of, with_faults

from assistant import config, pipeline
from assistant.alerts.statistics import Told
from assistant.configured import AlertLimits, Config
from assistant.lines import spread
from assistant.messages import BoatState, Estimate, Inputs, Sentence
from assistant.units import MPH_MPS
from sim.boat import Leg
from sim.faults import Fault
from sim.scenario import Scenario

FAULT_EVERY_S = 1200.0
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
        faults.append(Fault(kind, quantity, sentence, start_s, start_s + rng.uniform(20.0, 300.0), size, share))
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
    return replace(day, legs=tuple(legs))


def wishes(loaded: Config) -> AlertLimits:
    """Every rod's steady depth at 2.25 mph, SHARE up or down; lures between 1.4 and 3.2 mph."""
    known = Estimate(2.25 * MPH_MPS, 0.05, "ok", 0.0, "wanted")
    heading = Estimate(0.0, 0.02, "ok", 0.0, "wanted")
    state = spread.advance(spread.initial(loaded), known, heading, (), 0.0, True)
    lines = spread.report(state, BoatState(0.0, stw_mps=known, heading_rad=heading))
    depths = {rod: line.depth_m.value for rod, line in lines.items()}
    wanted = {rod: ((1 - SHARE) * d, (1 + SHARE) * d) for rod, d in depths.items() if d is not None}
    return AlertLimits(1.4 * MPH_MPS, 3.2 * MPH_MPS, wanted)


def told_on(day: Iterable[Second], loaded: Config) -> Told:
    """What the flow tells on a day, one Frame a second."""
    state = pipeline.initial(loaded, "simulated")
    told = Told()
    for tick, second in enumerate(day):
        sentences = tuple(Sentence(t_s, SOURCE, text) for t_s, text in second.sentences)
        inputs = Inputs(second.t_s, sentences)
        if tick % 4:
            state = pipeline.advance(state, inputs)
            continue
        state, frame = pipeline.step(state, inputs)
        told.add(frame.t_s, frame.alerts)
    return told


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the days; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=float, default=14.0, help="hours with faults")
    parser.add_argument("--curves", type=float, default=1.0, help="hours of S-curves")
    args = parser.parse_args(argv)
    loaded = config.load()
    loaded = replace(loaded, alerts=wishes(loaded))
    seconds = 3600.0 * args.n
    day = with_faults(drawn_day(args.seed, seconds), drawn_faults(args.seed, seconds))
    faults = told_on(seconds_of(day, args.seed, seconds), loaded).summary()
    weaving = 3600.0 * args.curves
    quiet = told_on(seconds_of(curves(args.seed, weaving), args.seed, weaving), loaded).summary()
    broken = [
        *(["more than 1 per 10 min"] if float(str(faults["per_10_min"])) > 1.0 else []),
        *(["a flood"] if faults["flood"] else []),
        *(["chattering"] if faults["chattering"] or quiet["chattering"] else []),
        *(["a sound in deliberate curves"] if quiet["told"] else []),
    ]
    result = {"seed": args.seed, "n": args.n, "with_faults": faults, "curves": quiet, "broken": broken}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    sys.exit(1 if main()["broken"] else 0)
