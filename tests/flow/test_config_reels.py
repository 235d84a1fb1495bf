"""reels.toml: a register loads in SI; a bad one is refused with file, key, value and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import config
from assistant.config import ConfigError

GOOD = """
[[reel]]
name = "port planer reel"
rod = "P2"
line = "braid-30"
spooled = 2025-04-12
cut_back = 2026-04-20
turn = "0.5 ft"
width = "1.8 in"
marks = [
    { counter = "50 ft", true = "43 ft", date = 2026-05-02 },
    { counter = "100 ft", true = "85 ft", date = 2026-05-02, sigma = "0.5 ft" },
]

[[reel]]
name = "spare"
line = "wire-30"
spooled = 2026-03-01
"""


def load(directory: Path, text: str) -> config.Config:
    """The packaged configuration with this register."""
    (directory / "reels.toml").write_text(text, encoding="utf-8")
    return config.load(directory)


def test_without_a_register_there_are_no_reels() -> None:
    assert config.load().reels == ()


def test_a_register_loads(tmp_path: Path) -> None:
    first, spare = load(tmp_path, GOOD).reels
    assert (first.rod, first.line, first.spooled, first.cut_back) == (
        "P2",
        "braid-30",
        "2025-04-12",
        "2026-04-20",
    )
    assert first.turn_m == pytest.approx(0.1524)
    assert first.width_m == pytest.approx(0.04572)
    assert first.marks[0].counter_m == pytest.approx(15.24)
    assert first.marks[0].true_m == pytest.approx(13.1064)
    assert [mark.sigma_m for mark in first.marks] == pytest.approx([0.3, 0.1524])
    assert spare.rod is None and spare.marks == ()


BAD = (
    ("misspelt key", "cut_back", "cutback", ('did you mean "cut_back"',)),
    ("misspelt mark key", "true = ", "treu = ", ("treu = '43 ft': no such key; did you mean \"true\"",)),
    (
        "mark without a date",
        ", date = 2026-05-02 },",
        " },",
        ("marks[1].date is missing", "when it was taped"),
    ),
    ("length without unit", '"43 ft"', "43", ("marks[1].true = 43", "ft, m, yd, in")),
    ("length out of range", '"50 ft"', '"5000 ft"', ("marks[1].counter = '5000 ft'", "1..600 m")),
    ("true and counter swapped", '"43 ft"', '"143 ft"', ("true = '143 ft'", "7.6..22.9 m", "swapped")),
    ("date in quotes", "2025-04-12", '"2025-04-12"', ("spooled = '2025-04-12'", "without quotes")),
    ("date and time", "2025-04-12", "2025-04-12T10:00:00", ("reel[1].spooled", "want a date")),
    ("cut back before spooled", "2026-04-20", "2024-04-20", ("cut_back = '2024-04-20'", "2025-04-12")),
    ("unknown line", '"braid-30"', '"braid-31"', ("reel[1].line = 'braid-31'", 'did you mean "braid-30"')),
    (
        "line not on that rod",
        '"braid-30"',
        '"wire-30"',
        ("reel[1].line = 'wire-30'", "rod P2 is rigged with"),
    ),
    ("unknown rod", '"P2"', '"P9"', ("reel[1].rod = 'P9'", "no such rod")),
    ("name twice", '"spare"', '"port planer reel"', ("reel[2].name", "taken by another reel")),
    ("rod twice", 'line = "wire-30"', 'rod = "P2"\nline = "braid-30"', ("reel[2].rod = 'P2'", "taken")),
    ("marks no list", "marks = [", "marks = 3\nx = [", ("reel[1].marks = 3", "want a list")),
    ("reel a table", "[[reel]]", "[other]\n[[reel]]", ("other = {}", 'did you mean "reel"|known: reel')),
    ("spool wider than a boat", '"1.8 in"', '"18 yd"', ("reel[1].width", "0.01..0.3 m")),
)


@pytest.mark.parametrize(("what", "old", "new", "says"), BAD, ids=[row[0] for row in BAD])
def test_a_bad_register_is_refused(
    tmp_path: Path, what: str, old: str, new: str, says: tuple[str, ...]
) -> None:
    assert old in GOOD, what
    with pytest.raises(ConfigError) as caught:
        load(tmp_path, GOOD.replace(old, new, 1))
    text = str(caught.value)
    assert "reels.toml" in text
    for words in says:
        assert any(word in text for word in words.split("|")), text


def test_all_problems_at_once(tmp_path: Path) -> None:
    bad = GOOD.replace('"43 ft"', '"143 ft"').replace("cut_back", "cutback").replace('"wire-30"', '"wires"')
    with pytest.raises(ConfigError) as caught:
        load(tmp_path, bad)
    assert len(caught.value.problems) == 3
