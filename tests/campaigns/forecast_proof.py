"""Do forecasts hold against lines marched by the simulator's own model, behind its own boat?

Band: one line each, its rod drawn; speed 1.8-2.9 mph, turns of 30-180 degrees (when meant) at 0.3-3 deg/s, either side.
Coefficients, counter, speed, deep layer, rate and stopping angle of the truth are one member of a fresh draw of the
forecast's own priors. Half the turns are meant and forecast as they begin, half are being steered and forecast in the
middle. `held`: how often the 10-90 % band of the depth 30 and 60 s ahead held the true depth (0.75-0.85 is right).
Error: the same turns with every coefficient, the deep layer and the turn as configured: relative error of the depth at
the moment the true lure is furthest from where it was, median by kind of line; `moved` is how far that is, likewise.
Truth: sim/ (box scheme, generalised alpha, its own boat); what is tied on is resolved by the assistant's tables.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from assistant import config as configs
from assistant.ahead.forecast import forecast
from assistant.ahead.manoeuvre import Manoeuvre, drawn, planned, steered
from assistant.ahead.outlook import Forecast
from assistant.configured import Config, Rod
from assistant.lines import spread
from assistant.lines.chain import Towed, Water
from assistant.lines.ensemble import EACH, unknowns
from assistant.lines.gear import RodSetting, has_planer, nominal, towed
from assistant.lines.spread import SpreadState
from assistant.messages import Estimate
from sim.boat import Boat, Handling, Leg, rod_tip_m
from sim.chain import Body as TrueBody
from sim.chain import Segment as TrueSegment
from sim.chain import Water as TrueWater
from sim.forces import water_at
from sim.march import Line
from sim.towing import mesh

MPH, DEG = 0.44704, math.pi / 180.0
CALM = Handling(6.0, 2.0, 2.0, 3.0, 0.0, 0.0)
SPEED_SIGMA_MPS = 0.04
STRAIGHT_S = 3.0
AHEAD_S = (30.0, 60.0)
TICK_S, PARTS = spread.STEP_S, 2
MOST_S = 200.0  # of a turn that is watched for its worst moment
LONGEST_S = 100.0  # a turn has lasted at most so long when it is forecast


@dataclass(frozen=True)
class Truth:
    """What is really so: chain towed, deep layer [m/s], speed [m/s], how far and fast the turn goes [rad, rad/s].

    then_mps: the speed from the turn on, if it is another.
    """

    chain: Towed
    deep_mps: tuple[float, float]
    speed_mps: float
    heading_rad: float
    angle_rad: float
    rate_radps: float
    then_mps: float | None = None


class Lake:
    """The true boat and line of one run."""

    def __init__(self, config: Config, rod: Rod, truth: Truth) -> None:
        boat = config.boat
        z = np.linspace(0.0, 3.0 * boat.deep_layer_depth_m, 60)
        share = 0.5 * (1.0 + np.tanh((z - boat.deep_layer_depth_m) / boat.deep_layer_scale_m))
        profile = np.stack([z, share * truth.deep_mps[0], share * truth.deep_mps[1]], axis=1)
        water = TrueWater(boat.water_density_kg_m3, boat.gravity_m_s2, profile)
        legs = [Leg(STRAIGHT_S, truth.speed_mps, truth.heading_rad)]
        speed = truth.speed_mps if truth.then_mps is None else truth.then_mps
        if truth.angle_rad:
            lasts_s = abs(truth.angle_rad) / truth.rate_radps
            legs.append(Leg(lasts_s, speed, None, math.copysign(truth.rate_radps, truth.angle_rad)))
        legs.append(Leg(1e4, speed, None, 0.0))
        self.boat = Boat(legs, CALM, False, np.random.default_rng(0))
        self.rod, self.t_s = rod, 0.0
        self.line = line_of(truth.chain, water)
        self.line.settle(self._tip(), truth.speed_mps, truth.heading_rad)

    @property
    def depth_m(self) -> float:
        """Of the lure."""
        return float(self.line.nodes_m[0, 2])

    @property
    def lure_mps(self) -> float:
        """Speed of the lure through the water around it."""
        water = np.empty(4)
        water_at(self.depth_m, self.line.water.profile, water)
        return float(np.linalg.norm(self.line.end_velocity_mps - np.array([water[0], water[1], 0.0])))

    def _tip(self) -> np.ndarray[Any, np.dtype[np.float64]]:
        rod = self.rod
        return np.array(rod_tip_m(self.boat.now, rod.tip_forward_m, rod.tip_starboard_m, rod.tip_height_m))

    def tick(self) -> None:
        """A quarter of a second on."""
        h = TICK_S / PARTS
        for _ in range(PARTS):
            start = self._tip()
            for _ in range(5):
                self.boat.step(h / 5)
            end, t = self._tip(), self.t_s
            self.line.march(t, h, lambda at, a=start, b=end, t0=t: a + (at - t0) / h * (b - a))
            self.t_s += h


def line_of(chain: Towed, water: TrueWater) -> Line:
    """The chain for the simulator's line model."""
    segments = [
        TrueSegment(
            s.length_m, s.diameter_m, s.mass_kg_m, s.normal_drag, s.tangential_drag,
            s.stiffness_n if math.isfinite(s.stiffness_n) else None,
        )
        for s in chain.segments
    ]  # fmt: skip
    bodies = [
        None if b is None else TrueBody(
            b.wet_weight_n, b.drag_area_m2, b.down_area_m2, b.side_area_m2, b.mass_kg, b.added_mass_kg
        )
        for b in chain.bodies
    ]  # fmt: skip
    return Line(segments, bodies, water, mesh(segments, 28, 4), chain.tow_height_m > 0.0)


