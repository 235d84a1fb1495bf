"""Counter curves against spools unwound turn by turn: how often the 10-90 % band holds the true factor.

    python tests/campaigns/reels.py --seed 1 --n 500

Each spool is drawn from what is not known of one: its radius, how thick the line lies, how far out the top layer
starts, how well each mark was taped, how the fished line differs from the taped one. True lengths are summed turn by
turn, layer by layer; nothing of the fitted law is used. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.lines import reels
from assistant.messages import ReelMark

DEEPEST_M = 90.0  # on the counter


@dataclass(frozen=True)
class Wound:
    """A spool as a winder sees it: radius of the outermost turns, layers of so many turns, each so much further in."""

    radius_m: float
    turns_per_layer: float
    layer_m: float
    started: float  # share of the outermost layer that is gone already

    def unwound_m(self, turns: float) -> float:
        """Length of that many turns, summed one by one; part of a turn counts in proportion."""
        total, left, place = 0.0, turns, self.started * self.turns_per_layer
        while left > 0.0:
            radius = self.radius_m - self.layer_m * math.floor(place / self.turns_per_layer)
            part = min(1.0, left)
            total += part * 2.0 * math.pi * radius
            left -= part
            place += part
        return total


def drawn(rng: np.random.Generator, diameter_m: float, turn_m: float, width_m: float) -> Wound:
    """A spool from the prior; how the line's area divides into pitch and layer does not matter to the law."""
    radius = turn_m / (2.0 * math.pi) * math.exp(reels.RADIUS_SIGMA * rng.standard_normal())
    over = reels.THICKNESS_OVER_DIAMETER * math.exp(reels.THICKNESS_SIGMA * rng.standard_normal())
    thickness = over * diameter_m
    layer = diameter_m * rng.uniform(0.8, 1.0)
    return Wound(radius, width_m * layer / thickness**2, layer, rng.uniform())


def taped(rng: np.random.Generator, spool: Wound, turn_m: float, count: int) -> list[ReelMark]:
    """Marks spread over the line, each taped with an error of one sigma drawn from the normal law."""
    places = np.linspace(0.25, 1.0, count) * DEEPEST_M if count > 1 else np.array([0.6 * DEEPEST_M])
    places = places * rng.uniform(0.85, 1.0, count)
    sigma = ReelMark(1.0, 1.0, "2026-01-01").sigma_m
    return [
        ReelMark(float(c), spool.unwound_m(c / turn_m) + sigma * rng.standard_normal(), "2026-01-01", sigma)
        for c in places
    ]


def campaign(seed: int, n: int, counts: Sequence[int] = (3, 4, 6)) -> dict[str, object]:
    """Coverage and width of the band of true length over reading, at readings drawn from 10 m to DEEPEST_M."""
    rng = np.random.default_rng(seed)
    held: dict[str, list[bool]] = {}
    widths: dict[str, list[float]] = {}
    for _ in range(n):
        thick = bool(rng.integers(2))
        diameter = 0.001 if thick else 0.00033
        _, turn, width = reels.SPOOLS_M[1 if thick else 0]
        spool = drawn(rng, diameter, turn, width)
        count = int(rng.choice(counts))
        found = reels.curve(taped(rng, spool, turn, count), diameter, turn, width, "drawn")
        reading = rng.uniform(10.0, DEEPEST_M)
        floor = found.spool.floor if found.spool else 0.0
        truth = spool.unwound_m(reading / turn) / reading * (1.0 + floor * rng.standard_normal())
        band = found.factor(reading)
        for group in ("all", f"{count} marks", "thick line" if thick else "thin line"):
            held.setdefault(group, []).append(band.low <= truth <= band.high)
            widths.setdefault(group, []).append((band.high - band.low) / band.value)
    coverage = {group: round(float(np.mean(hits)), 3) for group, hits in sorted(held.items())}
    width_pc = {group: round(100.0 * float(np.median(w)), 2) for group, w in sorted(widths.items())}
    return {"seed": seed, "n": n, "coverage": coverage, "median_width_percent": width_pc}


def main() -> None:
    """Run one campaign and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=500)
    options = parser.parse_args()
    print(json.dumps(campaign(options.seed, options.n)))


if __name__ == "__main__":
    main()
