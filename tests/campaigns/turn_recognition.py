"""Is a turn seen in time, and a straight course left alone? The simulator's boat and instruments, through `locate`.

Turns of 0.3-3 deg/s, 90 degrees at most, in its waves: seen within the larger of 3 s and 8 degrees / rate from the helm
put over (the bow follows with a lag of 2 s, so that it has gone 4 degrees by then at 3 deg/s), `late_s` by how much the
latest missed that, `ended_s` the median time from the end until it is seen.
Straight: so many hours on a heading in waves: turns seen an hour; a third as many with a bow that yaws ROUGH times as
much. --n counts turns and, by ten, hours.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from assistant import config, locate
from assistant.ahead.steering import Helm, watched
from assistant.messages import Inputs, Sentence
from sim.boat import Leg
from sim.chain import Water
from sim.feed import Feed
from sim.scenario import read_scenario
from sim.world import World

MPH, DEG = 0.44704, math.pi / 180.0
BEFORE_S, AFTER_S = 60.0, 40.0
ROUGH = 2.5


def steering(
    legs: tuple[Leg, ...], seconds: float, seed: int, rough: float = 1.0
) -> Iterator[tuple[float, Helm]]:
    """What is seen, four times a second; rough: how much more the bow yaws than usual."""
    scenario = replace(read_scenario("straight"), legs=legs, repeat=False)
    handling = scenario.handling
    handling = replace(handling, yaw_sigma_deg_s=rough * handling.yaw_sigma_deg_s)
    scenario = replace(scenario, handling=handling)
    feed = Feed(scenario, World(scenario, (), Water(999.0, 9.80665), seed), seed, truth=False)
    state, seen = locate.initial(config.load().boat), Helm()
    batch: list[Sentence] = []
    tick = 1
    for out in feed.run(seconds):
        while out.t_s > tick * locate.STEP_S:
            t_s = tick * locate.STEP_S
            state = locate.advance(state, Inputs(t_s, tuple(batch)))
            seen = watched(seen, t_s, state.steering.heading_rad)
            yield t_s, seen
            batch, tick = [], tick + 1
        batch.append(Sentence(out.t_s, "sim", out.text))


def one_turn(seed: int) -> dict[str, Any]:
    """A turn: its rate, how long until seen and until its end is seen [s]; None where it was not."""
    rng = np.random.default_rng(seed)
    rate = math.exp(rng.uniform(math.log(0.3), math.log(3.0)))
    side = rng.choice([-1.0, 1.0])
    lasts_s = rng.uniform(30.0, 90.0) / rate
    speed = rng.uniform(1.8, 2.9) * MPH
    legs = (
        Leg(BEFORE_S, speed, rng.uniform(0.0, math.tau)),
        Leg(lasts_s, speed, None, side * rate * DEG),
        Leg(1e4, speed, None, 0.0),
    )
    seen_s = ended_s = None
    for t_s, now in steering(legs, BEFORE_S + lasts_s + AFTER_S, seed):
        if t_s > BEFORE_S and seen_s is None and now.side == side:
            seen_s = t_s - BEFORE_S
        if t_s > BEFORE_S + lasts_s and ended_s is None and now.side == 0:
            ended_s = t_s - BEFORE_S - lasts_s
    allowed_s = max(3.0, 8.0 / rate)
    return {"rate": rate, "late_s": None if seen_s is None else seen_s - allowed_s, "ended_s": ended_s}


def false_turns(hours: float, seed: int, rough: float = 1.0) -> int:
    """Turns seen on a straight course."""
    count, before = 0, 0
    for _, now in steering((Leg(1e6, 2.1 * MPH, 3.0),), 3600.0 * hours, seed, rough):
        count += now.side != 0 and before == 0
        before = now.side
    return count


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=40)
    parser.add_argument("--hours", type=float, help="on a straight course; a tenth of --n if not given")
    args = parser.parse_args(argv)
    turns = [one_turn(args.seed * 1009 + k) for k in range(args.n)]
    late = [turn["late_s"] for turn in turns if turn["late_s"] is not None]
    ended = [turn["ended_s"] for turn in turns if turn["ended_s"] is not None]
    hours = args.n / 10.0 if args.hours is None else args.hours
    result = {
        "seed": args.seed,
        "n": args.n,
        "seen": len(late),
        "in_time": sum(value <= 0.0 for value in late),
        "late_s": round(max(late), 2) if late else None,
        "ended_s": round(statistics.median(ended), 2) if ended else None,
        "hours": hours,
        "false_per_hour": round(false_turns(hours, args.seed) / hours, 2),
        "false_per_hour_rough": round(false_turns(hours / 3.0, args.seed, ROUGH) / (hours / 3.0), 2),
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
