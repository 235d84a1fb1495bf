"""Short forms of the campaigns of the estimate, run as their commands; what they hold and against what: see there."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any


def run(root: Path, script: str, *arguments: str) -> dict[str, Any]:
    """The campaign's JSON object; its exit code must be 0."""
    command = [sys.executable, str(root / "tests" / "campaigns" / script), *arguments]
    result = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert result.returncode == 0, result.stdout[-2000:] + result.stderr[-2000:]
    found: dict[str, Any] = json.loads(result.stdout.splitlines()[-1])
    return found


def test_two_clean_simulated_days_are_ok_days(root: Path) -> None:
    found = run(root, "sigma_honesty.py", "--seed", "3", "--n", "2", "--seconds", "200")
    assert found["frames"] > 1000 and found["turns"] >= 2
    # two days draw two deviations and two factors only: far errors must be rare, the share near 68 % needs many days
    assert max(found["beyond_3.2_sigma"].values()) <= 0.01


def test_a_speed_log_in_trouble_is_flagged_and_one_at_rest_is_not(root: Path) -> None:
    found = run(root, "stuck_log.py", "--seed", "2", "--n", "1", "--hours", "0.5")
    assert set(found["delays"]) >= {"weed", "weed gone", "frozen", "60 % low"}
    assert found["long_day"]["ok"] > 0.98


def test_faults_of_the_instruments_are_shown_honestly(root: Path) -> None:
    found = run(root, "faults.py", "--seed", "11", "--n", "12")
    assert len(found["matrix"]) >= 5
    assert found["ok_values"] > 30_000


def test_each_degraded_mode_is_named_and_wider(root: Path) -> None:
    found = run(root, "degraded.py", "--seed", "5", "--n", "1")
    assert {row["mode"] for row in found["rows"]} >= {
        "no speed log",
        "no heading",
        "no GPS",
        "only GPS",
        "all silent",
    }
    assert all(row["wider"]["stw_mps"] > 1.5 for row in found["rows"] if row["mode"] == "no speed log")


def test_recorded_logs_come_to_what_they_came_to_before(shared: Path, root: Path) -> None:
    """All of them, minute by minute. Their speed-log factors are those of the README beside them."""
    found = run(root, "real_logs.py")
    files = [path for path in (shared / "nmea").iterdir() if path.suffix in (".nmea", ".log")]
    assert len(found["logs"]) == len(files) + 1  # one of them also with its checksums ignored
    assert found["changes"] == 0 and not found["failures"]
