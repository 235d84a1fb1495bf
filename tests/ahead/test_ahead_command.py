"""`spreadwatch ahead`: what the daemon says, as text; unknown is --, never a number."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from ahead_tools import only, shipped, under_way
from click.testing import CliRunner

from assistant.__main__ import main
from assistant.ahead.forecast import forecast
from assistant.ahead.manoeuvre import slowed
from assistant.alerts.felt import Felt
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


def test_a_trip_margin_only_where_the_pull_is_measured() -> None:
    """What it has held, less the peak of the forecast by this rod's own factor, less its waves."""
    told = forecast(under_way(only("P1", "P2", "S1", "W"), 2.0), slowed(0.6, "slowing"))
    assert told is not None
    felt = {"P1": Felt(1.1, 1.0, 900.0, 60.0, 3.0), "P2": Felt(1.0, 1.0, 60.0, 40.0, 2.0)}
    said = forecast_object(told, "angler", ("P1", "P2", "S1"), felt)
    rods: Any = said["rods"]
    margin = rods["P1"]["trip_margin_n"]
    assert margin["value"] == pytest.approx(57.0 - 1.1 * told.lines["P1"].peak.value, rel=1e-3)
    assert margin["low"] <= margin["value"] <= margin["high"]
    assert rods["P2"]["trip_margin_n"] is rods["S1"]["trip_margin_n"] is None
    assert "trip_margin_n" not in rods["W"]  # a weight lets go of nothing
    rows = as_text({**said, "age_s": 1.2}).splitlines()
    assert rows[-1] == "trip margin of S1: needs pull input"
    assert rows[-2] == "trip margin of P2: 10 min of pull wanted"
    assert any(row.startswith("P1 ") and row.endswith("lb below what it has held") for row in rows)


def test_without_a_daemon_it_says_so() -> None:
    result = CliRunner().invoke(main, ["ahead", "port", "90", "--port", "1"])
    assert result.exit_code == 2
    assert "nobody answers on port 1" in result.output
    assert isinstance(result.exception, SystemExit)


@pytest.mark.parametrize("option", ["--rate", "--radius", "--to", "--json", "--port"])
def test_its_help_names_every_option(option: str) -> None:
    assert option in CliRunner().invoke(main, ["ahead", "--help"]).output
