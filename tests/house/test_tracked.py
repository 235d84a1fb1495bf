"""Nothing in the repository names a machine, a package registry, or is too big to be source."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

# Written in pieces so that this file does not find itself.
FORBIDDEN = re.compile(
    "|".join(
        [
            r"(?<![\w.])/(?:home|Users|root|farm|work)/\w",
            "/tmp/" + r"\w",
            "python" + "hosted",
            "py" + r"pi\.org",
            r"registry\." + "npm",
            r"deb\." + "debian",
            r"files\." + "python",
        ]
    )
)


def tracked(root: Path) -> list[Path]:
    """Every tracked file that is on disk; the test skips outside a git checkout."""
    listing = subprocess.run(["git", "ls-files", "-z"], cwd=root, capture_output=True, text=True, check=False)
    if listing.returncode:
        pytest.skip("not a git checkout: nothing is tracked")
    files = [root / name for name in listing.stdout.split("\0") if name]
    return [file for file in files if file.is_file()]


def test_no_machine_paths_or_registries(root: Path) -> None:
    found = []
    for file in tracked(root):
        try:
            text = file.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
        lines = enumerate(text.splitlines(), 1)
        found += [f"{file.relative_to(root)}:{n}: {line[:80]}" for n, line in lines if FORBIDDEN.search(line)]
    assert found == []


def test_the_pattern_finds_what_it_should() -> None:
    assert FORBIDDEN.search("open('/" + "home/x/y')")
    assert FORBIDDEN.search("https://" + "py" + "pi.org/simple")
    assert not FORBIDDEN.search("a network/working path, framework/x")


def test_no_big_files(root: Path) -> None:
    assert [file.name for file in tracked(root) if file.stat().st_size > 1_000_000] == []


def test_no_recorded_logs(root: Path) -> None:
    """Recorded logs stay in the shared folder."""
    assert [file.name for file in tracked(root) if file.suffix in {".nmea", ".log"}] == []
