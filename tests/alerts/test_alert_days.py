"""The short form of the campaign of simulated days."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

CAMPAIGN = Path(__file__).resolve().parents[1] / "campaigns" / "alert_days.py"


def test_minutes_of_an_outing_are_told_in_few_words_and_curves_in_none() -> None:
    options = ["--seed", "3", "--n", "0.06", "--curves", "0.05"]
    done = subprocess.run(
        [sys.executable, str(CAMPAIGN), *options], capture_output=True, text=True, check=False
    )
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["curves"]["told"] == 0, found
    assert found["with_faults"]["hours"] > 0.055 and not found["with_faults"]["chattering"]
    assert found["judged"]["judged"] >= found["judged"]["true"]
