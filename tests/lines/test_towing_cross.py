"""Random towing cases against the simulator's own line model, which shares no solver: short form of the campaign."""

from __future__ import annotations

import towing_cross
from towing_cases import random_case
from towing_compare import worst


def test_both_models_agree() -> None:
    found = towing_cross.run(seed=1, n=6)
    assert found["compared"] == 6
    assert found["outside"] == []
    assert found["unsolved"] == {"assistant": [], "sim": []}


def test_a_wrong_answer_is_outside() -> None:
    case = random_case(1, 0, "steady")
    found = towing_cross.solve(case)
    assert max(worst("steady", found, found).values()) == 0.0
    wrong = found | {"depth_m": found["depth_m"] * 1.002 + 0.011}
    assert worst("steady", wrong, found)["depth_m"] > 1.0
