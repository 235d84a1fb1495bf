"""What a constant normal drag misses: each line's depth again with the drag of a cylinder at each piece's own speed.

    python tests/campaigns/normal_drag.py --seed 1 --n 20

Source of the law: Cheng 2013 (J. Hydraul. Eng., HY.1943-7900.0000722), a smooth cylinder across the flow, at the speed
that crosses the line (independence principle). Per rig, steady straight tow, medians over draws of all coefficients:
the Reynolds number of the main line at 2.4 mph and Cheng's drag there; how much the depth differs, in per cent, when
the drag follows the law along the line and with speed but is as drawn in the middle of the main line at 2.4 mph; and
half the 10-90 % band of the depth that normal drag and strumming alone make. Prints one JSON object last.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from facts_rigs import BALL_80, COPPER, CORE, LARGE, STANDARD, Draws, Rig, Rigs, band
from numpy.typing import NDArray

from assistant.configured import Coefficient
from assistant.lines.chain import Segment, Towed
from assistant.lines.gear import nominal
from assistant.lines.groups import pieces
from assistant.lines.steady import SteadyShape, straight
from assistant.lines.water import kinematic_viscosity_m2_s
from assistant.units import MPH_MPS

Array = NDArray[np.float64]
RIGS = {
    "large disc, spoon": (LARGE, 1.0),
    "large disc, flasher-fly": (LARGE.behind("flasher-fly"), 1.0),
    "standard disc, spoon": (STANDARD, 3.0),
    "lead-core": (CORE, 0.0),
    "copper": (COPPER, 0.0),
    "ball": (BALL_80, 0.0),
}
SPEEDS_MPH = (1.3, 2.0, 2.4, 2.9)
USUAL_MPH = 2.4
WATER_C = 12.0  # of the water a line hangs in: surface 20, deep 7 (judgement)
ABOVE, BELOW = 30, 6  # pieces of the longest line part, and of each other
ROUNDS = 8  # of drag and shape in turn; both settle in four


def cheng(reynolds: float) -> float:
    """Drag coefficient of a smooth infinite cylinder across the flow; Cheng 2013, Re below 2e5."""
    return float(
        11.0 * reynolds**-0.75
        + 0.9 * (1.0 - math.exp(-1000.0 / reynolds))
        + 1.2 * (1.0 - math.exp(-((reynolds / 4500.0) ** 0.7)))
    )


def crossing(shape: SteadyShape, segments: Sequence[Segment], speed_mps: float) -> Array:
    """Reynolds number of what crosses each piece of a straight tow."""
    ways = np.diff(shape.points_m, axis=0)
    along = ways[:, 0] / np.linalg.norm(ways, axis=1)
    diameters = np.array([segment.diameter_m for segment in segments])
    return np.asarray(speed_mps * np.sqrt(1.0 - along**2) * diameters / kinematic_viscosity_m2_s(WATER_C))


def cut_up(rigs: Rigs, rig: Rig, dial: float, k: int) -> tuple[Towed, slice]:
    """Draw k of a rig in pieces, and which of them are its longest line part."""
    chain = rigs.chain(rig, k, dial, nominal if k == 0 else rigs.draws.member(k))
    longest = max(range(len(chain.segments)), key=lambda i: chain.segments[i].length_m)
    counts = [ABOVE if i == longest else BELOW for i in range(len(chain.segments))]
    return pieces(chain, counts), slice(BELOW * longest, BELOW * longest + ABOVE)


def by_law(rigs: Rigs, cut: Towed, speed_mps: float, at: float) -> float:
    """Depth [m] with every piece's drag scaled by the law, which is 1 where the Reynolds number is `at`."""
    segments = cut.segments
    for _ in range(ROUNDS):
        shape = straight(replace(cut, segments=segments), rigs.water, speed_mps)
        scale = [cheng(max(re, 5.0)) / cheng(at) for re in crossing(shape, segments, speed_mps)]
        segments = tuple(
            replace(new, normal_drag=old.normal_drag * s)
            for new, old, s in zip(segments, cut.segments, scale, strict=True)
        )
    return float(straight(replace(cut, segments=segments), rigs.water, speed_mps).points_m[0, 2])


def drag_band(rigs: Rigs, rig: Rig, dial: float) -> float:
    """Half the band of depth [%] that normal drag and strumming alone make, at USUAL_MPH."""
    depths = []
    for k in range(rigs.draws.count):
        member = rigs.draws.member(k)

        def draw(kind: str, name: str, c: Coefficient, member: Any = member) -> float:
            return float(member(kind, name, c)) if name in ("normal_drag", "strumming") else c.value

        chain = rigs.chain(replace(rig, measured=True), k, dial, draw)
        counts = [BELOW] * (len(chain.segments) - 1) + [ABOVE]
        depths.append(straight(pieces(chain, counts), rigs.water, USUAL_MPH * MPH_MPS).points_m[0, 2])
    low, high = band(np.array(depths[1:]))
    return 50.0 * (high - low) / float(depths[0])


def one_rig(rigs: Rigs, rig: Rig, dial: float) -> dict[str, Any]:
    """The figures of one rig."""
    off: dict[float, list[float]] = {mph: [] for mph in SPEEDS_MPH}
    middles = []
    for k in range(rigs.draws.count):
        cut, main = cut_up(rigs, rig, dial, k)
        usual = straight(cut, rigs.water, USUAL_MPH * MPH_MPS)
        middles.append(float(np.median(crossing(usual, cut.segments, USUAL_MPH * MPH_MPS)[main])))
        for mph in SPEEDS_MPH:
            constant = float(straight(cut, rigs.water, mph * MPH_MPS).points_m[0, 2])
            off[mph].append(100.0 * (by_law(rigs, cut, mph * MPH_MPS, middles[-1]) / constant - 1.0))
    return {
        "reynolds": round(float(np.median(middles))),
        "cheng": round(cheng(float(np.median(middles))), 3),
        "depth_off_percent": {f"{mph:g} mph": round(float(np.median(x)), 2) for mph, x in off.items()},
        "drag_band_percent": round(drag_band(rigs, rig, dial), 1),
    }


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Measure every rig; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=20, help="draws")
    args = parser.parse_args(argv)
    rigs = Rigs(Draws(args.seed, args.n))
    result = {
        "seed": args.seed,
        "n": args.n,
        "rigs": {name: one_rig(rigs, rig, dial) for name, (rig, dial) in RIGS.items()},
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
