"""`transducers` in boat.toml: loads in SI; a wrong one is refused with file, key, value and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import config
from assistant.config import ConfigError
from assistant.configured import Transducer


def load(directory: Path, lines: str) -> config.Config:
    """The packaged configuration with these transducers."""
    text = f'id = "x"\ntitle = "X"\n{lines}\n'
    (directory / "boat.toml").write_text(text, encoding="utf-8")
    return config.load(directory)


def test_transducers_load_in_si(tmp_path: Path) -> None:
    text = (
        'transducers = { BALL = { rod = "R1", depth = "70 ft", speed_unit = "mph" }, CELL = { rod = "P1" } }'
    )
    got = load(tmp_path, text).boat.transducers
    ball = got["BALL"]
    assert (ball.rod, ball.depth_m, ball.speed_unit_mps) == ("R1", pytest.approx(21.336), 0.44704)
    assert got["CELL"] == Transducer("P1")
    assert config.load().boat.transducers == {}


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("transducers = 3", "want a table of at most 40"),
        ("transducers = { BALL = 3 }", "transducers.BALL = 3: want a table"),
        ('transducers = { BALL = { rod = "Q9" } }', "transducers.BALL.rod = 'Q9': no such rod"),
        ("transducers = { BALL = { } }", "transducers.BALL.rod is missing"),
        ('transducers = { "A#B" = { rod = "R1" } }', "want the name in the sentence"),
        ('transducers = { B = { rod = "R1", depth = "70" } }', "want a length with its unit"),
        ('transducers = { B = { rod = "R1", speed_unit = "furlong" } }', 'want one of "m/s", "mph"'),
        ('transducers = { B = { rod = "R1", unit = "mph" } }', "transducers.B.unit = 'mph': no such key"),
    ],
)
def test_a_wrong_one_is_refused(tmp_path: Path, lines: str, said: str) -> None:
    with pytest.raises(ConfigError) as refused:
        load(tmp_path, lines)
    assert said in str(refused.value) and "boat.toml" in str(refused.value)
