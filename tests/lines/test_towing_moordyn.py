"""A random course against MoorDyn, an independent explicit code, run live: short form of the campaign."""

from __future__ import annotations

import importlib.util
import os

import pytest

if importlib.util.find_spec("moordyn") is None and not os.environ.get("CI"):
    pytest.skip("moordyn is not installed: pip install 'spreadwatch[test]'", allow_module_level=True)

import towing_moordyn


def test_a_random_course_agrees_with_moordyn() -> None:
    found = towing_moordyn.run(seed=1, n=1)
    assert found["compared"] == 1, found["unsolved"]
    assert found["outside"] == []
