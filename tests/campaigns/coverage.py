"""Do the bands hold the truth eight times in ten? Coefficients, counter, speed and deep layer drawn from their priors.

Each run is ten minutes of easy S-curves. The truth is the same line model with what was drawn; the boat is told its
speed with the error drawn, and knows the rest only by its bands. One frame is taken, the last. Per rod: the share of
runs in which the 10-90 % band of the lure's depth held the true depth (0.75 to 0.85 is right for 500 runs and more:
the sampling error is 0.018), and the band's median half-width by depth (sharpness: the median of it over the planers).
The prior of the coefficients is the one the facts of configs/facts.toml tie together; --no-facts leaves them out, in
the truth and in the forecast. The truth is drawn another way than the ensemble's members: independent normals, kept
with the probability that each fact in turn gives them (rejection: exact, no fitted correlation), the facts' rigs towed
by the steady solver from a tip above the water.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant import config as configs
from assistant.configured import Coefficient, Config, Fact, RigPart
from assistant.lines import ensemble, spread
from assistant.lines.chain import Water
from assistant.lines.draws import at_normal
from assistant.lines.fleet import Fleet, marched
from assistant.lines.gear import Draw, RodSetting, above_zero_m, counted_m, has_planer, mains_m, towed
from assistant.lines.motion import Motion
from assistant.lines.prior import ALIKE, OF_FAMILY
from assistant.lines.seen import seen_from_boat
from assistant.lines.steady import NoSteadyShape, straight
from assistant.lines.towpoints import Boats, TowPoints, settled_towed, tow_points
from assistant.messages import Z90, BoatState, Estimate

MINUTES = 10.0
SPEED_SIGMA_MPS = 0.04
TICK_S = spread.STEP_S

Array = NDArray[np.float64]


def plain(config: Config, rng: np.random.Generator) -> Draw:
    """A draw of every coefficient: the same for all rods with that line or body, alike for those of one family."""
    zs: dict[tuple[str, ...], float] = {}
    families = {name: kind.family for name, kind in (*config.lines.items(), *config.bodies.items())}

    def new(*key: str) -> float:
        return zs.setdefault(("own", *key), float(rng.standard_normal()))

    def draw(kind: str, name: str, coefficient: Coefficient) -> float:
        z, family = new(kind, name), families.get(kind, "")
        if family and name in OF_FAMILY:
            z = math.sqrt(ALIKE) * new("family", family, name) + math.sqrt(1.0 - ALIKE) * z
        return at_normal(coefficient, z)

    return draw


def told_depth(
    config: Config, fact: Fact, lure: str, draw: Draw, aside: tuple[float, float | None, float]
) -> float:
    """Depth [m] of a fact's lure or planer; aside: its counter's factor, its dial, its speed [m/s]. NaN: no shape."""
    factor, setting, speed = aside
    rod = replace(fact.rod, rig=(*fact.rod.rig[:-1], RigPart(body=lure)))
    water = Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2)
    chain = towed(config, rod, RodSetting(rod.line_out_m * factor, setting), water, draw)
    try:
        points = straight(chain, water, speed, relative=1e-5).points_m
    except NoSteadyShape:
        return math.nan
    bodies = [k for k, body in enumerate(chain.bodies) if body is not None]
    return float(points[bodies[-1] if fact.of == "planer" else 0, 2])


def agrees(config: Config, fact: Fact, draw: Draw, rng: np.random.Generator) -> bool:
    """Whether a fact lets a draw pass: with the probability of its likelihood."""
    factor = at_normal(fact.rod.counter, float(rng.standard_normal()))
    setting = None if fact.setting is None else float(rng.uniform(*fact.setting))
    aside = (factor, setting, float(rng.uniform(*fact.speed_mps)))
    lure = fact.lures[int(rng.integers(len(fact.lures)))]
    number = told_depth(config, fact, lure, draw, aside)
    if fact.instead_lure is not None:
        number = told_depth(config, fact, fact.instead_lure, draw, aside) / number
    elif fact.instead_speed_mps is not None:
        number = told_depth(config, fact, lure, draw, (*aside[:2], fact.instead_speed_mps)) / number
    if not number > 0.0:
        return False
    low, value, high = fact.says.low, fact.says.value, fact.says.high
    sigma = math.log(high / value if number > value else value / low) / Z90
    return bool(rng.random() < math.exp(-0.5 * (math.log(number / value) / sigma) ** 2))


def drawn(config: Config, rng: np.random.Generator) -> Draw:
    """A draw of every coefficient that all facts let pass."""
    while True:
        draw = plain(config, rng)
        if all(agrees(config, fact, draw, rng) for fact in config.facts):
            return draw


def path(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """Speed [m/s], heading [rad], amplitude [rad] and period [s] of the S-curves."""
    return (
        rng.uniform(0.9, 1.25),
        rng.uniform(0, math.tau),
        math.radians(rng.uniform(0, 15)),
        rng.uniform(60, 150),
    )


@dataclass
class Truth:
    """The true lines, towed from rod tips, boards and points of each other."""

    config: Config
    fade: Array
    points: TowPoints
    mains_m: Array
    fleet: Fleet
    sag_m: Array
    restart: bool = True

    @classmethod
    def settled(
        cls, config: Config, outs_m: Array, draw: Draw, deep: Array, motion: Motion, sag_z: float
    ) -> Truth:
        """In their steady shapes.

        Args:
            outs_m: (R,) true line out; deep: (2,) of the deep layer [m/s]; sag_z: of boards, in sigmas.
        """
        water = Water(config.boat.water_density_kg_m3, config.boat.gravity_m_s2)
        fade = ensemble.unknowns(config, 0).profile
        water = replace(
            water, profile=tuple((float(z), float(a * deep[0]), float(a * deep[1])) for z, a, _ in fade)
        )
        rods = config.rods
        chains = [
            towed(config, rod, RodSetting(out), water, draw) for rod, out in zip(rods, outs_m, strict=True)
        ]
        points = tow_points(
            config, spread.CUT, 1, lambda _rod, board, _k: at_normal(board.sag_m_per_n, sag_z)
        )
        count = len(rods)
        fleet, sag_m = settled_towed(
            points, boats(motion), chains, [water] * count, spread.CUT, fade, np.tile(deep, (count, 1))
        )
        fixed = {k: parts for k, rod in enumerate(rods) if (parts := counted_m(rod))}
        mains, _ = mains_m(fixed, outs_m + np.array([above_zero_m(rod) for rod in rods]))
        return cls(config, fade, points, mains, fleet, sag_m)

    def march(self, motion: Motion) -> None:
        """A tick."""
        sag_m = self.points.sagged(self.sag_m, self.fleet, TICK_S)
        tow = self.points.at(boats(motion), sag_m, (sag_m - self.sag_m) / TICK_S, self.fleet, TICK_S)
        self.fleet, failed, self.restart = marched(
            self.fleet, tow, self.mains_m, self.fade, TICK_S, self.restart, 1e-5
        )
        self.sag_m = sag_m
        assert not failed

    def depths_m(self, heading: float) -> Array:
        """(R,) of the lures."""
        seen = seen_from_boat(self.fleet.works, self.fleet.cut.total, self.fade, heading)
        return np.asarray(seen[: self.fleet.count, 0])


def boats(motion: Motion) -> Boats:
    """The boat as what is towed sees it."""
    return Boats(motion.north_m, motion.east_m, motion.speed_mps, motion.heading_rad, motion.turn_radps)


def one_run(config: Config, seed: int) -> dict[str, tuple[bool, float]]:
    """Per rod: whether the band held the truth, and its half-width over the depth."""
    rng = np.random.default_rng(seed)
    speed, start, swing, period = path(rng)
    draw, boat = drawn(config, rng), config.boat
    deep = rng.standard_normal(2) * boat.deep_layer_sigma_mps
    factors = [at_normal(rod.counter, float(rng.standard_normal())) for rod in config.rods]
    told = max(speed + SPEED_SIGMA_MPS * float(rng.standard_normal()), 0.1)
    outs = np.array([rod.line_out_m for rod in config.rods]) * factors
    motion = Motion(0.0, 0.0, speed, start)
    truth = Truth.settled(config, outs, draw, deep, motion, float(rng.standard_normal()))
    state = spread.initial(config, seed)
    stw = Estimate(told, SPEED_SIGMA_MPS, "ok", 0.0, "drawn")
    for tick in range(int(MINUTES * 60 / TICK_S) + 1):
        t_s = tick * TICK_S
        course = start + swing * math.sin(math.tau * t_s / period)
        heading = Estimate(course % math.tau, 0.02, "ok", 0.0, "exact")
        state = spread.advance(state, stw, heading, (), t_s, False)
        if tick:
            motion = motion.follow(speed, course, TICK_S)
            truth.march(motion)
    true = truth.depths_m(motion.heading_rad)
    shown = spread.report(state, BoatState(t_s, stw_mps=stw, heading_rad=heading, rate_of_turn_radps=stw))
    out = {}
    for k, rod in enumerate(config.rods):
        q = shown[rod.name].depth_m
        out[rod.name] = (q.low <= true[k] <= q.high, 0.5 * (q.high - q.low) / q.value)
    return out


def half_percent(runs: Sequence[Mapping[str, tuple[bool, float]]], names: Sequence[str]) -> float:
    """Median half-width of these rods' depth bands over all runs, in per cent of depth."""
    return round(100 * statistics.median(run[name][1] for run in runs for name in names), 1)


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=500)
    parser.add_argument("--no-facts", action="store_true", help="coefficients known by their own bands alone")
    parser.add_argument("--config", type=Path, help="folder of another spread")
    args = parser.parse_args(argv)
    config = configs.load(args.config)
    if args.no_facts:
        config = replace(config, facts=())
    runs = [one_run(config, args.seed * 1_000_003 + k) for k in range(args.n)]
    rods = {
        rod.name: {
            "about": rod.about,
            "held": round(sum(run[rod.name][0] for run in runs) / len(runs), 3),
            "half_band_percent": half_percent(runs, [rod.name]),
        }
        for rod in config.rods
    }
    planers = [rod.name for rod in config.rods if has_planer(config, rod)]
    planer_half = half_percent(runs, planers) if planers else None
    held = sum(run[name][0] for run in runs for name in run) / sum(len(run) for run in runs)
    result = {
        "seed": args.seed,
        "n": args.n,
        "facts": [fact.rod.about for fact in config.facts],
        "truth": "drawn from the prior that the facts tie together, by rejection"
        if config.facts
        else "drawn from each coefficient's own band",
        "held": round(held, 3),
        "planer_half_band_percent": planer_half,
        "rods": rods,
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