def told(state: SpreadState, lake: Lake, speed_mps: float, t_s: float) -> SpreadState:
    """The live lines a tick later, told the speed and the true heading."""
    stw = Estimate(speed_mps, SPEED_SIGMA_MPS, "ok", 0.0, "drawn")
    heading = Estimate(lake.boat.now.heading_rad, 0.02, "ok", 0.0, "exact")
    return spread.advance(state, stw, heading, (), t_s, False)


def live(config: Config, seed: int, lake: Lake, speed_mps: float, until_s: float) -> SpreadState:
    """The assistant's lines after so long beside the true one."""
    state = told(spread.initial(config, seed), lake, speed_mps, 0.0)
    for tick in range(1, round(until_s / TICK_S) + 1):
        lake.tick()
        state = told(state, lake, speed_mps, tick * TICK_S)
    return state


def after(lake: Lake, seconds: float) -> tuple[list[float], list[float]]:
    """Times [s] and true depths [m] from now on."""
    times, depths = [0.0], [lake.depth_m]
    for tick in range(1, round(seconds / TICK_S) + 1):
        lake.tick()
        times.append(tick * TICK_S)
        depths.append(lake.depth_m)
    return times, depths


def at(forecast_: Forecast, rod: str, t_s: float) -> list[float]:
    """(value, low, high) of a lure's depth [m] at a time from now."""
    table = forecast_.lines[rod].depth_m
    return [float(np.interp(t_s, forecast_.times_s, column)) for column in table.T]


def turn_of(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """Speed [m/s], heading [rad], angle [rad, + to starboard], rate [rad/s]."""
    speed = rng.uniform(1.8, 2.9) * MPH
    rate = math.exp(rng.uniform(math.log(0.3), math.log(3.0))) * DEG
    return speed, rng.uniform(0.0, math.tau), rng.choice([-1.0, 1.0]) * rng.uniform(30.0, 180.0) * DEG, rate


def band_run(config: Config, seed: int) -> dict[str, Any]:
    """One line, one turn, all drawn: whether the bands 30 and 60 s ahead held the truth."""
    rng = np.random.default_rng(seed)
    rod = config.rods[int(rng.integers(len(config.rods)))]
    one = replace(config, rods=(rod,))
    speed, heading, angle, rate = turn_of(rng)
    fresh, m = int(rng.integers(2**31)), int(rng.integers(1, EACH))
    kind = ("meant", "steered")[int(rng.integers(2))]
    turned, until_s = 0.0, STRAIGHT_S
    meant: Manoeuvre = planned(angle, rate)
    if kind == "steered":
        turned = math.copysign(min(rng.uniform(8.0, 120.0) * DEG, LONGEST_S * rate), angle)
        meant = steered(turned, math.copysign(rate, angle))
    draws = drawn(meant, fresh)
    true_rate = float(draws.rate_radps[m])
    unknown = unknowns(one, fresh)
    water = Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2)
    chain = towed(one, rod, RodSetting(unknown.counter.out_m(m, rod.line_out_m)), water, unknown.draws[m])
    deep = (float(unknown.deep_mps[m, 0]), float(unknown.deep_mps[m, 1]))
    true_speed = max(speed + SPEED_SIGMA_MPS * float(unknown.speed_z[m]), 0.1)
    truth = Truth(chain, deep, true_speed, heading, turned + float(draws.angle_rad[m]), true_rate)
    lake = Lake(config, rod, truth)
    if kind == "steered":  # from the helm put over until it has turned so far
        until_s += math.ceil((abs(turned) / true_rate + CALM.turn_lag_s) / TICK_S) * TICK_S
    state = live(one, int(rng.integers(2**31)), lake, speed, until_s)
    ahead = forecast(state, meant, seed=int(rng.integers(2**31)))
    assert ahead is not None
    times, depths = after(lake, max(AHEAD_S))
    held = {}
    for t_s in AHEAD_S:
        _, low, high = at(ahead, rod.name, t_s)
        held[t_s] = low <= float(np.interp(t_s, times, depths)) <= high
    return {"kind": kind, "rod": rod.name, "held": held}


