"""Do the bands hold the truth eight times in ten? Coefficients, counter, speed and deep layer drawn from their priors.

Each run is ten minutes of easy S-curves. The truth is the same line model with what was drawn; the boat is told its
speed with the error drawn, and knows the rest only by its bands. One frame is taken, the last. Per rod: the share of
runs in which the 10-90 % band of the lure's depth held the true depth (0.75 to 0.85 is right for 500 runs and more:
the sampling error is 0.018), and the band's median half-width by depth. The draws are independent normals here, not
the ensemble's own.
"""

from __future__ import annotations

import argparse
import json
import math
import statistics
from dataclasses import replace
from typing import Any

import numpy as np

from assistant import config as configs
from assistant.lines import ensemble, spread
from assistant.lines.chain import Water
from assistant.lines.draws import at_normal
from assistant.lines.fleet import marched, settled
from assistant.lines.gear import Draw, RodSetting, towed
from assistant.lines.motion import Motion, tips
from assistant.lines.seen import seen_from_boat
from assistant.messages import BoatState, Coefficient, Config, Estimate

MINUTES = 10.0
SPEED_SIGMA_MPS = 0.04
TICK_S = spread.STEP_S


def drawn(rng: np.random.Generator) -> Draw:
    """A draw of every coefficient: the same for all rods with that line or body."""
    zs: dict[tuple[str, str], float] = {}

    def draw(kind: str, name: str, coefficient: Coefficient) -> float:
        z = zs.setdefault((kind, name), float(rng.standard_normal()))
        return at_normal(coefficient, z)

    return draw


def path(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """Speed [m/s], heading [rad], amplitude [rad] and period [s] of the S-curves."""
    return (
        rng.uniform(0.9, 1.25),
        rng.uniform(0, math.tau),
        math.radians(rng.uniform(0, 15)),
        rng.uniform(60, 150),
    )


def one_run(config: Config, seed: int) -> dict[str, tuple[bool, float]]:
    """Per rod: whether the band held the truth, and its half-width over the depth."""
    rng = np.random.default_rng(seed)
    speed, start, swing, period = path(rng)
    draw, boat = drawn(rng), config.boat
    deep = rng.standard_normal(2) * boat.deep_layer_sigma_mps
    factors = [at_normal(rod.counter, float(rng.standard_normal())) for rod in config.rods]
    told = max(speed + SPEED_SIGMA_MPS * float(rng.standard_normal()), 0.1)
    water = Water(boat.water_density_kg_m3, boat.gravity_m_s2)
    fade = ensemble.unknowns(config, 0).profile
    rows = tuple((float(z), float(a * deep[0]), float(a * deep[1])) for z, a, _ in fade)
    count = len(config.rods)
    chains = [
        towed(config, rod, RodSetting(rod.line_out_m * factor), water, draw)
        for rod, factor in zip(config.rods, factors, strict=True)
    ]
    places = np.array([[r.tip_forward_m, r.tip_starboard_m, r.tip_height_m] for r in config.rods])
    mains = np.array([chain.segments[-1].length_m for chain in chains])
    motion = Motion(0.0, 0.0, speed, start)
    tip = tips(0.0, 0.0, speed, start, 0.0, places)
    waters = [replace(water, profile=rows)] * count
    truth = settled(chains, waters, spread.CUT, tip, fade, np.tile(deep, (count, 1)))
    state, course, restart = spread.initial(config, seed), start, True
    stw = Estimate(told, SPEED_SIGMA_MPS, "ok", 0.0, "drawn")
    for tick in range(int(MINUTES * 60 / TICK_S) + 1):
        t_s = tick * TICK_S
        course = start + swing * math.sin(math.tau * t_s / period)
        heading = Estimate(course % math.tau, 0.02, "ok", 0.0, "exact")
        state = spread.advance(state, stw, heading, (), t_s, False)
        if tick:
            motion = motion.follow(speed, course, TICK_S)
            tip = tips(motion.north_m, motion.east_m, speed, motion.heading_rad, motion.turn_radps, places)
            truth, failed, restart = marched(truth, tip, mains, fade, TICK_S, restart, 1e-5)
            assert not failed
    true = seen_from_boat(truth.works, truth.cut.total, fade, motion.heading_rad)[:count, 0]
    shown = spread.report(state, BoatState(t_s, stw_mps=stw, heading_rad=heading, rate_of_turn_radps=stw))
    out = {}
    for k, rod in enumerate(config.rods):
        q = shown[rod.name].depth_m
        out[rod.name] = (q.low <= true[k] <= q.high, 0.5 * (q.high - q.low) / q.value)
    return out


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=500)
    args = parser.parse_args(argv)
    config = configs.load()
    runs = [one_run(config, args.seed * 1_000_003 + k) for k in range(args.n)]
    rods = {
        rod.name: {
            "about": rod.about,
            "held": round(sum(run[rod.name][0] for run in runs) / len(runs), 3),
            "half_band_percent": round(100 * statistics.median(run[rod.name][1] for run in runs), 1),
        }
        for rod in config.rods
    }
    held = sum(run[name][0] for run in runs for name in run) / sum(len(run) for run in runs)
    result = {"seed": args.seed, "n": args.n, "held": round(held, 3), "rods": rods}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
