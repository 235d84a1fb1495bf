"""What each degraded mode costs: which quantity stands in, how much wider its band is, and whether it is honest.

    python tests/campaigns/degraded.py --seed 1 --n 10

Drawn days (tests/estimate/estimate_days.py, a truth that shares nothing with the filters) lose instruments after two
minutes, or never had them. For each mode: its name as published, and for speed, heading and current the median
half-width of the 10-90 % band as a multiple of the whole boat's, and the share of errors within 1 sigma. One JSON
object last; exit 1 when a mode is not named, a stand-in is called ok, or its band is not wider.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "estimate")]

from estimate_days import Sea, Tick, angle_error, day, run, without  # noqa: E402

from assistant.frame import degraded_modes, published_boat  # noqa: E402
from assistant.messages import BoatState  # noqa: E402

LOST_S, FROM_S, MINUTES = 120.0, 140.0, 5.0
MODES: Mapping[str, tuple[str, ...]] = {
    "no speed log": ("VHW",),
    "no heading": ("HDG",),
    "no GPS": ("RMC",),
    "no sounder": ("DPT",),
    "no temperature": ("MTW",),
    "only GPS": ("VHW", "HDG", "DPT", "MTW"),
    "all silent": ("VHW", "HDG", "RMC", "DPT", "MTW"),
}
WATCHED = ("stw_mps", "heading_rad", "drift_mps", "sog_mps", "water_depth_m", "rate_of_turn_radps")
SPOILT = {  # what must be wider or gone
    "no speed log": ("stw_mps",), "no heading": ("heading_rad", "rate_of_turn_radps"), "no GPS": ("sog_mps",),
    "no sounder": ("water_depth_m",), "no temperature": (), "only GPS": ("stw_mps", "heading_rad"),
    "all silent": WATCHED,
}  # fmt: skip


def kept(ticks: list[Tick], lost: tuple[str, ...], from_s: float) -> list[tuple[Tick, BoatState]]:
    """The frames of a day that has lost these sentences, from some time after."""
    for sentence in lost:
        ticks = without(ticks, sentence, from_s)
    begin = FROM_S if "MTW" not in lost else FROM_S + 30.0  # a temperature is stale after 30 s
    return [pair for pair in zip(ticks, run(ticks), strict=True) if pair[0].truth.t_s > begin]


def widths(frames: list[tuple[Tick, BoatState]]) -> dict[str, list[float]]:
    """Sigmas by quantity; empty where there is no number."""
    return {q: [e.sigma for _, b in frames if (e := getattr(b, q)).sigma is not None] for q in WATCHED}


def honesty(frames: list[tuple[Tick, BoatState]]) -> dict[str, list[float]]:
    """Errors in sigmas of speed and heading."""
    z: dict[str, list[float]] = {"stw_mps": [], "heading_rad": []}
    for tick, boat in frames:
        if boat.stw_mps.value is not None and boat.stw_mps.sigma:
            z["stw_mps"].append((boat.stw_mps.value - tick.truth.stw_mps) / boat.stw_mps.sigma)
        if boat.heading_rad.value is not None and boat.heading_rad.sigma:
            off = angle_error(boat.heading_rad.value, tick.truth.heading_rad)
            z["heading_rad"].append(off / boat.heading_rad.sigma)
    return z


def row(mode: str, seeds: range, lost_s: float) -> dict[str, Any]:
    """One mode over all days."""
    whole: dict[str, list[float]] = {q: [] for q in WATCHED}
    without_it: dict[str, list[float]] = {q: [] for q in WATCHED}
    z: dict[str, list[float]] = {"stw_mps": [], "heading_rad": []}
    named, sources, ok = set[tuple[str, ...]](), set[str](), set[str]()
    for seed in seeds:
        ticks = day(seed, Sea(minutes=MINUTES))
        frames = kept(ticks, MODES[mode], lost_s)
        for q, sigmas in widths(kept(ticks, (), 0.0)).items():
            whole[q] += sigmas
        for q, sigmas in widths(frames).items():
            without_it[q] += sigmas
        for q, scores in honesty(frames).items():
            z[q] += scores
        for _, boat in frames:
            named.add(degraded_modes(published_boat(boat)))
            sources |= {getattr(boat, q).source for q in SPOILT[mode] if getattr(boat, q).value is not None}
            ok |= {q for q in SPOILT[mode] if getattr(boat, q).state == "ok"}
    times = {
        q: round(float(np.median(without_it[q]) / np.median(whole[q])), 1) if without_it[q] else None
        for q in WATCHED
    }
    within = {q: round(float(np.mean(np.abs(s) < 1.0)), 2) if s else None for q, s in z.items()}
    failures = [f"named {names}" for names in named if names != (mode,)]
    failures += [f"{q} called ok" for q in sorted(ok)]
    failures += [f"{q} no wider: {times[q]}" for q in SPOILT[mode] if (times[q] or math.inf) <= 1.0]
    since = "never had" if lost_s == 0.0 else "lost"
    return {
        "mode": mode,
        "since": since,
        "wider": times,
        "within_1_sigma": within,
        "sources": sorted(sources),
        "failures": failures,
    }


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=10, help="days")
    args = parser.parse_args()
    seeds = range(args.seed, args.seed + args.n)
    rows = [row(mode, seeds, lost_s) for mode in MODES for lost_s in (LOST_S, 0.0)]
    for one in rows:
        print("  ".join(f"{key} {value}" for key, value in one.items()), file=sys.stderr)
    failures = [f"{one['mode']}, {one['since']}: {text}" for one in rows for text in one["failures"]]
    print(
        json.dumps(
            {"campaign": "degraded", "seed": args.seed, "n": args.n, "rows": rows, "failures": failures}
        )
    )
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
