"""Short form of tests/campaigns/power_cuts.py: a recording process killed, a file cut at every byte and flipped."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))

import power_cuts


def test_killed_while_recording(tmp_path: Path) -> None:
    found = power_cuts.totals(power_cuts.kills(Random(7), 2, tmp_path))
    assert (found["runs"], found["unreadable"], found["false_saved"], found["saved_lost"]) == (2, 0, 0, 0)
    assert found["worst_tail_s"] is None or found["worst_tail_s"] < 4.0  # 2 s on a machine that is free


def test_cut_and_flipped(tmp_path: Path) -> None:
    found = power_cuts.damage(Random(7), 200, tmp_path)
    assert (found["exceptions"], found["false_records"], found["lost_unhit"]) == (0, 0, 0)
    assert (found["cuts"], found["flips"]) == (80, 200)
