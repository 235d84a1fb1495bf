"""The boat's answer to the helm, kept between outings: read back as written, and from rubbish what all begin with."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.ahead.learning import Learned
from assistant.response_file import file_of, read, write


def test_it_is_read_as_it_was_written(tmp_path: Path) -> None:
    file = file_of(tmp_path / "outings", "marigold")
    assert read(file) == Learned()
    write(file, Learned(3.25, 0.5, 7, straight_s=40.0, before_mps=1.0))
    assert read(file) == Learned(3.25, 0.5, 7)  # what the turn under way has shown is of today only
    write(file, Learned(3.0, 0.4, 8))
    assert read(file) == Learned(3.0, 0.4, 8)
    assert [found.name for found in file.parent.iterdir()] == ["answer-marigold.json"]


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", '{"loss_s": 3}', '{"loss_s": NaN, "sigma_s": 1, "turns": 2}',
        '{"loss_s": -1, "sigma_s": 1, "turns": 2}', '{"loss_s": 3, "sigma_s": 0, "turns": 2}',
        '{"loss_s": 3, "sigma_s": 1, "turns": -2}', '{"loss_s": "x", "sigma_s": 1, "turns": 2}',
        '{"loss_s": 1e400, "sigma_s": 1, "turns": 2}', '{"loss_s": 1, "sigma_s": 1, "turns": Infinity}', 9000 * "[",
    ],
)  # fmt: skip
def test_from_nonsense_all_begin_anew(tmp_path: Path, text: str) -> None:
    file = tmp_path / "answer-x.json"
    file.write_text(text)
    assert read(file) == Learned()


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_no_file_stops_a_start(tmp_path_factory: pytest.TempPathFactory, rubbish: bytes) -> None:
    file = tmp_path_factory.mktemp("kept") / "answer-x.json"
    file.write_bytes(rubbish)
    assert read(file).sigma_s > 0.0
