"""The direction of imports and the purity of the brain, read from the source without running it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("assistant", "firmware_bridge", "sim")

# The quiet-spell judge, pure in a folder that is not.
QUIET = (
    "quantities",
    "rates",
    "claims",
    "effort",
    "causes",
    "cheapest",
    "quiet",
    "quiet_words",
    "twins",
    "minutes",
    "day_claims",
    "growing",
    "deep_water",
    "suspects",
    "lull",
)

# The arithmetic of calibrating, pure beside what reads and writes.
CALIBRATE = ("evidence", "solve", "legs", "outcome", "speed", "compass", "latency", "sounder", "counter")

# Who may import whom of ours: the longest matching prefix on the left decides.
BASE = ("assistant.messages", "assistant.configured", "assistant.units")
MAY_IMPORT: dict[str, tuple[str, ...]] = {
    "assistant.messages": (),
    "assistant.configured": ("assistant.messages",),
    "assistant.units": (),
    "assistant.config": (
        *BASE,
        "assistant.config_alerts",
        "assistant.config_below",
        "assistant.config_calibration",
        "assistant.config_facts",
        "assistant.config_files",
        "assistant.config_keys",
        "assistant.config_reels",
        "assistant.config_spread",
        "assistant.config_tow",
    ),
    "assistant.sensing": (*BASE, "assistant.sensing"),
    "assistant.estimate": (*BASE, "assistant.estimate", "assistant.sensing"),
    "assistant.lines": (*BASE, "assistant.lines"),
    "assistant.lines.cases": (*BASE, "assistant.lines"),
    "assistant.lines.bench": (*BASE, "assistant.lines", "assistant.config"),
    "assistant.ahead": (*BASE, "assistant.ahead", "assistant.lines"),
    "assistant.alerts": (*BASE, "assistant.alerts", "assistant.ahead"),
    "assistant.frame": BASE,
    "assistant.payloads": (*BASE, "assistant.panel"),
    "assistant.panel": BASE,
    "assistant.deltas": (*BASE, "assistant.payloads"),
    "assistant.locate": (*BASE, "assistant.sensing", "assistant.estimate"),
    "assistant.pipeline": (
        *BASE,
        "assistant.locate",
        "assistant.lines",
        "assistant.ahead",
        "assistant.alerts",
        "assistant.frame",
        "assistant.outings.unnamed",
        *(f"assistant.outings.{name}" for name in QUIET),
    ),
    "assistant.outings.unnamed": (*BASE, "assistant.lines", "assistant.outings.lull"),
    **{
        f"assistant.outings.{name}": (*BASE, *(f"assistant.outings.{other}" for other in QUIET))
        for name in QUIET
    },
    "assistant.web": (*BASE, "assistant.web", "assistant.payloads", "assistant.deltas", "assistant.panel"),
    "assistant": ("assistant", "firmware_bridge"),  # the shells: daemon, replay, demo, bench, __main__
    "firmware_bridge": ("assistant.messages", "firmware_bridge"),
    "sim": (*BASE, "sim"),
}

PURE = (
    "assistant.messages",
    "assistant.configured",
    "assistant.units",
    "assistant.sensing",
    "assistant.estimate",
    "assistant.ahead",
    "assistant.lines",
    "assistant.alerts",
    "assistant.frame",
    "assistant.payloads",
    "assistant.deltas",
    "assistant.panel",
    "assistant.locate",
    "assistant.pipeline",
    "assistant.notes",
    "assistant.typed",
    *(f"assistant.calibrate.{name}" for name in CALIBRATE),
    "assistant.outings.plain",
    "assistant.outings.records",
    "assistant.outings.entries",
)
SHELLS = ("assistant.lines.cases", "assistant.lines.bench", "assistant.lines.peer")  # around pure code
IMPURE = {
    *("asyncio", "socket", "serial", "time", "datetime", "random"),
    *("os", "pathlib", "logging", "sqlite3", "threading", "subprocess"),
}


def module_of(file: Path) -> str:
    """assistant/lines/spread.py -> assistant.lines.spread"""
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(source: str) -> Iterator[str]:
    """Every module a source text imports, wherever in it; `from a import b` gives a and a.b."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide the direction"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def within(module: str, prefix: str) -> bool:
    """Whether a module is `prefix` or lies under it."""
    return module == prefix or module.startswith(prefix + ".")


def is_pure(module: str) -> bool:
    """Whether purity is asked of a module."""
    return any(within(module, pure) for pure in PURE) and module not in SHELLS


def wrong_imports(module: str, source: str) -> list[str]:
    """What a module imports against the direction or against its purity."""
    owner = max((name for name in MAY_IMPORT if within(module, name)), key=len)
    wrong = []
    for name in imported(source):
        ours = name.split(".")[0] in (*PACKAGES, "tests")
        if ours and not any(within(name, allowed) for allowed in MAY_IMPORT[owner]):
            wrong.append(f"{module} imports {name}")
        if is_pure(module) and name.split(".")[0] in IMPURE:
            wrong.append(f"{module} is pure and imports {name}")
    return wrong


FILES = sorted(file for package in PACKAGES for file in (ROOT / package).rglob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=[module_of(file) for file in FILES])
def test_imports_go_one_way(file: Path) -> None:
    assert wrong_imports(module_of(file), file.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("assistant.lines.spread", "import time"),
        ("assistant.sensing.nmea", "def f():\n    from datetime import datetime"),
        ("assistant.lines.kernel", "from assistant import pipeline"),
        ("assistant.estimate.boat", "from assistant.lines.spread import advance"),
        ("assistant.pipeline", "import asyncio.queues"),
        ("assistant.daemon", "import sim.boat"),
        ("firmware_bridge.mqtt", "from assistant.units import FOOT_M"),
        ("sim.towing", "from assistant.lines import steady"),
        ("sim.boat", "import assistant.config"),
    ],
)
def test_the_test_sees_a_wrong_import(module: str, source: str) -> None:
    assert len(wrong_imports(module, source)) == 1
