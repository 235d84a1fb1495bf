"""Touches and crossings in turns: are they called in time, and are calls true?

Two lines that run near each other, over a sloping bottom that the boat has sounded, through a turn of 60-180 degrees at
0.5-3 deg/s at 1.8-2.5 mph, half of them as meant and half as being steered; a forecast every 5 s, judged by the rules
that judge it live (alerts/foreseen.py). A call is true when its touch or crossing comes within half again the time it
gave and 30 s; what happened is called in time when a forecast of at least 20 s before said so.
Known: coefficients, counter and deep layer of the truth are those configured. Drawn: a member of the forecast's priors.
"""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
from alert_truth import CROSS_M, TOUCH_M, evenly
from forecast_proof import CALM, SPEED_SIGMA_MPS, STRAIGHT_S, TICK_S, Lake, Truth, told

from assistant import config as configs
from assistant.ahead.forecast import forecast
from assistant.ahead.gaps import SPACING_M, Soundings, sounded
from assistant.ahead.manoeuvre import Manoeuvre, drawn, planned, steered
from assistant.ahead.outlook import Forecast
from assistant.ahead.pairs import closest, first_nodes
from assistant.alerts import foreseen
from assistant.alerts.foreseen import crosses, judged, touches_in
from assistant.configured import Coefficient, Config, Rod
from assistant.lines import spread
from assistant.lines.chain import Water
from assistant.lines.ensemble import EACH, unknowns
from assistant.lines.gear import RodSetting, nominal, towed
from assistant.messages import BoatState, Estimate

MPH, DEG = 0.44704, math.pi / 180.0
PAIRS = (("P2", "P1"), ("S1", "S2"), ("W", "C"), ("P1", "W"), ("W", "S1"))
EVERY_S = 5.0
LEAD_S, LATE_S = 20.0, 30.0
ASTERN_M = 160.0  # so far behind the boat the bottom is known


