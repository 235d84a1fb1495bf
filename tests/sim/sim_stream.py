"""Tools for the simulator's tests: run a scenario in this process, write one, read what came out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from sim.__main__ import main


def play(
    folder: Path, scenario: str | Path, *more: str, truth: bool = False
) -> tuple[list[str], list[dict[str, Any]]]:
    """Play into a file; returns the sentences, without line ends, and the lines of truth."""
    log, out = folder / "log.nmea", folder / "truth.jsonl"
    given = [str(scenario), "--to", f"file:{log}", *(["--truth", str(out)] if truth else []), *more]
    assert main(given) == 0
    data = log.read_bytes()
    assert data == b"" or data.endswith(b"\r\n")
    lines = [json.loads(line) for line in out.read_text().splitlines()] if truth else []
    return data.decode("latin-1").split("\r\n")[:-1], lines


CALM = """
[boat]
wave_surge_mps = 0.0
yaw_sigma_deg_s = 0.0
"""

EXACT = """
[instruments]
log_resolution_kn = 0.0
log_sigma_mps = 0.0
compass_sigma_deg = 0.0
gps_velocity_sigma_mps = 0.0
gps_position_sigma_m = 0.0
depth_sigma_m = 0.0
temp_sigma_c = 0.0
"""

LEGS = """
legs = [{ duration_s = 30, speed_mph = 2.0, heading_deg = 90 }, { duration_s = 30, speed_mph = 2.0, turn_deg_s = 3.0 }]
"""


def write(folder: Path, text: str) -> Path:
    """A scenario file."""
    path = folder / "one.toml"
    path.write_text(text, encoding="utf-8")
    return path
