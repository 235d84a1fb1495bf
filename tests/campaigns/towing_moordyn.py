"""Campaign: random courses solved by the assistant and, live, by MoorDyn, an independent explicit lumped-mass code.

    python tests/campaigns/towing_moordyn.py --seed 1 --n 10 [--first K]

All kinds of rig, layered current, stops, surges and turns; none of a dry part (MoorDyn shares out a piece that crosses
the surface in its own way) and no line that runs. MoorDyn settles the line first, for as long as it drifts; it has its
segments spread over the line by length. Prints each comparison, and one JSON object last: share of cases within the
tolerances, the worst of each quantity (1 = the tolerance) with its case, and what either could not solve.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from towing_cases import Case, random_case  # noqa: E402
from towing_compare import worst  # noqa: E402

from assistant.lines import cases  # noqa: E402
from assistant.lines.chain import Towed  # noqa: E402
from assistant.lines.course import Course  # noqa: E402
from assistant.lines.peer import MoorDynTow  # noqa: E402
from assistant.lines.steady import NoSteadyShape  # noqa: E402

SEGMENTS = 40  # a line, about; at least LEAST in each part
LEAST = 4
SHARE = 0.45  # of the time a wave of stretch takes along a segment: RK2 is stable there
EXCHANGE_S = 0.01
SETTLED_M, SETTLING_S, SETTLING_MOST_S = (
    0.001,
    10.0,
    200.0,
)  # settled: moved less than this in so long; give up after


def still_case(seed: int, number: int) -> Case:
    """A random course with its tow point at the surface and all its line out."""
    case = random_case(seed, number, "course")
    case["tow_point_height_m"] = 0.0
    case.pop("line_out", None)
    return case


def pieces(towed: Towed, total: int) -> list[int]:
    """Segments in each part, by its length."""
    return [max(LEAST, round(total * s.length_m / towed.length_m())) for s in towed.segments]


def step_s(towed: Towed, counts: list[int]) -> float:
    """A stable step [s]."""
    parts = zip(towed.segments, counts, strict=True)
    return SHARE * min(s.length_m / n * math.sqrt(s.mass_kg_m / s.stiffness_n) for s, n in parts)


def moordyn_course(case: Case, total: int = SEGMENTS) -> dict[str, Any]:
    """A course case solved live.

    Raises:
        RuntimeError: moordyn is missing, or gave up. ArithmeticError: it did not settle.
    """
    towed, water = cases._towed(case), cases._water(case)
    points = np.array(case["course"]["points"], dtype=float)
    points[:, 2] = np.radians(points[:, 2])
    course = Course(points)
    counts = pieces(towed, total)
    velocity = np.array([*course.velocity(points[0, 0]), 0.0])
    tow = MoorDynTow([towed], [counts], water, step_s(towed, counts), "RK2", np.zeros((1, 3)), velocity)
    try:
        t_s, tip = _settle(tow, velocity)
        rows, now = [], float(points[0, 0])
        for report in case["report_t_s"]:
            for k in range(round((report - now) / EXCHANGE_S)):
                at = now + k * EXCHANGE_S
                after = tip + np.append(course.move(at, at + EXCHANGE_S), 0.0)
                tow.march(t_s, EXCHANGE_S, tip, after)
                tip, t_s = after, t_s + EXCHANGE_S
            now = report
            rows.append([report, *_seen(tow, tip, course.speed_heading(report)[1])])
    finally:
        tow.close()
    return {"columns": cases.COURSE_COLUMNS, "rows": rows}


def _settle(tow: MoorDynTow, velocity: Any) -> tuple[float, Any]:
    """Tow straight until the end rides still behind the tow point: time, tow point."""
    t_s, tip = 0.0, np.zeros((1, 3))
    last = np.full(3, np.inf)
    while t_s < SETTLING_MOST_S:
        for _ in range(round(SETTLING_S / EXCHANGE_S)):
            after = tip + velocity * EXCHANGE_S
            tow.march(t_s, EXCHANGE_S, tip, after)
            tip, t_s = after, t_s + EXCHANGE_S
        end = tow.ends_m()[0] - tip[0]
        if np.linalg.norm(end - last) < SETTLED_M:
            return t_s, tip
        last = end
    raise ArithmeticError(f"moordyn did not settle in {SETTLING_MOST_S:g} s")


def _seen(tow: MoorDynTow, tip: Any, heading: float) -> list[float]:
    north, east, down = tow.ends_m()[0] - tip[0]
    c, s = math.cos(heading), math.sin(heading)
    return [
        float(down),
        float(-(north * c + east * s)),
        float(east * c - north * s),
        float(tow.tensions_n()[0]),
    ]


def run(seed: int, n: int, show: bool = False, total: int = SEGMENTS, first: int = 0) -> dict[str, Any]:
    """Compare n cases.

    Returns:
        n, compared, within (share), outside (cases), worst {quantity: [ratio, case]}, unsolved {by: [case: reason]}.
    """
    peaks: dict[str, tuple[float, str]] = {}
    unsolved: dict[str, list[str]] = {"assistant": [], "moordyn": []}
    compared, outside = 0, []
    for number in range(first, first + n):
        case = still_case(seed, number)
        try:
            ours = cases.solve(case)
        except NoSteadyShape as error:
            unsolved["assistant"].append(f"{case['id']}: {error}")
            continue
        try:
            theirs = moordyn_course(case, total)
        except (RuntimeError, ArithmeticError) as error:
            unsolved["moordyn"].append(f"{case['id']}: {error}")
            continue
        compared += 1
        ratios = worst("course", ours, theirs)
        peaks = {
            q: max(peaks.get(q, (0.0, "")), (round(ratio, 3), case["id"])) for q, ratio in ratios.items()
        }
        if max(ratios.values()) > 1.0:
            outside.append(case["id"])
        if show:
            print(case["id"], {k: round(v, 2) for k, v in ratios.items()}, flush=True)
    within = 1.0 - len(outside) / compared if compared else None
    return {
        "seed": seed, "n": n, "compared": compared, "within": within, "outside": outside, "worst": peaks,
        "unsolved": unsolved,
    }  # fmt: skip


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    print(json.dumps(run(given.seed, given.n, show=True, first=given.first)))


if __name__ == "__main__":
    main()
