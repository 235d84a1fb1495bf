"""alerts.toml: what the captain wants loads in SI; a bad one is refused with file, key, value and what is allowed."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from assistant import config
from assistant.config import ConfigError
from assistant.configured import AlertLimits

GOOD = """
lure_slow = "1.6 mph"
lure_fast = "3 mph"
off_bottom = "5 ft"
apart = "4 ft"
headings = [[180, 260], [350, 40]]
wanted = [
    { rod = "C", from = "40 ft", to = "50 ft" },
    { rod = "W", from = "10 m", to = "14 m" },
]
"""


def load(directory: Path, text: str) -> config.Config:
    """The packaged configuration with this file."""
    (directory / "alerts.toml").write_text(text, encoding="utf-8")
    return config.load(directory)


def test_without_it_nothing_is_judged() -> None:
    assert config.load().alerts == AlertLimits()


def test_it_loads(tmp_path: Path) -> None:
    found = load(tmp_path, GOOD).alerts
    assert found.lure_slow_mps == pytest.approx(1.6 * 0.44704)  # mile and foot of 1959, exact
    assert found.lure_fast_mps == pytest.approx(3.0 * 0.44704)
    assert found.wanted_m == {"C": pytest.approx((12.192, 15.24)), "W": pytest.approx((10.0, 14.0))}
    assert (found.off_bottom_m, found.apart_m) == pytest.approx((1.524, 1.2192))
    assert [math.degrees(end) for pair in found.headings_rad for end in pair] == pytest.approx(
        [180, 260, 350, 40]
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("lure_slow", "lure_slwo", 'did you mean "lure_slow"'),
        ('"1.6 mph"', "1.6", "want a speed such as 2.4 mph"),
        ('"1.6 mph"', '"16 mph"', "0.1..5 m/s"),
        ('"1.6 mph"', '"4 mph"', "want more than lure_slow"),
        ('rod = "C"', 'rod = "Q"', "no such rod"),
        ('rod = "W"', 'rod = "C"', "named twice"),
        ('to = "50 ft"', 'to = "30 ft"', "want deeper than from"),
        ('to = "50 ft"', 'to = "50"', "a length with its unit"),
        (', to = "14 m"', "", "to is missing"),
        ("wanted = [", "wanted = 3\nx = [", "want a list such as"),
        ('off_bottom = "5 ft"', 'off_bottom = "500 ft"', "off_bottom"),
        ("[[180, 260]", "[[180, 361]", "want a list of pairs in degrees"),
        ("[[180, 260]", "[[180]", "want a list of pairs in degrees"),
    ],
)
def test_a_bad_one_is_refused(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert old in GOOD
    with pytest.raises(ConfigError) as refused:
        load(tmp_path, GOOD.replace(old, new, 1))
    assert told in str(refused.value) and "alerts.toml" in str(refused.value)
