"""The short form of the fuzz campaign, run as its command."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path


def test_five_thousand_mutated_lines(root: Path) -> None:
    script = root / "tests" / "campaigns" / "fuzz_sentences.py"
    result = subprocess.run(
        [sys.executable, str(script), "--seed", "7", "--n", "5000"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    summary = json.loads(result.stdout.splitlines()[-1])
    assert (result.returncode, summary["failures"]) == (0, 0), summary["first"]
    # that it fuzzed at all: much was decoded, much refused
    assert summary["readings"] > 500
    assert summary["rejects"] > 200
    assert (
        min(summary["framing"][reason] for reason in ("good", "bad_sum", "no_sum", "noise", "too_long")) > 50
    )
