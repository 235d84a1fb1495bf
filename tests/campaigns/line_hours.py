"""Campaign: hours of random towing at the live settings, every configured rod with random line out and dial setting.

    python tests/campaigns/line_hours.py --seed 1 --n 1000

n: line-hours. The boat wanders between a stop and 2.2 m/s, turns at up to 30 deg/s, rides waves of up to 1 m; line
runs out and in at 1.2 m/s; planers trip and are set again. Each 5 s every line is looked at: positions finite, no
segment longer than its stretch under its own tension allows. Prints one JSON object last: failures of the march (even
1024 substeps did not converge), over-length lines, NaNs, steps that needed substeps, simulated seconds per CPU second.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from time import process_time
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from live_march import chains_of, go, start, tips_along, water_of  # noqa: E402

from assistant import config  # noqa: E402
from assistant.configured import Config  # noqa: E402
from assistant.lines import layout, spread  # noqa: E402
from assistant.lines.fleet import Fleet, regeared  # noqa: E402
from assistant.lines.gear import RodSetting, above_zero_m  # noqa: E402
from assistant.lines.motion import Motion  # noqa: E402

Array = NDArray[np.float64]

LOOK_STEPS = 20  # 5 s
LEG_STEPS = 240  # a minute; gear and line out are set anew once a leg
TOO_LONG = 1e-3  # of a segment, decimetres at least: Newton stops at 1 mm, right within micrometres
RUN_MPS = 1.2


@dataclass
class Found:
    """What went wrong, and how much work it was."""

    line_hours: float = 0.0
    failures: list[str] = field(default_factory=list)
    over_length: list[str] = field(default_factory=list)
    nan: list[str] = field(default_factory=list)
    steps: int = 0  # of a group of eight lines
    rescued: int = 0  # steps in which a group was
    divided: int = 0  # about how many steps were divided, because a line kinked
    longest: float = -1.0  # worst of |r| over what its tension allows, less 1
    cpu_s: float = 0.0
    simulated_s: float = 0.0


def over_length(fleet: Fleet) -> float:
    """The worst segment's length over what its tension allows, less 1."""
    view = fleet.views()
    span = np.linalg.norm(np.diff(view[:, :, layout.X1 : layout.X1 + 3, :], axis=1), axis=2)
    allowed = view[:, 1:, layout.LENGTH] * (1.0 + view[:, 1:, layout.T1] * view[:, 1:, layout.COMPLIANCE])
    return float((span / allowed).max()) - 1.0


def leg_way(r: Random, now: Motion, steps: int) -> tuple[list[Motion], tuple[Array, Array]]:
    """The boat's motions over a leg, its first the present, and the lift of the rod tips with its rate."""
    goal_mps = r.choice(
        [0.0, r.uniform(0.0, 0.6), r.uniform(0.6, 1.6), r.uniform(0.6, 1.6), r.uniform(1.6, 2.2)]
    )
    rate = r.choice([0.0, 0.0, 1.0, -1.0]) * math.radians(r.uniform(0.5, 30.0))
    turns = round(min(steps, r.uniform(0.0, math.tau) / max(abs(rate), 1e-9) / spread.STEP_S))
    motions = [now]
    for k in range(steps):
        heading = now.heading_rad + rate * spread.STEP_S * min(k + 1, turns)
        motions.append(motions[-1].follow(goal_mps, heading, spread.STEP_S))
    size, period = r.choice([0.0, r.uniform(0.0, 0.5)]), r.uniform(2.5, 6.0)
    t = np.arange(steps + 1) * spread.STEP_S
    w = math.tau / period
    fade = np.sin(math.pi * t / t[-1]) ** 2  # nothing at both ends, so that legs join
    slope = math.pi / t[-1] * np.sin(math.tau * t / t[-1])
    lift = size * fade * np.sin(w * t)
    return motions, (lift, size * (fade * w * np.cos(w * t) + slope * np.sin(w * t)))


def random_settings(r: Random, loaded: Config, outs: list[float]) -> list[RodSetting]:
    """Random dial settings and trips; line out as it is."""
    return [
        RodSetting(out, r.choice([None, round(r.uniform(0.0, 3.0), 1)]), r.random() < 0.1)
        for _, out in zip(loaded.rods, outs, strict=True)
    ]