def error_run(config: Config, seed: int) -> tuple[str, float, float]:
    """One line, one turn, all as configured: kind of line, relative error at the worst moment, and how far that is."""
    rng = np.random.default_rng(seed)
    rod = config.rods[int(rng.integers(len(config.rods)))]
    speed, heading, angle, rate = turn_of(rng)
    drift, toward = rng.uniform(0.1, 0.35), rng.uniform(0.0, 360.0)
    boat = replace(config.boat, deep_layer_drift_mps=drift, deep_layer_set_deg=toward)
    one = replace(
        config, rods=(replace(rod, counter=replace(rod.counter, value=1.0, low=1.0, high=1.0)),), boat=boat
    )
    water = Water(boat.water_density_kg_m3, boat.gravity_m_s2)
    chain = towed(one, rod, RodSetting(rod.line_out_m), water, nominal)
    lake = Lake(one, rod, Truth(chain, boat.deep_layer_mps(), speed, heading, angle, rate))
    state = live(one, 0, lake, speed, STRAIGHT_S)
    ahead = forecast(state, planned(angle, rate))
    assert ahead is not None
    times, depths = after(lake, min(abs(angle) / rate + 60.0, MOST_S))
    worst = int(np.abs(np.array(depths) - depths[0]).argmax())
    value = at(ahead, rod.name, times[worst])[0]
    kind = "planer" if has_planer(one, rod) else "weighted"
    moved = abs(depths[worst] - depths[0]) / depths[0]
    return kind, abs(value - depths[worst]) / depths[worst], moved


def share(rows: Sequence[bool]) -> float | None:
    """How many of them, to three digits."""
    return round(sum(rows) / len(rows), 3) if rows else None


def medians(rows: Sequence[tuple[str, float]]) -> dict[str, float]:
    """Median by kind of line, in per cent."""
    kinds = {kind: [value for one, value in rows if one == kind] for kind in ("planer", "weighted")}
    return {kind: round(100 * statistics.median(found), 2) for kind, found in kinds.items() if found}


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--n", type=int, default=500, help="turns for the bands; a quarter as many for the error"
    )
    args = parser.parse_args(argv)
    config = configs.load()
    runs = [band_run(config, args.seed * 1_000_003 + k) for k in range(args.n)]
    errors = [error_run(config, args.seed * 2_000_003 + k) for k in range(max(args.n // 4, 4))]
    every = [ok for run in runs for ok in run["held"].values()]
    result = {
        "seed": args.seed,
        "n": args.n,
        "held": share(every),
        "held_30_s": share([run["held"][30.0] for run in runs]),
        "held_60_s": share([run["held"][60.0] for run in runs]),
        "held_by_kind": {
            kind: share([ok for run in runs if run["kind"] == kind for ok in run["held"].values()])
            for kind in ("meant", "steered")
        },
        "held_by_rod": {
            rod.name: share([ok for run in runs if run["rod"] == rod.name for ok in run["held"].values()])
            for rod in config.rods
        },
        "worst_moment_error_percent": medians([(kind, error) for kind, error, _ in errors]),
        "worst_moment_moved_percent": medians([(kind, moved) for kind, _, moved in errors]),
        "error_turns": len(errors),
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
