"""Lines that run from a side board, and lines that hang on another rod's line."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from live_tools import Live
from rig_tools import FT, HERE, MPH, WATER, tow

from assistant import config
from assistant.configured import Config, Rod
from assistant.lines.gear import RodSetting, towed
from assistant.lines.steady import straight
from assistant.lines.towpoints import BOARD_LAG_S
from assistant.messages import LineState, Q

RIGS = config.load(HERE / "every_rig")
SPEED_MPS = 2.3 * MPH


def only(*names: str) -> Config:
    """Some of the rods."""
    return replace(RIGS, rods=tuple(rod for rod in RIGS.rods if rod.name in names))


def number(q: Q) -> float:
    """A value that must be there."""
    assert q.value is not None
    return q.value


def rod_named(name: str) -> Rod:
    """One of the example rods."""
    return next(rod for rod in RIGS.rods if rod.name == name)


@pytest.fixture(scope="module")
def settled() -> dict[str, LineState]:
    live = Live(RIGS, SPEED_MPS)
    live.run(30.0)
    return live.lines()


@pytest.mark.parametrize(("name", "share"), [("second", None), ("slider", 0.5)])
def test_where_it_hangs_is_a_point_of_the_cable(
    settled: dict[str, LineState], name: str, share: float | None
) -> None:
    """Against the steady integration of the cable, cut in two where the other line hangs."""
    rigger = rod_named("rigger")
    chain = towed(RIGS, rigger, RodSetting(rigger.line_out_m), WATER)
    cable = chain.segments[-1]
    above = 20.0 * FT if share is None else share * cable.length_m
    split = (replace(cable, length_m=cable.length_m - above), replace(cable, length_m=above))
    cut = replace(chain, segments=(chain.segments[0], *split[::-1]), bodies=(*chain.bodies, None))
    points = straight(cut, WATER, SPEED_MPS).points_m
    hangs = points[2]
    own = rod_named(name)
    alone = towed(RIGS, own, RodSetting(own.line_out_m), WATER)
    below = straight(replace(alone, tow_height_m=-float(hangs[2])), WATER, SPEED_MPS).points_m
    line = settled[name]
    assert number(line.depth_m) == pytest.approx(below[0, 2], abs=0.02)
    assert number(line.setback_m) == pytest.approx(-hangs[0] - below[0, 0], abs=0.05)
    where = (rigger.tip_forward_m + hangs[0], rigger.tip_starboard_m, hangs[2])
    assert line.shape_m[0] == pytest.approx(where, abs=0.05)


def test_it_follows_the_cable_through_a_turn_and_an_outing_of_line() -> None:
    live = Live(only("rigger", "second", "slider"), SPEED_MPS)
    for seconds, turn in ((30.0, 0.0), (60.0, math.radians(3.0)), (20.0, 0.0)):
        live.run(seconds, live.set("rigger", line_out_m=live.t_s / 10.0 + 18.0), turn_radps=turn)
        lines = live.lines()
        cable, second = lines["rigger"].shape_m[:21], lines["second"].shape_m[0]
        gap = min(math.dist(second, point) for point in cable)
        apart = max(math.dist(a, b) for a, b in pairwise(cable))
        assert gap < 0.6 * apart  # on the cable, between two of its points
    assert live.unconverged == 0


def test_hanging_on_it_does_not_move_the_cable(settled: dict[str, LineState]) -> None:
    alone = Live(only("rigger"), SPEED_MPS)
    alone.run(30.0)
    assert number(alone.lines()["rigger"].depth_m) == pytest.approx(
        number(settled["rigger"].depth_m), abs=1e-9
    )


def test_a_board_sags_by_the_lines_own_pull(settled: dict[str, LineState]) -> None:
    rod, line = rod_named("board"), settled["board"]
    assert rod.board is not None
    start, pull = line.shape_m[0], number(line.tension_n)
    assert start[2] == 0.0
    assert start[1] == pytest.approx(rod.tip_starboard_m - rod.board.out_m, abs=1e-3)
    aft = rod.tip_forward_m - start[0]
    assert aft == pytest.approx(rod.board.aft_m + rod.board.sag_m_per_n.value * pull, rel=0.01)
    assert number(line.swing_m) == pytest.approx(-rod.board.out_m, abs=0.01)
    alone = tow(rod, 2.3, RIGS)
    assert number(line.depth_m) == pytest.approx(alone.depth_m, rel=0.005)
    assert number(line.setback_m) == pytest.approx(aft + alone.setback_m, rel=0.005)


def test_a_board_sags_more_as_speed_rises_and_not_at_once() -> None:
    live = Live(only("board"), SPEED_MPS)
    live.run(20.0)
    before = live.lines()["board"].shape_m[0][0]
    live.speed_mps *= 1.3
    live.run(4.0)
    soon = live.lines()["board"].shape_m[0][0]
    live.run(8.0 * BOARD_LAG_S)
    line = live.lines()["board"]
    after = line.shape_m[0][0]
    assert after < soon < before - 0.05
    board = rod_named("board").board
    assert board is not None
    assert -after == pytest.approx(board.aft_m + board.sag_m_per_n.value * number(line.tension_n), rel=0.01)


def test_inside_sinks_and_outside_rises_far_off_the_track() -> None:
    """In a turn to port the port board is inside: slower and deeper with a weight on its line. Twenty metres off the
    track and a radius of 60 m: its speed falls by nearly a third (geometry).
    """
    port = rod_named("board")
    rig = tuple(replace(part, body="spoon") if part.body == "plug-diving" else part for part in port.rig)
    rods = tuple(
        replace(port, name=name, side=side, rig=rig, tip_starboard_m=sign * 1.2)
        for name, side, sign in (("in", "port", -1.0), ("out", "starboard", 1.0))
    )
    live = Live(replace(RIGS, rods=rods), SPEED_MPS)  # type: ignore[arg-type]
    straight_m = live.depth_m("in")
    assert live.depth_m("out") == pytest.approx(straight_m, rel=1e-6)
    live.run(240.0, turn_radps=-SPEED_MPS / 60.0)
    assert live.depth_m("in") > 1.2 * straight_m
    assert live.depth_m("out") < 0.85 * straight_m


def test_bands_know_of_the_sag() -> None:
    live = Live(only("board"), SPEED_MPS)
    setback = live.lines()["board"].setback_m
    board = rod_named("board").board
    assert board is not None and setback.low is not None and setback.high is not None
    pull = number(live.lines()["board"].tension_n)
    assert setback.high - setback.low > 0.8 * (board.sag_m_per_n.high - board.sag_m_per_n.low) * pull
