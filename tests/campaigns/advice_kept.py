"""Does a turn that was advised keep what it promised, in the simulator's own boat and line model?

Two lines that run near each other or low over a sloping bottom, which an earlier outing has sounded; a turn of 60-180
degrees at 3 deg/s is asked for, and what is offered instead (ahead/advice.py) is played: the boat does as advised and
goes straight on for two minutes. Promised are what was wanted (every line so far off the bottom, lines so far apart,
lures so fast; a foot and a tenth of a mile an hour are let pass, as they are shown no finer) and the low end of each
margin said. Known: coefficients, counter and deep layer of the truth are those configured, the turn is steered as it
was meant. Drawn: all of them are a member of the forecast's priors, so that a tenth may lie below each margin said.
`as_asked`: how often the turn that was asked for would have kept what was wanted.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from alert_truth import evenly
from forecast_calls import PAIRS, Bottom, Turn, truths_of
from forecast_proof import STRAIGHT_S, TICK_S, Lake, Truth, told

from assistant import config as configs
from assistant.ahead.advice import Wanted, advise
from assistant.ahead.forecast import AFTER_S, forecast
from assistant.ahead.gaps import Soundings
from assistant.ahead.manoeuvre import Manoeuvre, drawn, planned
from assistant.ahead.offers import Option, low_of
from assistant.ahead.outlook import Forecast
from assistant.ahead.pairs import closest, first_nodes
from assistant.configured import AlertLimits, Config
from assistant.lines import spread
from assistant.lines.ensemble import EACH
from assistant.lines.spread import SpreadState
from assistant.messages import BoatState, Estimate
from assistant.units import FOOT_M, MPH_MPS

DEG = math.pi / 180.0
RATE_RADPS = 3.0 * DEG
LIMITS = AlertLimits(lure_slow_mps=1.0 * MPH_MPS, off_bottom_m=1.5, apart_m=1.0)
SPEED_TOLERANCE_MPS = 0.1 * MPH_MPS
GRID_M, REACH_M = 20.0, 500.0  # of what the earlier outing sounded


class Least(NamedTuple):
    """What a turn comes down to: gap to the bottom [m] and lure speed [m/s] by rod, gap between the lines [m]."""

    off_bottom_m: dict[str, float]
    lure_mps: dict[str, float]
    apart_m: float

    def keeps(self, other: Least, bottom: float, apart: float, speed: float) -> bool:
        """Whether nothing is less than the other has, but for these tolerances."""
        return (
            all(self.off_bottom_m[rod] >= least - bottom for rod, least in other.off_bottom_m.items())
            and all(self.lure_mps[rod] >= least - speed for rod, least in other.lure_mps.items())
            and self.apart_m >= other.apart_m - apart
        )


class Case:
    """One drawn case: the true lines, and the assistant's beside them."""

    def __init__(self, loaded: Config, seed: int, known: bool) -> None:
        rng = np.random.default_rng([seed, 9])
        names = PAIRS[int(rng.integers(len(PAIRS)))]
        speed, heading = float(rng.uniform(1.8, 2.5)) * MPH_MPS, float(rng.uniform(0.0, math.tau))
        self.angle_rad = float(rng.choice([-1.0, 1.0]) * rng.uniform(60.0, 180.0)) * DEG
        self.heading_rad, self.speed_mps, self._known = heading, speed, known
        self._draw_seed, self._member = int(rng.integers(2**31)), int(rng.integers(1, EACH))
        straight = Turn(speed, heading, 0.0, RATE_RADPS)
        self._config, self._rods, self._truths = truths_of(loaded, names, straight, rng, known)
        lakes = self._lakes(self._truths)
        deepest = max(float(lake.line.nodes_m[:, 2].max()) for lake in lakes)
        slope, toward = float(rng.uniform(0.0, 0.02)), float(rng.uniform(0.0, math.tau))
        self.bottom = Bottom(
            deepest + float(rng.uniform(2.0, 6.0)), slope * math.cos(toward), slope * math.sin(toward)
        )
        state = spread.initial(replace(self._config, rods=self._rods), int(rng.integers(2**31)))
        state = told(state, lakes[0], speed, 0.0)
        for tick in range(1, round(STRAIGHT_S / TICK_S) + 1):
            lakes[0].tick()
            state = told(state, lakes[0], speed, tick * TICK_S)
        self.state: SpreadState = state
        self._soundings = self._sounded()

    def _lakes(self, truths: list[Truth]) -> list[Lake]:
        return [Lake(self._config, rod, truth) for rod, truth in zip(self._rods, truths, strict=True)]

    def _sounded(self) -> Soundings:
        """What an earlier outing knows of the bottom."""
        axis = np.arange(-REACH_M, REACH_M + 1.0, GRID_M)
        north, east = (grid.ravel() for grid in np.meshgrid(axis, axis))
        depth = self.bottom.at_m + self.bottom.north * north + self.bottom.east * east
        rows = np.stack([north, east, depth, np.full_like(depth, 0.3)], axis=1)
        motion = self.state.motion
        assert motion is not None
        place = (motion.north_m, motion.east_m)
        return Soundings(np.zeros((0, 5)), self.state.t_s, place, drift_sigma_mps=0.02, earlier=rows)

    def look(self, manoeuvre: Manoeuvre) -> Forecast:
        """Its forecast."""
        said = forecast(self.state, manoeuvre, soundings=self._soundings)
        assert said is not None
        return said

    def advised(self) -> tuple[Option, ...]:
        """What is offered."""
        wanted = Wanted(self.angle_rad, RATE_RADPS, self.heading_rad, self.speed_mps, LIMITS)
        speed, heading = (Estimate(v, 0.0, "ok", 0.0, "exact") for v in (self.speed_mps, self.heading_rad))
        boat = BoatState(self.state.t_s, stw_mps=speed, heading_rad=heading)
        return advise(wanted, self.look, spread.report(self.state, boat)).options

    def promised(self, option: Option) -> tuple[Manoeuvre, Least, Least]:
        """The turn, what was wanted of it, and the low ends of what it was said to keep."""
        side = -1.0 if option.side == "port" else 1.0
        turn = planned(side * option.angle_rad, option.rate_radps, option.speed_mps)
        said = self.look(turn)
        gap = said.pairs[0].gap
        known = {
            rod: line.bottom for rod, line in said.lines.items()
            if line.bottom is not None and rod not in option.unknown
        }  # fmt: skip
        assert LIMITS.lure_slow_mps is not None
        wanted = Least(
            dict.fromkeys(known, LIMITS.off_bottom_m),
            {
                rod: min(LIMITS.lure_slow_mps, float(line.lure_speed_mps[0, 0]))
                for rod, line in said.lines.items()
            },
            LIMITS.apart_m if gap.at_s > 0.0 else -math.inf,
        )
        low = Least(
            {rod: low_of(bottom.least) for rod, bottom in known.items()},
            {rod: low_of(line.slowest) for rod, line in said.lines.items()},
            low_of(gap),
        )
        return turn, wanted, low

    def played(self, turn: Manoeuvre) -> Least:
        """What comes of a turn: the least of everything from the helm put over until two minutes after."""
        angle, rate, speed = turn.angle_rad(), turn.rate_radps, turn.speed_mps
        if not self._known:
            draws = drawn(turn, self._draw_seed)
            angle, rate = float(draws.angle_rad[self._member]), float(draws.rate_radps[self._member])
            speed = None if speed is None else speed * float(draws.speed_factor[self._member])
        first = self._truths[0].speed_mps
        then = None if speed is None else speed + first - self.speed_mps
        lakes = self._lakes(
            [replace(truth, angle_rad=angle, rate_radps=rate, then_mps=then) for truth in self._truths]
        )
        off, slow = (dict.fromkeys((rod.name for rod in self._rods), math.inf) for _ in range(2))
        near = math.inf
        for tick in range(round((STRAIGHT_S + abs(angle) / rate + AFTER_S) / TICK_S)):
            for lake in lakes:
                lake.tick()
            if (tick + 1) * TICK_S < STRAIGHT_S or tick % 4:
                continue
            nodes = [evenly(lake.line.nodes_m[::-1]) for lake in lakes]
            for rod, lake, line in zip(self._rods, lakes, nodes, strict=True):
                low = line[int(line[:, 2].argmax())]
                gap = self.bottom.depth_m(float(low[0]), float(low[1])) - float(low[2])
                off[rod.name] = min(off[rod.name], gap)
                slow[rod.name] = min(slow[rod.name], lake.lure_mps)
            points = np.stack(nodes)[None]
            gaps = closest(points, first_nodes(points[0]), np.zeros((2, 2), np.bool_)).by_pair_m
            near = min(near, float(gaps[0, 1]))
        return Least(off, slow, near)


