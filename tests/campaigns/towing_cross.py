"""Campaign: random towing cases solved by the assistant and by the simulator's own line model, which share no solver.

    python tests/campaigns/towing_cross.py --seed 1 --n 200 [--case 17]

Prints every disagreement, and one JSON object last: share of cases within the tolerances, the worst of each quantity
(1 = the tolerance) with its case, and what either could not solve. --case prints one case as JSON, to look into.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest import mock

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from towing_cases import random_case  # noqa: E402
from towing_compare import worst  # noqa: E402

from assistant.lines import course  # noqa: E402
from assistant.lines.cases import solve  # noqa: E402
from assistant.lines.steady import NoSteadyShape  # noqa: E402
from sim import towing  # noqa: E402
from sim.cases import read_case  # noqa: E402
from sim.march import NoSolution  # noqa: E402

Result = dict[str, Any] | None

AFLOAT_M = 0.5
"""A free end so near the surface, below metres of line: a length of light line behind the tip leaves the water too."""


def run(seed: int, n: int, show: bool = False) -> dict[str, Any]:
    """Solve n cases both ways; a course outside the tolerances again, with both finer.

    Returns:
        n, compared; within: share inside the tolerances, the simulator as it is or finer; outside: the other cases;
        unsteady: those of them where refining moves an answer by more than half a tolerance, so that neither is the
        truth; afloat: those whose free end comes so near the surface that more than the top segment is out of the
        water, which the simulator does not know of; worst {kind: {quantity: [ratio, case]}} without these two;
        unsolved {by: [case: reason]}.
    """
    peaks: dict[str, dict[str, tuple[float, str]]] = {}
    unsolved: dict[str, list[str]] = {"assistant": [], "sim": []}
    compared, outside, unsteady, afloat = 0, [], [], []
    for number in range(n):
        case = random_case(seed, number)
        ours, theirs = _assistant(case, unsolved), _sim(case, unsolved)
        if ours is None or theirs is None:
            continue
        compared += 1
        ratios, moved = worst(case["kind"], ours, theirs), 0.0
        if max(ratios.values()) > 1.0 and case["kind"] == "course":
            ratios, moved = _again(case, ours, theirs, ratios)
        if max(ratios.values()) > 1.0:
            outside.append(case["id"])
            if show:
                print(
                    case["id"], {k: round(v, 2) for k, v in ratios.items()}, f"moved {moved:.2f}", flush=True
                )
            if moved > 0.5:
                unsteady.append(case["id"])
                continue
            if shallowest_m(ours) < AFLOAT_M:
                afloat.append(case["id"])
                continue
        for quantity, ratio in ratios.items():
            of_kind = peaks.setdefault(case["kind"], {})
            of_kind[quantity] = max(of_kind.get(quantity, (0.0, "")), (round(ratio, 3), case["id"]))
    within = 1.0 - len(outside) / compared if compared else None
    return {
        "seed": seed, "n": n, "compared": compared, "within": within, "outside": outside, "unsteady": unsteady,
        "afloat": afloat, "worst": peaks, "unsolved": unsolved,
    }  # fmt: skip


def shallowest_m(found: dict[str, Any]) -> float:
    """The least depth of the free end [m]; of a course, over all rows."""
    if "rows" not in found:
        return float(found["depth_m"])
    column = found["columns"].index("depth_m")
    return min(float(row[column]) for row in found["rows"])


def _again(
    case: dict[str, Any], ours: dict[str, Any], theirs: dict[str, Any], ratios: dict[str, float]
) -> tuple[dict[str, float], float]:
    """Ours against a simulator with an eighth of the step and twice the elements; how far refining moved either."""
    ignored: dict[str, list[str]] = {"assistant": [], "sim": []}
    with _finer(course, ("STEP_S", "RUNNING_STEP_S", "PIECE_M"), ("PIECES_LEAST", "PIECES_MOST"), 2):
        fine = _assistant(case, ignored)
    with _finer(towing, ("COURSE_STEP_S",), ("COURSE_LEAST", "COURSE_ELEMENTS"), 8):
        finer_sim = _sim(case, ignored)
    if fine is None or finer_sim is None:
        return ratios, math.inf
    closer = worst("course", ours, finer_sim)
    moved = max(worst("course", fine, ours).values())
    if max(closer.values()) > 1.0:
        with _finer(towing, ("COURSE_STEP_S",), ("COURSE_LEAST", "COURSE_ELEMENTS"), 4):
            fine_sim = _sim(case, ignored)
        moved = math.inf if fine_sim is None else max(moved, *worst("course", finer_sim, fine_sim).values())
    return closer, moved


@contextmanager
def _finer(module: Any, sizes: Sequence[str], counts: Sequence[str], by: int) -> Iterator[None]:
    """A solver with its sizes divided by a number and twice the elements."""
    finer = {name: getattr(module, name) / by for name in sizes}
    finer.update({name: getattr(module, name) * 2 for name in counts})
    with mock.patch.multiple(module, **finer):
        yield


def _assistant(case: dict[str, Any], unsolved: dict[str, list[str]]) -> Result:
    try:
        return solve(case)
    except NoSteadyShape as error:
        unsolved["assistant"].append(f"{case['id']}: {error}")
        return None


def _sim(case: dict[str, Any], unsolved: dict[str, list[str]]) -> Result:
    try:
        return towing.solve(read_case(case))
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
