"""Turns seen from the heading alone: made-up headings, and the campaign's short form through the estimate."""

from __future__ import annotations

import math

import pytest
import turn_recognition

from assistant.ahead.manoeuvre import STRAIGHT_ON
from assistant.ahead.steering import Helm, manoeuvre_of, watched
from assistant.messages import Estimate

DEG = math.pi / 180.0


def heading(degrees: float) -> Estimate:
    return Estimate((degrees * DEG) % math.tau, 0.02, "ok", 0.0, "test")


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("rate", [0.3, 1.0, 3.0, 10.0])
def test_a_steady_turn_across_north_is_seen_in_time_and_ends(rate: float, side: int) -> None:
    """Within the larger of 3 s and 8 degrees / rate; over within 15 s of its end, to within what one look sees."""
    now, lasts_s = Helm(), 90.0 / rate
    seen_s = ended_s = None
    for tick in range(round((60.0 + lasts_s + 30.0) * 4)):
        t_s = tick / 4.0
        turned = rate * min(max(t_s - 60.0, 0.0), lasts_s)
        now = watched(now, t_s, heading(2.0 * -side + side * turned))
        if now.side and seen_s is None:
            seen_s = t_s - 60.0
            assert now.side == side
        if t_s == 60.0 + math.floor(lasts_s):
            assert abs(now.turned_rad) == pytest.approx(rate * math.floor(lasts_s) * DEG, abs=1.5 * DEG)
        if t_s > 60.0 + lasts_s and not now.side and ended_s is None:
            ended_s = t_s - 60.0 - lasts_s
    assert seen_s is not None
    assert 0.0 < seen_s <= max(3.0, 8.0 / rate)
    assert ended_s is not None
    assert ended_s < 15.0


@pytest.mark.parametrize(("degrees", "period_s"), [(3.0, 5.0), (6.0, 5.0), (4.0, 3.5), (3.0, 8.0)])
def test_the_swing_of_waves_is_no_turn(degrees: float, period_s: float) -> None:
    """Twenty minutes of a bow that swings each way, and wanders 1.5 degrees over a minute."""
    now = Helm()
    for tick in range(1200 * 4):
        t_s = tick / 4.0
        swing = degrees * math.sin(math.tau * t_s / period_s) * min(t_s / 60.0, 1.0)
        now = watched(now, t_s, heading(200.0 + swing + 1.5 * math.sin(math.tau * t_s / 60.0)))
        assert now.side == 0, t_s


def test_unknown_headings_and_gaps_begin_anew() -> None:
    now = Helm()
    for tick in range(40):
        now = watched(now, tick / 4.0, heading(5.0 * tick / 4.0))
    assert now.side == 1
    assert watched(now, 10.25, Estimate()).side == 0
    assert watched(now, 20.0, heading(180.0)).past == ((20.0, math.pi),)


def test_the_manoeuvre_of_a_turn_goes_on_to_its_side() -> None:
    now = Helm()
    assert manoeuvre_of(now, Estimate()) is STRAIGHT_ON
    for tick in range(60):
        now = watched(now, tick / 4.0, heading(-2.0 * tick / 4.0))
    turn = manoeuvre_of(now, Estimate(-2.1 * DEG, 0.1 * DEG, "ok", 0.0, "test"))
    assert turn.under_way
    assert turn.rate_radps == pytest.approx(2.1 * DEG)
    assert all(stop.angle_rad < 0.0 for stop in turn.stops)
    other = manoeuvre_of(now, Estimate(+1.0 * DEG, 0.1 * DEG, "ok", 0.0, "test"))
    assert other.rate_radps == pytest.approx(2.0 * DEG, rel=0.15)
    assert all(stop.angle_rad < 0.0 for stop in other.stops)


def test_turns_of_the_simulator_are_seen() -> None:
    result = turn_recognition.main(["--seed", "2", "--n", "2"])
    assert result["seen"] == result["in_time"] == 2
    assert result["false_per_hour"] == 0.0
