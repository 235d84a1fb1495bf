"""Short form of tests/campaigns/flood.py: noise without a line end, and a serial port pulled out and put back."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path


def test_noise_without_a_line_end_and_a_port_pulled_out(root: Path) -> None:
    run = [sys.executable, "tests/campaigns/flood.py", "--seed", "3", "--n", "8", "--megabytes", "50"]
    done = subprocess.run(run, cwd=root, capture_output=True, text=True, check=True, timeout=120)
    found = json.loads(done.stdout.splitlines()[-1])
    noise, serial = found["no_newline"], found["serial"]
    assert noise["grown_mb"] <= 10.0
    assert (noise["heard_in_noise"], noise["heard_after"]) == (0, 1)
    assert (serial["late"], serial["descriptors_more"]) == (0, 0)
