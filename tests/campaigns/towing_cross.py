"""Campaign: random towing cases solved by the assistant and by the simulator's own line model, which share no solver.

    python tests/campaigns/towing_cross.py --seed 1 --n 200 [--case 17]

Prints every disagreement, and one JSON object last: share of cases within the tolerances, the worst of each quantity
(1 = the tolerance) with its case, and what either could not solve. --case prints one case as JSON, to look into.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from towing_cases import random_case
from towing_compare import worst

from assistant.lines.cases import solve
from assistant.lines.steady import NoSteadyShape
from sim.cases import read_case
from sim.march import NoSolution
from sim.towing import solve as simulate


def run(seed: int, n: int, show: bool = False) -> dict[str, Any]:
    """Solve n cases both ways.

    Returns:
        n, compared, within (share), worst {kind: {quantity: [ratio, case]}}, unsolved {by: [case: reason]}, outside.
    """
    peaks: dict[str, dict[str, tuple[float, str]]] = {}
    unsolved: dict[str, list[str]] = {"assistant": [], "sim": []}
    compared, outside = 0, []
    for number in range(n):
        case = random_case(seed, number)
        ours, theirs = _assistant(case, unsolved), _sim(case, unsolved)
        if ours is None or theirs is None:
            continue
        compared += 1
        ratios = worst(case["kind"], ours, theirs)
        for quantity, ratio in ratios.items():
            of_kind = peaks.setdefault(case["kind"], {})
            of_kind[quantity] = max(of_kind.get(quantity, (0.0, "")), (round(ratio, 3), case["id"]))
        if max(ratios.values()) > 1.0:
            outside.append(case["id"])
            if show:
                print(case["id"], {k: round(v, 2) for k, v in ratios.items()}, flush=True)
    within = 1.0 - len(outside) / compared if compared else None
    return {
        "seed": seed, "n": n, "compared": compared, "within": within, "worst": peaks, "unsolved": unsolved,
        "outside": outside,
    }  # fmt: skip


def _assistant(case: dict[str, Any], unsolved: dict[str, list[str]]) -> dict[str, Any] | None:
    try:
        return solve(case)
    except NoSteadyShape as error:
        unsolved["assistant"].append(f"{case['id']}: {error}")
        return None


def _sim(case: dict[str, Any], unsolved: dict[str, list[str]]) -> dict[str, Any] | None:
    try:
        return simulate(read_case(case))
    except NoSolution as error:
        unsolved["sim"].append(f"{case['id']}: {error}")
        return None


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=200)
    parser.add_argument("--case", type=int)
    given = parser.parse_args()
    if given.case is not None:
        print(json.dumps(random_case(given.seed, given.case)))
        return
    print(json.dumps(run(given.seed, given.n, show=True)))


if __name__ == "__main__":
    main()
