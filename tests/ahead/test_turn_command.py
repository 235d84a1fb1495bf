"""`spreadwatch turn`: what is asked, what is refused, and that text and JSON say the same."""

from __future__ import annotations

import json
import math

import pytest
from ahead_tools import only, shipped
from click.testing import CliRunner

from assistant.__main__ import main
from assistant.errors import OptionError
from assistant.turn import answer


def test_text_and_json_say_the_same() -> None:
    loaded = only("P1", "S1", "W")
    text = answer(loaded, "port", 90.0, 2.0, "2.4mph", as_json=False)
    said = json.loads(answer(loaded, "port", 90.0, 2.0, "2.4mph", as_json=True))
    assert said["speed_mps"] == pytest.approx(2.4 * 0.44704)
    assert said["seconds"] == pytest.approx(45.0 + 120.0, abs=4.0)
    assert max(len(line) for line in text.splitlines()) <= 80
    for name, rod in said["rods"].items():
        row = next(line for line in text.splitlines() if line.startswith(f"{name} "))
        assert row.split()[1] == f"{rod['depth_m']['value'] / 0.3048:.0f}"
        assert f"{rod['sink_m']['value'] / 0.3048:.0f} (" in row
        other = rod["nearest"]["rod"]
        assert f"{other} {rod['nearest']['gap_m']['value'] / 0.3048:.0f} (" in row


def test_twins_mirror() -> None:
    """What P1 does in a turn to port, S1 does in one to starboard: no heading is asked, no side preferred."""
    port, starboard = (
        json.loads(answer(only("P1", "S1"), side, 120.0, 3.0, None, as_json=True))["rods"]
        for side in ("port", "starboard")
    )
    for key in ("sink_m", "rise_m", "slowest_mps"):
        assert port["P1"][key]["value"] == pytest.approx(starboard["S1"][key]["value"], abs=0.01)


@pytest.mark.parametrize(
    ("side", "degrees", "rate", "speed", "words"),
    [
        ("left", 90.0, 2.0, None, "port or starboard"),
        ("port", math.nan, 2.0, None, "want above 0"),
        ("port", 0.0, 2.0, None, "want above 0"),
        ("port", 90.0, math.nan, None, "--rate"),
        ("port", 90.0, 0.0, None, "--rate"),
        ("port", 360.0, 0.2, None, "would take 1800 s"),
        ("port", 90.0, 2.0, "fast", "--speed"),
        ("port", 90.0, 2.0, "90mph", "--speed"),
    ],
)
def test_what_makes_no_sense_is_refused(
    side: str, degrees: float, rate: float, speed: str | None, words: str
) -> None:
    with pytest.raises(OptionError, match=words):
        answer(shipped(), side, degrees, rate, speed, as_json=False)


def test_on_the_command_line() -> None:
    result = CliRunner().invoke(main, ["turn", "sideways", "90"])
    assert result.exit_code == 2
    assert "port or starboard" in result.output