def hour(r: Random, loaded: Config, found: Found, name: str, minutes: int = 60) -> None:
    """One hour of all rods."""
    water = water_of(loaded)
    outs = [r.uniform(5.0, 110.0) for _ in loaded.rods]
    above = np.array([above_zero_m(rod) for rod in loaded.rods])
    now = Motion(0.0, 0.0, r.uniform(0.7, 1.4), r.uniform(0.0, math.tau))
    first = tips_along(loaded, np.array([[0.0, 0.0, now.speed_mps, now.heading_rad, 0.0]]))[0]
    fleet = start(chains_of(loaded, random_settings(r, loaded, outs)), water, spread.CUT, first)
    restart = True
    for minute in range(minutes):
        if r.random() < 0.3:
            fleet = regeared(
                fleet, dict(enumerate(chains_of(loaded, random_settings(r, loaded, outs)))), water
            )
            restart = True
        motions, wave = leg_way(r, now, LEG_STEPS)
        tips = tips_along(loaded, np.array([_row(m) for m in motions]), wave)
        goals = [r.uniform(2.0, 110.0) if r.random() < 0.2 else out for out in outs]
        mains = np.array([_running(out, goal) for out, goal in zip(outs, goals, strict=True)]).T + above
        fleet, restart = _leg(fleet, tips, mains, restart, found, f"{name}, minute {minute}")
        if found.failures and found.failures[-1].startswith(f"{name},"):
            return
        now, outs = motions[-1], list(mains[-1] - above)
        found.line_hours += len(loaded.rods) / 60.0


def _row(m: Motion) -> tuple[float, float, float, float, float]:
    return m.north_m, m.east_m, m.speed_mps, m.heading_rad, m.turn_radps


def _running(out_m: float, goal_m: float) -> Array:
    """Line out through a leg, running toward the goal."""
    ran = np.arange(LEG_STEPS + 1) * spread.STEP_S * RUN_MPS
    return np.where(ran < abs(goal_m - out_m), out_m + math.copysign(1.0, goal_m - out_m) * ran, goal_m)


def _leg(
    fleet: Fleet, tips: Array, mains: Array, restart: bool, found: Found, where: str
) -> tuple[Fleet, bool]:
    for first in range(0, LEG_STEPS, LOOK_STEPS):
        part = slice(first, first + LOOK_STEPS + 1)
        begin_s = process_time()
        fleet, failed, rescued, restart = go(fleet, tips[part], spread.STEP_S, restart, mains_m=mains[part])
        found.cpu_s += process_time() - begin_s
        found.simulated_s += LOOK_STEPS * spread.STEP_S
        found.steps += LOOK_STEPS * len(fleet.works)
        found.rescued += rescued
        found.divided += LOOK_STEPS * int((fleet.bends.parts > 1).sum())
        if failed:
            found.failures.append(where)
            return fleet, True
        if not np.isfinite(fleet.works).all():
            found.nan.append(where)
        longer = over_length(fleet)
        found.longest = max(found.longest, longer)
        if longer > TOO_LONG:
            found.over_length.append(f"{where}: {longer:.2g}")
    return fleet, restart


def run(seed: int, n: float, show: bool = False) -> dict[str, Any]:
    """n line-hours; less than one hour of the whole spread is run as minutes."""
    loaded, found, number = config.load(), Found(), 0
    while found.line_hours < n - 1e-6:
        left = math.ceil((n - found.line_hours) / len(loaded.rods) * 60.0 - 1e-6)
        hour(Random(f"{seed}/{number}"), loaded, found, f"hour {number}", min(60, left))
        number += 1
        if show and number % 10 == 0:
            print(f"{found.line_hours:.0f} line-hours, {len(found.failures)} failures", flush=True)
    return {
        "seed": seed, "line_hours": round(found.line_hours, 2), "failures": found.failures,
        "over_length": found.over_length, "nan": found.nan, "longest_over_allowed": found.longest,
        "steps": found.steps, "rescued": found.rescued, "divided": found.divided,
        "realtime_factor": round(found.simulated_s / found.cpu_s),
    }  # fmt: skip


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=float, default=1000.0)
    given = parser.parse_args()
    print(json.dumps(run(given.seed, given.n, show=True)))


if __name__ == "__main__":
    main()
