"""Calibrations on drawn days of the simulator: are the sigmas of what was found honest, and how large?

    python tests/campaigns/calibration.py --seed 1 --n 30

Each of the `n` days draws a current, a speed log whose factor goes with the speed, a
compass with offset and deviation, noise, and makes three runs: out and back at two speeds (`speed`), a slow circle to
each side (`compass`), six turns (`latency`, the simulator's receiver has no lag of its own). What is found is held
against what the simulator knows. One JSON object last; exit 1 when fewer than 60 % of errors lie within 1 sigma,
more than 1 % beyond 3.5, or more than one run in ten is refused.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[1] / "calibrate"),
]

from calibration_days import DEG, circles, gathered, scenario, two_way, weaving  # noqa: E402

from assistant.calibrate import compass, latency, speed  # noqa: E402
from assistant.calibrate.outcome import Outcome, Thin  # noqa: E402
from assistant.configured import BoatConfig  # noqa: E402

BOAT = BoatConfig("marigold", "Marigold")
VARIATION_DEG = -9.0
WITHIN, FAR, FAR_SHARE, REFUSED = 0.60, 3.5, 0.01, 0.1


def drawn(seed: int) -> tuple[dict[str, float], dict[str, float]]:
    """Current and instruments of one day."""
    rng = np.random.default_rng([seed, 61])
    current = {"drift_mps": float(rng.uniform(0.0, 0.4)), "set_deg": float(rng.uniform(0.0, 360.0))}
    return current, {
        "log_factor": float(rng.uniform(0.8, 1.1)),
        "log_factor_per_mps": float(rng.uniform(-0.08, 0.08)),
        "log_sigma_mps": float(rng.uniform(0.01, 0.04)),
        "compass_offset_deg": float(rng.uniform(-5.0, 5.0)),
        "compass_deviation_deg": float(rng.uniform(0.0, 8.0)),
        "compass_sigma_deg": float(rng.uniform(0.3, 1.0)),
        "gps_velocity_sigma_mps": float(rng.uniform(0.03, 0.06)),
    }


def of_speed(found: Outcome, made: dict[str, float]) -> list[float]:
    """Errors of the factor at its knots, in sigmas of the worst knot."""
    curve, sigma = found.table["curve"], found.table["sigma"]
    assert isinstance(curve, list) and isinstance(sigma, float)
    errors = []
    for read, factor in curve:
        a, b = made["log_factor_per_mps"], made["log_factor"] - made["log_factor_per_mps"]
        true = read / b if abs(a) < 1e-9 else (-b + math.sqrt(b * b + 4.0 * a * read)) / (2.0 * a)
        errors.append((factor - true / read) / sigma)
    return errors


def of_compass(found: Outcome, made: dict[str, float]) -> list[float]:
    """Errors of offset and deviation every 90 degrees of true heading, in sigmas."""
    rows, sigma, offset = found.table["deviation"], found.table["sigma_deg"], found.table["offset_deg"]
    assert isinstance(rows, list) and isinstance(sigma, float) and isinstance(offset, float)
    at = np.array(rows)
    errors = []
    for true_deg in (0.0, 90.0, 180.0, 270.0):
        add = -made["compass_offset_deg"] - made["compass_deviation_deg"] * math.sin(true_deg * DEG)
        reading = (true_deg - add - VARIATION_DEG) % 360.0
        shown = offset + float(np.interp(reading, at[:, 0], at[:, 1], period=360.0))
        errors.append((shown - add) / sigma)
    return errors


def run(seed: int, n: int) -> dict[str, Any]:
    """Figures over n days."""
    errors: dict[str, list[float]] = defaultdict(list)
    sigmas: dict[str, list[float]] = defaultdict(list)
    refused: dict[str, list[str]] = defaultdict(list)
    for k in range(seed, seed + n):
        current, made = drawn(k)
        rng = np.random.default_rng([k, 62])
        way = float(rng.uniform(0.0, 360.0))
        runs = {
            "speed": two_way(way, (1.5, 2.7), 120.0),
            "compass": circles(2.3, 1.0),
            "latency": weaving(2.2, 6, 80.0, 4.0),
        }
        for step, legs in runs.items():
            readings = gathered(scenario(legs, **current, **made), k)
            try:
                if step == "speed":
                    found = speed.calibrate(readings, BOAT, "drawn")
                    errors[step] += of_speed(found, made)
                elif step == "compass":
                    found = compass.calibrate(readings, BOAT, "drawn")
                    errors[step] += of_compass(found, made)
                else:
                    found = latency.calibrate(readings, BOAT, "drawn")
                    lag, sigma = found.table["course_lag_s"], found.table["sigma_s"]
                    assert isinstance(lag, float) and isinstance(sigma, float)
                    errors[step].append(lag / sigma)
                sigmas[step].append(next(float(v) for k, v in found.table.items() if k.startswith("sigma")))  # type: ignore[arg-type]
            except Thin as thin:
                refused[step].append(f"{k}: {thin.missing[0]}")
    failures = []
    result: dict[str, Any] = {"campaign": "calibration", "seed": seed, "n": n}
    for step in ("speed", "compass", "latency"):
        z = np.abs(np.array(errors[step]))
        result[step] = {
            "runs": n, "refused": len(refused[step]), "why": refused[step][:3],
            "within_1_sigma": round(float(np.mean(z < 1.0)), 3), "worst_sigmas": round(float(z.max(initial=0.0)), 2),
            "mean": round(float(np.mean(errors[step])), 2) if len(z) else None,
            "median_sigma": round(float(np.median(sigmas[step])), 4) if sigmas[step] else None,
        }  # fmt: skip
        failures += [f"{step}: {len(refused[step])} refused"] if len(refused[step]) > REFUSED * n else []
        failures += (
            [f"{step}: {np.mean(z < 1.0):.0%} within 1 sigma"] if len(z) and np.mean(z < 1.0) < WITHIN else []
        )
        far = float(np.mean(z > FAR)) if len(z) else 0.0
        failures += [f"{step}: {far:.1%} beyond {FAR} sigma"] if far > FAR_SHARE else []
    return {**result, "failures": failures}


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=30, help="days")
    args = parser.parse_args()
    result = run(args.seed, args.n)
    print(json.dumps(result))
    return 1 if result["failures"] else 0


if __name__ == "__main__":
    sys.exit(main())
