"""Keys of rigs, boards, attached rods and dials: what they load as, and how a wrong one is refused."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from assistant import config
from assistant.config import ConfigError
from assistant.configured import Attached, Coefficient

RIGS = Path(__file__).resolve().parents[1] / "lines/every_rig/spread.toml"
FT = 0.3048


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A directory of a user's own, with every kind of rig."""
    shutil.copy(RIGS, tmp_path / "spread.toml")
    return tmp_path


def test_what_the_keys_load_as(mine: Path) -> None:
    (mine / "boat.toml").write_text(
        'id = "a"\ntitle = "A"\nfleas_mm_per_hour = { value = 0.1, low = 0.05, high = 0.3, source = "a guess" }\n'
    )
    loaded = config.load(mine)
    rods = {rod.name: rod for rod in loaded.rods}
    assert loaded.boat.fleas_mm_per_hour == Coefficient(0.1, 0.05, 0.3, "a guess")
    large = rods["large"]
    assert (large.rod_length_m, large.holder_angle_deg, large.spring_n_m, large.drag_slip_n) == (
        pytest.approx(8.5 * FT), 20.0, 150.0, 45.0,
    )  # fmt: skip
    assert rods["mini"].rod_length_m is None
    core = rods["colours"].rig[1]
    assert core.length_m == pytest.approx(5.5 * 30 * FT) and core.counted
    assert rods["topshot"].rig[1].counted and not rods["topshot"].rig[3].counted
    assert rods["labels"].rig[1].setting == "A"
    assert rods["second"].attached == Attached("rigger", pytest.approx(20 * FT))
    assert rods["slider"].attached == Attached("rigger", None)
    assert rods["slider"].tip_starboard_m == rods["rigger"].tip_starboard_m == 1.5
    board = rods["board"].board
    assert board is not None
    assert (board.out_m, board.aft_m, board.sag_m_per_n.value) == (
        pytest.approx(60 * FT),
        pytest.approx(5 * FT),
        0.25,
    )
    assert loaded.bodies["disc-sliding"].slides and not loaded.bodies["disc-standard"].slides
    assert loaded.bodies["disc-labels"].settings == {"0": 0, "1": 15, "2": 30, "3": 45, "A": 22, "B": 37}


WRONG = (
    ('length = "160 ft", counted = true', 'length = "160 ft", counted = 1', "rig[2].counted = 1: want true or false"),
    ("colours = 5.5", "colours = 0", "rig[2].colours = 0: want a number 0.1..40"),
    ("colours = 5.5", 'colours = 5.5, length = "9 ft"', "either length or colours"),
    ("colours = 5.5", "colours = 5.5, counted = false", "colours are always counted"),
    ('{ line = "mono-20", length = "5 ft" }', '{ line = "mono-20", length = "5 ft", counted = true }', "right below"),
    ('{ line = "braid-50" },', '{ line = "braid-50", counted = true },', "rig[1].counted = True: the main line is"),
    ('{ body = "fly" }', '{ body = "fly", counted = true }', "a body has no length"),
    ('setting = "A"', 'setting = "Z"', "setting = 'Z': want one of 0, 1, 2, 3, A, B on the dial of disc-labels"),
    ('setting = "A"', "setting = 5", "setting = 5: want one of 0, 1"),
    ('"disc-labels", setting = "A"', '"disc-labels"', "setting is missing: want one of"),
    ('"disc-straight"', '"disc-straight", setting = 1', "disc-straight runs straight"),
    ('above = "20 ft"', 'above = "20 ft", half_way = true', "either above = ... or half_way"),
    (', above = "20 ft"', "", "either above = ... or half_way"),
    ('{ rod = "rigger", half_way = true }', '"rigger"', "attached = 'rigger': want { rod"),
    ('rod = "rigger", half_way', 'rod = "riger", half_way', 'no such rod; did you mean "rigger"'),
    ('rod = "rigger", half_way', 'rod = "second", half_way', "runs from its own tip"),
    ('rod = "rigger", half_way', 'rod = "slider", half_way', "runs from its own tip"),
    ('line_out = "6 ft"', 'line_out = "6 ft"\ncounter_zero = "surface"', "an attached rod hangs on another's line"),
    ('out = "60 ft"', 'out = "600 ft"', "board.out = '600 ft'"),
    ('aft = "5 ft", ', "", "board.aft is missing"),
    ("sag_m_per_n = { value = 0.25", "sag_m_per_n = { value = 25", "want a number 0..10 m/N"),
    ('board = { out = "60 ft"', 'board = 3 #', "board = 3: want { out"),
    ("spring_n_m = 150", "spring_n_m = 0", "spring_n_m = 0: want a number 1..100000 N/m"),
    ('rod_length = "8.5 ft"', 'rod_length = 8.5', "rod_length = 8.5"),
    ('starboard = "0.7 m"', 'starboard = "0.1 m"', "0.10 m from the tip of colours"),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), WRONG, ids=[new for _, new, _ in WRONG])
