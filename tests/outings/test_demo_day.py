"""Short form of the invented days (tests/campaigns/demo_day.py): one seed, lines settled once a minute."""

from __future__ import annotations

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