@dataclass
class Calls:
    """Counted over runs."""

    happened: int = 0
    in_time: int = 0
    made: int = 0
    true: int = 0
    kinds: Counter[str] = field(default_factory=Counter)

    def figures(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {
            "happened": self.happened,
            "called_20_s_ahead": round(self.in_time / self.happened, 3) if self.happened else None,
            "calls": self.made,
            "calls_true": round(self.true / self.made, 3) if self.made else None,
            **self.kinds,
        }


class Turn(NamedTuple):
    """Speed [m/s], heading [rad], angle [rad, + to starboard], rate [rad/s]."""

    speed_mps: float
    heading_rad: float
    angle_rad: float
    rate_radps: float


@dataclass(frozen=True)
class Bottom:
    """A plane: depth [m] at the start, and how it falls off north and east [m/m]."""

    at_m: float
    north: float
    east: float

    def depth_m(self, north_m: float, east_m: float) -> float:
        """At a place."""
        return self.at_m + self.north * north_m + self.east * east_m

    def behind(self, heading_rad: float) -> Soundings:
        """The track of a boat that came this way."""
        way = -np.arange(ASTERN_M, 0.0, -SPACING_M)
        north, east = way * math.cos(heading_rad), way * math.sin(heading_rad)
        depth = self.at_m + self.north * north + self.east * east
        track = np.stack([north, east, depth, np.full_like(way, 0.1), way], axis=1)
        return Soundings(track, 0.0, (0.0, 0.0), drift_sigma_mps=0.02)


class Run:
    """Two true lines, the assistant's two, and what was said and happened."""

    def __init__(self, config: Config, rods: tuple[Rod, Rod], truths: list[Truth], seed: int) -> None:
        self.lakes = [Lake(config, rod, truth) for rod, truth in zip(rods, truths, strict=True)]
        self.names = tuple(rod.name for rod in rods)
        self.state = spread.initial(replace(config, rods=rods), seed)
        self.t_s = 0.0
        self.events: dict[str, float] = {}
        self.calls: dict[str, list[tuple[float, float]]] = {}

    def tick(self, speed_mps: float, bottom: Bottom, soundings: Soundings) -> Soundings:
        """A quarter of a second."""
        for lake in self.lakes:
            lake.tick()
        self.t_s += TICK_S
        self.state = told(self.state, self.lakes[0], speed_mps, self.t_s)
        motion, boat = self.state.motion, self.lakes[0].boat.now
        assert motion is not None
        depth = Estimate(bottom.depth_m(boat.north_m, boat.east_m), 0.1, "ok", 0.0, "exact")
        still, north = Estimate(0.0, 0.02, "ok", 0.0, "exact"), Estimate(0.0, 0.1, "ok", 0.0, "exact")
        seen = BoatState(self.t_s, water_depth_m=depth, drift_mps=still, set_rad=north)
        self._note(bottom)
        return sounded(soundings, motion, seen)

    def _note(self, bottom: Bottom) -> None:
        """What is so now."""
        lines = [evenly(lake.line.nodes_m[::-1]) for lake in self.lakes]
        for name, nodes in zip(self.names, lines, strict=True):
            low = nodes[int(nodes[:, 2].argmax())]
            if bottom.depth_m(low[0], low[1]) - low[2] <= TOUCH_M:
                self.events.setdefault(f"touch {name}", self.t_s)
        points = np.stack(lines)[None]
        near = closest(points, first_nodes(points[0]), np.zeros((2, 2), np.bool_))
        if near.by_pair_m[0, 1] <= CROSS_M:
            self.events.setdefault("cross", self.t_s)

    def hear(self, said: Forecast) -> None:
        """Keep what a forecast calls."""
        ahead = judged(said, 0.0)
        assert ahead is not None
        for name in self.names:
            in_s = touches_in(ahead, said.lines[name], TOUCH_M)
            if in_s is not None:
                self.calls.setdefault(f"touch {name}", []).append((self.t_s, in_s))
        for pair in said.pairs:
            if crosses(ahead, pair, foreseen.CROSS_M):
                self.calls.setdefault("cross", []).append((self.t_s, pair.gap.at_s))

    def count(self, into: Calls, from_s: float) -> None:
        """What came of it; what was so when the turn began is left out."""
        for what in {*self.events, *self.calls}:
            at_s, said = self.events.get(what), self.calls.get(what, [])
            kind = what.split()[0]
            if at_s is not None and at_s <= from_s + LEAD_S:
                continue  # nobody could have called it in time
            if at_s is not None:
                into.happened += 1
                into.kinds[f"{kind}_happened"] += 1
                in_time = any(at_s - t_s >= LEAD_S for t_s, _ in said)
                into.in_time += in_time
                into.kinds[f"{kind}_in_time"] += in_time
            if said:
                first_s, in_s = said[0]
                true = at_s is not None and at_s <= first_s + 1.5 * in_s + LATE_S
                into.made += 1
                into.true += true
                into.kinds[f"{kind}_calls"] += 1
                into.kinds[f"{kind}_true"] += true


def calls_run(config: Config, seed: int, known: bool, into: Calls) -> None:
    """One turn of two lines."""
    rng = np.random.default_rng([seed, 6])
    names = PAIRS[int(rng.integers(len(PAIRS)))]
    speed, heading = float(rng.uniform(1.8, 2.5)) * MPH, float(rng.uniform(0.0, math.tau))
    rate = math.exp(rng.uniform(math.log(0.5), math.log(3.0))) * DEG
    angle = float(rng.choice([-1.0, 1.0]) * rng.uniform(60.0, 180.0)) * DEG
    is_meant = bool(rng.integers(2))
    config, rods, truths = truths_of(config, names, Turn(speed, heading, angle, rate), rng, known)
    run = Run(config, rods, truths, int(rng.integers(2**31)))
    slope, toward = float(rng.uniform(0.0, 0.03)), float(rng.uniform(0.0, math.tau))
    deepest = max(float(lake.line.nodes_m[:, 2].max()) for lake in run.lakes)
    bottom = Bottom(
        deepest + float(rng.uniform(0.5, 5.0)), slope * math.cos(toward), slope * math.sin(toward)
    )
    soundings = bottom.behind(heading)
    run.state = told(run.state, run.lakes[0], speed, 0.0)
    lasts_s = abs(angle) / rate
    for tick in range(round((STRAIGHT_S + min(lasts_s, 150.0) + 50.0) / TICK_S)):
        since_s = run.t_s - STRAIGHT_S
        if since_s >= 0.0 and tick % round(EVERY_S / TICK_S) == round(STRAIGHT_S / TICK_S):
            said = forecast(run.state, _manoeuvre(angle, rate, since_s, is_meant), soundings=soundings)
            assert said is not None
            run.hear(said)
        soundings = run.tick(speed, bottom, soundings)
    run.count(into, STRAIGHT_S)


def _manoeuvre(angle: float, rate: float, since_s: float, is_meant: bool) -> Manoeuvre:
    """What the boat does so long after the helm was put over, as far as it is known."""
    turned = math.copysign(rate * max(since_s - CALM.turn_lag_s, 0.0), angle)
    if abs(turned) >= abs(angle):
        return planned(0.0, 0.0)
    if is_meant:
        return replace(planned(angle - turned, rate), under_way=since_s > CALM.turn_lag_s)
    if abs(turned) < 8.0 * DEG:
        return planned(0.0, 0.0)
    return steered(turned, math.copysign(rate, angle))


def exact(config: Config) -> Config:
    """The same with every coefficient known to a thousandth."""

    def narrow(kinds: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: replace(kind, coefficients={key: _narrow(one) for key, one in kind.coefficients.items()})
            for name, kind in kinds.items()
        }

    return replace(config, lines=narrow(config.lines), bodies=narrow(config.bodies), facts=())


def _narrow(one: Coefficient) -> Coefficient:
    ends = sorted((0.999 * one.value, 1.001 * one.value))
    return replace(one, low=ends[0], high=ends[1])


def truths_of(
    config: Config, names: tuple[str, str], plan: Turn, rng: np.random.Generator, known: bool
) -> tuple[Config, tuple[Rod, Rod], list[Truth]]:
    """The configuration and the two true lines."""
    first, second = (next(rod for rod in config.rods if rod.name == name) for name in names)
    water = Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2)
    if known:
        first, second = (
            replace(rod, counter=replace(rod.counter, value=1.0, low=0.999, high=1.001))
            for rod in (first, second)
        )
        config = exact(config)
        drift, toward = float(rng.uniform(0.0, 0.3)), float(rng.uniform(0.0, 360.0))
        boat = replace(
            config.boat, deep_layer_drift_mps=drift, deep_layer_set_deg=toward, deep_layer_sigma_mps=0.0
        )
        config = replace(config, boat=boat, rods=(first, second))
        chains = [towed(config, rod, RodSetting(rod.line_out_m), water, nominal) for rod in (first, second)]
        return config, (first, second), [Truth(chain, boat.deep_layer_mps(), *plan) for chain in chains]
    config = replace(config, rods=(first, second))
    unknown, m = unknowns(config, int(rng.integers(2**31))), int(rng.integers(1, EACH))
    deep = (float(unknown.deep_mps[m, 0]), float(unknown.deep_mps[m, 1]))
    speed = max(plan.speed_mps + SPEED_SIGMA_MPS * float(unknown.speed_z[m]), 0.1)
    draws = drawn(planned(plan.angle_rad, plan.rate_radps), int(rng.integers(2**31)))
    truths = []
    for k, rod in enumerate((first, second)):
        out_m = unknown.counter.out_m(k * EACH + m, rod.line_out_m)
        chain = towed(config, rod, RodSetting(out_m), water, unknown.draws[m])
        truths.append(
            Truth(chain, deep, speed, plan.heading_rad, float(draws.angle_rad[m]), float(draws.rate_radps[m]))
        )
    return config, (first, second), truths


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--n", type=int, default=200, help="turns with a known truth; a quarter as many with a drawn one"
    )
    args = parser.parse_args(argv)
    config = configs.load()
    known, unknown = Calls(), Calls()
    for k in range(args.n):
        calls_run(config, args.seed * 3_000_017 + k, True, known)
        if k % 4 == 0:
            calls_run(config, args.seed * 3_000_017 + k, False, unknown)
    result = {"seed": args.seed, "n": args.n, "known": known.figures(), "drawn": unknown.figures()}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
