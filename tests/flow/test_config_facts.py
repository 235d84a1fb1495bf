"""facts.toml: whose is taken, and that what is wrong in it is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import config
from assistant.config import ConfigError
from assistant.config_facts import named

GOOD = """
[[fact]]
about = "mini disc"
rig = [
    { line = "braid-30" }, { body = "disc-mini", setting = 2.0 },
    { line = "mono-20", length = "8 ft" }, { body = "spoon" },
]
line_out = "100 ft"
setting = [1.5, 2.5]
speed = ["2.0 mph", "1.2 m/s"]
depth = { value = "30 ft", low = "25 ft", high = "35 ft", source = "made up for this test" }
"""
DEPTH = GOOD.strip().splitlines()[-1]


def mine(folder: Path, text: str) -> Path:
    """A configuration with facts of its own."""
    (folder / "facts.toml").write_text(text)
    return folder


def test_packaged_facts_speak_of_packaged_gear_only(tmp_path: Path) -> None:
    packaged = config.load().facts
    assert len(packaged) >= 2 and all(fact.says.source for fact in packaged)
    (tmp_path / "bodies").mkdir()
    disc = (config.default_dir() / "bodies" / "disc-large.toml").read_text()
    (tmp_path / "bodies" / "disc-large.toml").write_text(disc)
    left = config.load(tmp_path).facts
    assert left == tuple(fact for fact in packaged if "disc-large" not in named(fact)) != packaged
    (tmp_path / "bodies" / "disc-large.toml").rename(tmp_path / "bodies" / "disc-of-mine.toml")
    assert config.load(tmp_path).facts == packaged  # a new disc has no fact and takes none away


def test_own_facts_take_the_place_of_the_packaged(tmp_path: Path) -> None:
    (fact,) = config.load(mine(tmp_path, GOOD)).facts
    assert fact.says.value == pytest.approx(9.144)
    assert fact.speed_mps == pytest.approx((0.89408, 1.2))
    assert fact.setting == (1.5, 2.5) and fact.lures == ("spoon",)
    taped = 'counter = { value = 0.9, low = 0.89, high = 0.91, source = "taped" }\nline_out'
    (fact,) = config.load(mine(tmp_path, GOOD.replace("line_out", taped, 1))).facts
    assert fact.rod.counter.low == 0.89
    assert config.load(mine(tmp_path, "")).facts == ()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"2.0 mph"', '"2.0"', "mph"),
        ('"2.0 mph"', '"9 mph"', "0.2..4 m/s"),
        ('["2.0 mph", "1.2 m/s"]', '["1.2 m/s", "2.0 mph"]', "least first"),
        ("[1.5, 2.5]", "[2.5, 3.0]", "around the setting"),
        ("[1.5, 2.5]", '["A", "B"]', "setting"),
        ('"disc-mini"', '"disc-minor"', "disc-mini"),
        ('about = "mini disc"', 'lures = ["spoons"]\nabout = "mini disc"', "spoon"),
        ('low = "25 ft"', 'low = "31 ft"', "low <= value"),
        ('low = "25 ft"', 'low = "30 ft"', "nothing is told exactly"),
        ("depth =", "ratio =", "depth"),
        ("depth =", 'instead = { lure = "plug" }\ndepth =', "ratio"),
        (
            DEPTH,
            'instead = { lure = "plugs" }\nratio = { value = 1, low = 0.9, high = 1.1, source = "made up" }',
            "plug",
        ),
        ("depth =", "instead = 3\nratio =", "instead"),
        (
            "line_out",
            'counter = { value = 1.0, low = 0.2, high = 1.0, source = "made up" }\nline_out',
            "0.5..1.5",
        ),
        ("line_out", "lineout", "line_out"),
        ("[[fact]]", "[[facts]]", "fact"),
        ("[[fact]]", "[fact]", "[[fact]]"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = GOOD.replace(old, new, 1)
    assert text != GOOD
    with pytest.raises(ConfigError) as error:
        config.load(mine(tmp_path, text))
    assert "facts.toml" in str(error.value) and says in str(error.value)
