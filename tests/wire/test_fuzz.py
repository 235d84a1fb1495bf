"""The short forms of the fuzz campaigns, run as their commands."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any


def run(root: Path, campaign: str, n: int) -> dict[str, Any]:
    """Its summary; nothing failed."""
    script = root / "tests" / "campaigns" / f"{campaign}.py"
    result = subprocess.run(
        [sys.executable, str(script), "--seed", "7", "--n", str(n)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    summary: dict[str, Any] = json.loads(result.stdout.splitlines()[-1])
    assert (result.returncode, summary["failures"]) == (0, 0), summary["first"]
    return summary


def test_five_thousand_mutated_lines(root: Path) -> None:
    summary = run(root, "fuzz_sentences", 5000)
    # that it fuzzed at all: much was decoded, much refused
    assert summary["readings"] > 500
    assert summary["rejects"] > 200
    assert (
        min(summary["framing"][reason] for reason in ("good", "bad_sum", "no_sum", "noise", "too_long")) > 50
    )


def test_five_thousand_mutated_deltas(root: Path) -> None:
    summary = run(root, "fuzz_deltas", 5000)
    assert summary["readings"] > 1000 and summary["accepted"] > 200
    reasons = ("json", "form", "other vessel", "own", "time", "number", "range", "repeat")
    assert min(summary[f"delta {reason}"] for reason in reasons) > 5
