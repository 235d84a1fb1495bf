"""ruff and mypy --strict find nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.parametrize(
    "tool", [("ruff", "check", "--output-format", "concise", "."), ("mypy",)], ids=["ruff", "mypy"]
)
def test_tool_finds_nothing(tool: tuple[str, ...], root: Path) -> None:
    run = subprocess.run([sys.executable, "-m", *tool], cwd=root, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
