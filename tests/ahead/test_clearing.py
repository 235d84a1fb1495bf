"""The order of clearing and setting out.

Expected: geometry, and 10-15 min for eight lines (common practice, no source).
"""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace

import pytest
from ahead_tools import shipped
from click.testing import CliRunner

from assistant.__main__ import main
from assistant.ahead.clearing import Weather, clearing, setting_out
from assistant.configured import Attached
from assistant.messages import LineState, Q

DEG = math.pi / 180.0
ASTERN_M = {"P2": 45.0, "P1": 46.0, "R1": 6.0, "W": 28.0, "C": 73.0, "R2": 8.0, "S1": 46.0, "S2": 45.0}


def q(value: float) -> Q:
    return Q(value, value, value, "m", "ok", 0.5, "model")


def lines() -> dict[str, LineState]:
    out = {}
    for k, (rod, astern) in enumerate(ASTERN_M.items()):
        shape = tuple((-astern * s, 4.0 * (k - 3.5) * s, 20.0 * s) for s in (0.0, 0.25, 0.5, 0.75, 1.0))
        out[rod] = LineState(0.0, rod, q(20.0), q(0.0), q(astern), q(20.0), q(1.0), (), "fishing", shape)
    return out


def test_the_nearest_comes_in_first_and_the_farthest_goes_out_first() -> None:
    order = [step.rod for step in clearing(shipped(), lines()).steps]
    reach = [ASTERN_M[rod] for rod in order]
    assert all(a <= b + 5.0 for a, b in itertools.pairwise(reach))
    assert [step.rod for step in setting_out(shipped(), lines()).steps] == order[::-1]


def test_of_two_alike_the_one_downwind_comes_in_first() -> None:
    """Wind from the west and a heading south that cannot be left: the boat drifts to port, east."""
    south = ((175.0 * DEG, 185.0 * DEG),)
    west = Weather(180.0 * DEG, 270.0 * DEG, south)
    order = [step.rod for step in clearing(shipped(), lines(), west).steps]
    assert order.index("P1") < order.index("S1") and order.index("P2") < order.index("S2")
    other = [step.rod for step in clearing(shipped(), lines(), replace(west, wind_from_rad=90.0 * DEG)).steps]
    assert other.index("S1") < other.index("P1")


def test_the_heading_to_hold_is_into_the_wind_or_as_near_as_can_be_run() -> None:
    assert clearing(shipped(), lines(), Weather(wind_from_rad=230.0 * DEG)).heading_rad == 230.0 * DEG
    held = clearing(shipped(), lines(), Weather(None, 230.0 * DEG, ((300.0 * DEG, 20.0 * DEG),)))
    assert held.heading_rad == 300.0 * DEG and "can be run" in held.why
    assert clearing(shipped(), lines()).heading_rad is None


def test_with_a_fish_on_its_rod_stays_and_its_neighbours_come_first() -> None:
    order = [step.rod for step in clearing(shipped(), lines(), fish="P1").steps]
    assert "P1" not in order and order[0] in ("P2", "R1")


def test_what_is_aboard_is_left_out_and_what_hangs_comes_before_its_host() -> None:
    now = lines()
    now["C"] = replace(now["C"], rod_state="aboard")
    assert "C" not in [step.rod for step in clearing(shipped(), now).steps]
    rods = tuple(
        replace(rod, attached=Attached("R1", 5.0)) if rod.name == "S1" else rod for rod in shipped().rods
    )
    order = [step.rod for step in clearing(replace(shipped(), rods=rods), now).steps]
    assert order.index("S1") < order.index("R1")


def test_times_add_up_to_what_practice_says() -> None:
    found = clearing(shipped(), lines())
    assert found.lasts_s == pytest.approx(sum(step.takes_s for step in found.steps))
    assert 10.0 <= found.lasts_s / 60.0 <= 16.5


def test_on_the_command_line() -> None:
    said = json.loads(CliRunner().invoke(main, ["clear", "--wind", "230", "--json"]).output)
    assert len(said["steps"]) == 8 and said["heading_deg"] == 230.0
    for options in (["--fish", "X9"], ["--wind", "400"]):
        result = CliRunner().invoke(main, ["clear", *options])
        assert result.exit_code == 2 and options[0] in result.output
