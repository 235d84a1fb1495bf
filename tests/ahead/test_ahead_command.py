"""`spreadwatch ahead`: what the daemon says, as text; unknown is --, never a number."""

from __future__ import annotations

from dataclasses import replace

import pytest
from ahead_tools import shipped, under_way
from click.testing import CliRunner

from assistant.__main__ import main
from assistant.ahead.forecast import forecast
from assistant.ahead.manoeuvre import slowed
from assistant.foretold import forecast_object
from assistant.tell_ahead import as_text


def test_rows_say_what_the_forecast_says() -> None:
    told = forecast(under_way(shipped(), 2.0), slowed(0.6, "slowing"))
    assert told is not None
    worth = replace(told, kind="speed", state="doubtful", cause="speed from GPS", lost={"X": "line runs"})
    text = as_text({**forecast_object(worth, "angler"), "age_s": 1.2}).splitlines()
    assert text[0] == "slowing, from 1 s ago (in doubt: speed from GPS)"
    assert text[1].startswith("At that speed: ")
    for name, line in told.lines.items():
        cells = next(row for row in text if row.startswith(f"{name} ")).split()
        # NIST SP 811 (2008), B.8: a foot is 0.3048 m
        assert cells[1] == f"{line.depth_m[0, 0] / 0.3048:.0f}"
        assert cells[3] == f"{line.sink.value / 0.3048:.0f}"
        assert cells[5] == "--"  # no soundings were given
    assert text[-1].split(maxsplit=1) == ["X", "left out: line runs"]


def test_without_a_daemon_it_says_so() -> None:
    result = CliRunner().invoke(main, ["ahead", "port", "90", "--port", "1"])
    assert result.exit_code == 2
    assert "nobody answers on port 1" in result.output
    assert isinstance(result.exception, SystemExit)


@pytest.mark.parametrize("option", ["--rate", "--radius", "--to", "--json", "--port"])
def test_its_help_names_every_option(option: str) -> None:
    assert option in CliRunner().invoke(main, ["ahead", "--help"]).output
