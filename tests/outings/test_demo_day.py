"""Short form of the invented days (tests/campaigns/demo_day.py): coarse, one seed; and its turn, whole."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))
import day_coarse
import demo_day as campaign

from assistant import day


@pytest.mark.parametrize("name", campaign.EXPECTED)
def test_what_is_expected_of_the_day(name: str) -> None:
    said, state = day_coarse.coarse(name, day.config_of(name), seed=7, every_min=2)
    found = campaign.EXPECTED[name](said, state.told)
    assert [what for what, met in found.items() if not met] == []


def test_the_turn_gives_what_it_gave() -> None:
    """Eight minutes through simulator and flow, field by field; after a change that is meant: --golden --update."""
    rows = campaign.golden_rows()
    assert campaign.differing(rows, json.loads(campaign.GOLDEN.read_text())) == []
    pulls = [row["pull_P1_n"] or 0.0 for row in rows]
    assert max(pulls[-3:]) < 0.7 * pulls[0]  # the deep lures slow by a third: pull goes with the square


def test_a_field_that_is_off_is_named() -> None:
    wanted = json.loads(campaign.GOLDEN.read_text())
    rows = [dict(row) for row in wanted]
    rows[3]["depth_W_m"] += 0.5
    rows[4]["pull_S1_n"] = None
    assert [words.split(":")[0] for words in campaign.differing(rows, wanted)] == [
        "minute 3 depth_W_m",
        "minute 4 pull_S1_n",
    ]
    assert campaign.differing(rows[:5], rows) == ["5 minutes, not 9"]