def test_a_wrong_key_is_refused_by_name(mine: Path, old: str, new: str, says: str) -> None:
    text = (mine / "spread.toml").read_text()
    assert old in text
    (mine / "spread.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(ConfigError) as caught:
        config.load(mine)
    assert says in str(caught.value)
    assert "spread.toml" in str(caught.value)


def test_eight_pieces_of_line_are_too_many(mine: Path) -> None:
    text = (mine / "spread.toml").read_text()
    more = '    { line = "mono-20", length = "1 ft" },\n' * 5
    (mine / "spread.toml").write_text(
        text.replace('    { body = "spoon" },\n', more + '    { body = "spoon" },\n', 1)
    )
    with pytest.raises(ConfigError, match="8 lines"):
        config.load(mine)


def test_a_board_amidships_has_no_side(mine: Path) -> None:
    text = (mine / "spread.toml").read_text()
    head, board = text.split('name = "board"')
    (mine / "spread.toml").write_text(
        head + 'name = "board"' + board.replace('side = "port"', 'side = "centre"', 1)
    )
    with pytest.raises(ConfigError, match="a side board needs side"):
        config.load(mine)


@pytest.mark.parametrize(
    ("body", "old", "new", "says"),
    [
        ("disc-labels", 'settings = { "0" = 0', 'settings = { "0" = 100', "want a number 0..89 degrees"),
        ("disc-labels", 'settings = { "0" = 0', 'settings = { "a b" = 0', "want a label"),
        ("disc-labels", "settings = {", "setting_min = 0.0\nsettings = {", "keep one of the two"),
        ("disc-labels", "[roll_factor]", "[roll_faktor]", 'did you mean "roll_factor"'),
        ("disc-sliding", "slides = true", "slides = 1", "slides = 1: want true or false"),
        ("disc-sliding", "[roll_per_setting_deg]", "[roll_per_settings_deg]", "roll_per_setting_deg"),
        ("plug-diving", "[down_area_m2]", "[up_area_m2]", "down_area_m2"),
    ],
)  # fmt: skip
def test_a_wrong_dial_or_body_is_refused(mine: Path, body: str, old: str, new: str, says: str) -> None:
    text = (config.default_dir() / "bodies" / f"{body}.toml").read_text()
    assert old in text
    (mine / "bodies").mkdir()
    (mine / "bodies" / f"{body}.toml").write_text(text.replace(old, new, 1))
    with pytest.raises(ConfigError, match=re.escape(says)):
        config.load(mine)


def test_a_line_without_strumming_does_not_strum(mine: Path) -> None:
    text = (config.default_dir() / "lines/braid-30.toml").read_text()
    start, end = text.index("[strumming]"), text.index("[tangential_drag]")
    (mine / "lines").mkdir()
    (mine / "lines/braid-30.toml").write_text(text[:start] + text[end:])
    assert "strumming" not in config.load(mine).lines["braid-30"].coefficients