def counted(loaded: Config, seeds: range, known: bool) -> dict[str, Any]:
    """How much of what was advised came true."""
    counts: Counter[str] = Counter()
    gave_way = []
    for seed in seeds:
        case = Case(loaded, seed, known)
        options = case.advised()
        counts["cases"] += 1
        counts["cases_with_an_offer"] += bool(options)
        for option in options:
            turn, wanted, low = case.promised(option)
            came = case.played(turn)
            kept = came.keeps(wanted, FOOT_M, FOOT_M, SPEED_TOLERANCE_MPS)
            counts["offers"] += 1
            counts["offers_as_wanted"] += kept
            counts["offers_over_margins"] += came.keeps(low, FOOT_M, FOOT_M, SPEED_TOLERANCE_MPS)
            counts["changed"] += option.rate_radps < RATE_RADPS or option.speed_mps is not None
            counts["bottom_promised"] += not option.unknown
            asked = case.played(planned(math.copysign(option.angle_rad, turn.angle_rad()), RATE_RADPS))
            counts["as_asked"] += asked.keeps(wanted, FOOT_M, FOOT_M, SPEED_TOLERANCE_MPS)
            if not kept:
                gave_way.append(f"{seed}: {option.text} came: {came}")
    return {**counts, "not_as_wanted": gave_way}


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--n", type=int, default=40, help="cases of a known truth; a quarter as many of a drawn one"
    )
    args = parser.parse_args(argv)
    loaded = configs.load()
    first = args.seed * 4_000_037
    known = counted(loaded, range(first, first + args.n), True)
    unknown = counted(loaded, range(first, first + math.ceil(args.n / 4)), False)
    result = {"seed": args.seed, "n": args.n, "known": known, "drawn": unknown}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
