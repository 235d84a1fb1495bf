"""Every physical number of configs/ has a source and an honest band; read from the files themselves."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted((ROOT / "configs/lines").glob("*.toml")) + sorted((ROOT / "configs/bodies").glob("*.toml"))


@pytest.mark.parametrize("file", FILES, ids=[f"{file.parent.name}/{file.stem}" for file in FILES])
def test_every_coefficient_has_source_and_band(file: Path) -> None:
    table = tomllib.loads(file.read_text(encoding="utf-8"))
    labels = table.pop("settings", {})
    assert all(isinstance(angle, int | float) for angle in labels.values())  # their error is roll_factor's
    coefficients = {name: row for name, row in table.items() if isinstance(row, dict)}
    loose = {name for name, raw in table.items() if not isinstance(raw, dict)}
    assert loose <= {
        "about",
        "family",
        "kind",
        "setting_min",
        "setting_max",
        "slides",
    }  # the dial's marks are counted, not measured
    assert coefficients
    for name, row in coefficients.items():
        assert set(row) == {"value", "low", "high", "source"}, name
        assert row["low"] <= row["value"] <= row["high"], name
        assert row["low"] < row["high"], f"{name}: a band of no width is no honest band"
        assert len(row["source"].strip()) >= 10, name


def test_there_are_files() -> None:
    assert len(FILES) >= 15
