"""Line let out as fast as it ever is, and reeled in at 1.2 m/s, every rig: live settings against a finer run.

Source: independent computation only in part: the finer run is the same kernel with a quarter of the step and four
times the pieces (what a step and a piece cost), the settled end is the steady integration (lines/steady.py).
Line that ran out faster than the boat takes it would hang slack and fold, as no line does that is let out with a thumb
on the spool; --let-go lets it run at 1.2 m/s all the same. Runs that fold (by the finer one) are kept apart.
Wherever depth is off by more than SAY_PERCENT meanwhile, the live state must say "line folding". Each run in and out
of every rig at --n drawn speeds; prints a table (stderr) and one JSON object last.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant import config
from assistant.configured import Config, Rod
from assistant.lines import spread
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, Fleet, marched, regeared, settled
from assistant.lines.gear import RodSetting, above_zero_m, counted_m, mains_m, towed
from assistant.lines.rods import RUN_MPS, let_out_mps
from assistant.lines.seen import seen_from_boat
from assistant.lines.steady import straight
from assistant.units import MPH_MPS

Array = NDArray[np.float64]
SETTLE_S = 240.0
STILL = np.zeros((0, 3))
MORE = Path(__file__).resolve().parents[1] / "lines"
FINER = 4
SAY_PERCENT = 2.0


@dataclass(frozen=True, slots=True)
class Run:
    """One rod's line run from one length to another [m on a true counter] at a speed [m/s]."""

    config: Config
    rod: Rod
    start_m: float
    end_m: float
    speed_mps: float
    run_mps: float  # how fast line runs

    def water(self) -> Water:
        """Still water of the configured kind."""
        return Water(self.config.boat.water_density_kg_m3, self.config.boat.gravity_m_s2)

    def chain(self, out_m: float) -> Towed:
        """What is towed with so much line out."""
        return towed(self.config, self.rod, RodSetting(out_m), self.water())

    def seconds(self) -> float:
        """How long line runs."""
        return abs(self.end_m - self.start_m) / self.run_mps

    def out_m(self, t_s: float) -> float:
        """Line out [m]."""
        return float(np.interp(t_s, [0.0, self.seconds()], [self.start_m, self.end_m]))

    def march(self, finer: int, seconds: float) -> tuple[Array, bool]:
        """(seconds + 1, 3) lure below the surface, to starboard and aft of the tip [m], once a second; whether the line
        folds.
        """
        cut = Cut(finer * spread.CUT.total, finer * spread.CUT.below)
        dt = spread.STEP_S / finer
        fixed = {0: counted} if (counted := counted_m(self.rod)) else {}
        above, height = above_zero_m(self.rod), self.rod.tip_height_m
        tips = np.zeros((6, 1))
        tips[2], tips[3] = -height, self.speed_mps
        fleet = settled([self.chain(self.start_m)], [self.water()], cut, tips, STILL, np.zeros((1, 2)))
        runs = mains_m(fixed, np.array([self.start_m + above]))[1]
        rows, restart, folds = [_place(fleet)], True, False
        per_second = round(1.0 / dt)
        for step in range(1, round(seconds) * per_second + 1):
            out = self.out_m(step * dt)
            mains, now = mains_m(fixed, np.array([out + above]))
            if now != runs:  # another part runs from here on
                fleet, runs, restart = regeared(fleet, {0: self.chain(out)}, self.water()), now, True
            tips = tips.copy()
            tips[0] = step * dt * self.speed_mps
            tolerance = spread.TOLERANCE_M if finer == 1 else 1e-6
            fleet, failed, restart = marched(
                fleet, tips, mains, STILL, dt, restart, tolerance, spread.FINER if finer == 1 else 1
            )
            if failed:
                raise ArithmeticError(f"{self.rod.name}: no convergence at {step * dt:g} s")
            if step % per_second == 0:
                rows.append(_place(fleet))
                folds = folds or bool(fleet.folding()[0])
        return np.array(rows), folds

    def settled_m(self) -> Array:
        """(3,) where the steady integration puts the lure at the end."""
        shape = straight(self.chain(self.end_m), self.water(), self.speed_mps)
        north, east, depth = shape.points_m[0]
        return np.array([depth, east, -north])


def _place(fleet: Fleet) -> Array:
    depth, swing, setback = seen_from_boat(fleet.works, fleet.cut.total, STILL, 0.0)[0, :3]
    return np.array([depth, swing, setback])


@dataclass(frozen=True, slots=True)
class Found:
    """Worst errors in per cent of the lure's depth and of its distance, while line runs and once settled."""

    rig: str
    speed_mps: float
    slack: bool  # the finer run folds
    said: bool  # so does the live one
    running_depth: float
    running_place: float
    settled_depth: float
    settled_place: float


def errors(run: Run, name: str) -> Found:
    """A run against the finer one and against the steady end."""
    moving = math.ceil(run.seconds())
    live, said = run.march(1, moving + SETTLE_S)
    fine, slack = run.march(FINER, moving)
    end = run.settled_m()
    off = np.abs(live[: moving + 1] - fine)
    return Found(
        name, run.speed_mps, slack, said,
        running_depth=100.0 * float(np.max(off[:, 0] / np.abs(fine[:, 0]))),
        running_place=100.0 * float(np.max(np.linalg.norm(off, axis=1) / np.linalg.norm(fine, axis=1))),
        settled_depth=100.0 * abs(float(live[-1, 0] / end[0]) - 1.0),
        settled_place=100.0 * float(np.linalg.norm(live[-1] - end) / np.linalg.norm(end)),
    )  # fmt: skip


def rigs(folders: Sequence[Path | None]) -> list[tuple[Config, Rod]]:
    """All rods whose line runs from a rod tip."""
    loaded = [config.load(folder) for folder in folders]
    return [(one, rod) for one in loaded for rod in one.rods if rod.attached is None and rod.board is None]


FIGURES = ("running_depth", "running_place", "settled_depth", "settled_place")


def _worst(found: Sequence[Found], key: str) -> float | None:
    return round(max(getattr(one, key) for one in found), 3) if found else None


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run every rig out and in; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=1, help="speeds for each rig")
    parser.add_argument(
        "--let-go", action="store_true", help="line runs out at 1.2 m/s whatever the boat does"
    )
    args = parser.parse_args(argv)
    random = Random(args.seed)
    found = []
    for loaded, rod in rigs([None, MORE / "every_rig", MORE / "more_rigs"]):
        for _ in range(args.n):
            speed = random.uniform(1.6, 2.8) * MPH_MPS
            for start, end, way in ((0.5, 1.0, "out"), (1.0, 0.5, "in")):
                run_mps = RUN_MPS if way == "in" or args.let_go else let_out_mps(speed)
                run = Run(loaded, rod, start * rod.line_out_m, end * rod.line_out_m, speed, run_mps)
                found.append(one := errors(run, f"{rod.name} {way}"))
                print(
                    "".join(f"{v:9.3f}" if isinstance(v, float) else f"{v!s:>14}" for v in astuple(one)),
                    file=sys.stderr,
                )
    taut, slack = ([one for one in found if one.slack is so] for so in (False, True))
    result = {
        "seed": args.seed,
        "n": args.n,
        "let_go": args.let_go,
        "taut_worst_percent": {key: _worst(taut, key) for key in FIGURES},
        "slack_worst_percent": {key: _worst(slack, key) for key in FIGURES},
        "slack": [one.rig for one in slack],
        "off_unsaid": [one.rig for one in found if one.running_depth > SAY_PERCENT and not one.said],
        "runs": len(found),
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
