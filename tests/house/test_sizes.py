"""Files and functions stay small enough to read in one go."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted(
    file for package in ("assistant", "firmware_bridge", "sim") for file in (ROOT / package).rglob("*.py")
)
FILE_LINES = 400
FUNCTION_LINES = 60


@pytest.mark.parametrize("file", FILES, ids=[str(file.relative_to(ROOT)) for file in FILES])
def test_file_and_functions_are_small(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count("\n") <= FILE_LINES
    long = [
        f"{node.name}: {node.end_lineno - node.lineno + 1} lines"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno is not None
        and node.end_lineno - node.lineno + 1 > FUNCTION_LINES
    ]
    assert long == []


def test_no_catch_all_modules() -> None:
    names = {file.stem for file in FILES}
    assert not names & {"utils", "helpers", "common", "misc", "manager"}


def test_no_empty_packages() -> None:
    """A folder exists only with working code in it."""
    for init in (file for file in FILES if file.name == "__init__.py"):
        assert any(file.parent == init.parent and file != init for file in FILES), init
