"""Counter curves against spools unwound turn by turn: how often the 10-90 % band holds the true factor.

    python tests/campaigns/reels.py --seed 1 --n 500

Each spool is drawn from what is not known of one: its radius, how thick the line lies, how far out the top layer
starts, how well each mark was taped, how the fished line differs from the taped one. True lengths are summed turn by
turn, layer by layer; nothing of the fitted law is used. Spools without marks are drawn by how full they may be wound,
and how full the one was that their counter is right for. The last line is one JSON object.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.configured import UNMARKED, UNMARKED_CABLE, Coefficient, ReelMark
from assistant.lines import reels

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


@dataclass(frozen=True)
class Kind:
    """Spools nobody has taped. arbor: its radius over the flange's; fill: share of the room between them that is
    wound, of this spool and of the one its counter was made for. From memory of such reels, and judgement: some are
    topped up to the flange, some cut back for years.
    """

    diameter_m: float
    turn_m: float
    width_m: float
    arbor: tuple[float, float]
    fill: tuple[float, float]
    deepest_m: float
    band: Coefficient


REELS = [(diameter, *reels.SPOOLS_M[k][1:]) for k, diameter in enumerate((0.00033, 0.001))]
KINDS = {
    "thin line": Kind(*REELS[0], (0.4, 0.6), (0.6, 1.0), DEEPEST_M, UNMARKED),
    "thick line": Kind(*REELS[1], (0.4, 0.6), (0.6, 1.0), DEEPEST_M, UNMARKED),
    "cable": Kind(0.001, 0.3048, 0.04, (0.6, 0.8), (0.85, 1.0), 60.0, UNMARKED_CABLE),
}


def as_wound(rng: np.random.Generator, kind: Kind) -> Wound:
    """A spool of that kind, wound as somebody left it."""
    arbor = rng.uniform(*kind.arbor)
    own, made_for = (math.sqrt(arbor**2 + rng.uniform(*kind.fill) * (1.0 - arbor**2)) for _ in range(2))
    spool = drawn(rng, kind.diameter_m, kind.turn_m, kind.width_m)
    return replace(spool, radius_m=kind.turn_m / (2.0 * math.pi) * own / made_for)


def unmarked(rng: np.random.Generator, n: int) -> dict[str, dict[str, Any]]:
    """Coverage of the bands without marks, and the quantiles of the drawn factors they stand for."""
    factors = {name: [] for name in KINDS}  # type: dict[str, list[float]]
    for _ in range(n):
        for name, kind in KINDS.items():
            reading = rng.uniform(10.0, kind.deepest_m)
            factors[name].append(as_wound(rng, kind).unwound_m(reading / kind.turn_m) / reading)
    held = {
        name: [KINDS[name].band.low <= f <= KINDS[name].band.high for f in found]
        for name, found in factors.items()
    }
    both = held["thin line"] + held["thick line"]
    quantiles = {
        name: np.quantile(found, [0.1, 0.5, 0.9]).round(3).tolist() for name, found in factors.items()
    }
    coverage = {name: round(float(np.mean(hits)), 3) for name, hits in {"reels": both, **held}.items()}
    return {"coverage": coverage, "quantiles_10_50_90": quantiles}


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
    result: dict[str, object] = {"seed": seed, "n": n, "coverage": coverage, "median_width_percent": width_pc}
    return {**result, "unmarked": unmarked(rng, n)}


def main() -> None:
    """Run one campaign and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=500)
    options = parser.parse_args()
    print(json.dumps(campaign(options.seed, options.n)))


if __name__ == "__main__":
    main()
