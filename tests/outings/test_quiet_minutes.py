"""Frames to the judge's table, checked by hand: means, directions across north, unknowns, who said what."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest

from assistant.configured import AlertLimits
from assistant.messages import Z90, Frame, LineState, Q, RodState, Seen, State
from assistant.outings import quiet
from assistant.outings.effort import Minute, Strike
from assistant.outings.minutes import minutes_of

DEGREE = math.pi / 180.0
NOTHING = Q(None, None, None, "m", "dead", None, "none")


def q(value: float, sigma: float = 0.1, state: State = "ok", source: str = "udp:1/VHW") -> Q:
    """A published number with a normal band."""
    return Q(value, value - Z90 * sigma, value + Z90 * sigma, "", state, 0.0, source)


def frame(
    t_s: float,
    boat: Mapping[str, Q] | None = None,
    depth: Q = NOTHING,
    speed: Q = NOTHING,
    rod_state: RodState = "fishing",
    conditions: tuple[str, ...] = (),
    seen: Mapping[str, Seen] | None = None,
) -> Frame:
    """A Frame with one rod, W."""
    line = LineState(t_s, "W", depth, NOTHING, NOTHING, NOTHING, speed, conditions, rod_state)
    return Frame(t_s, None, round(2 * t_s), "simulated", boat or {}, {"W": line}, seen={"W": seen or {}})


def only(*frames: Frame, limits: AlertLimits | None = None) -> Minute:
    """The one Minute of frames that lie in one."""
    (minute,) = minutes_of(frames, limits or AlertLimits())
    return minute


def test_one_row_for_each_minute_with_frames() -> None:
    rows = list(minutes_of([frame(t) for t in (59.5, 60.0, 119.5, 300.0)], AlertLimits()))
    assert [row.t_s for row in rows] == [0.0, 60.0, 300.0]


def test_values_are_means_with_their_sigma() -> None:
    row = only(
        frame(0.0, {"water_temp_c": q(10.0, 0.2)}, q(18.0, 1.0)),
        frame(0.5, {"water_temp_c": q(11.0, 0.2)}, q(20.0, 2.0, "doubtful")),
        frame(1.0, {"water_temp_c": q(99.0, 0.2, "stale")}, NOTHING),
    )
    temp, depth = row.seen["water_temp_c"], row.rods[0].seen["depth_m"]
    assert (temp.value, temp.sigma, temp.origin) == (10.5, pytest.approx(0.2), "measured")
    assert (depth.value, depth.sigma, depth.origin) == (19.0, pytest.approx(1.5), "worked out")
    assert "bottom_depth_m" not in row.seen


def test_directions_are_averaged_across_north() -> None:
    """350 and 20 degrees: 5. A current 0.2 toward north and 0.2 toward east: 0.1414 toward 45."""
    row = only(
        frame(0.0, {"heading_rad": q(350 * DEGREE), "set_rad": q(0.0), "drift_mps": q(0.2)}),
        frame(0.5, {"heading_rad": q(20 * DEGREE), "set_rad": q(90 * DEGREE), "drift_mps": q(0.2)}),
    )
    assert row.seen["heading_rad"].value == pytest.approx(5 * DEGREE)
    current = row.seen["surface_current"]
    assert (current.value, current.toward_rad) == (
        pytest.approx(0.2 / math.sqrt(2)),
        pytest.approx(45 * DEGREE),
    )
    assert current.origin == "worked out"


def test_turns_count_by_their_side() -> None:
    rates = (1.0, 1.0, -1.0, 0.1)  # degrees a second; the last is straight
    row = only(*(frame(0.5 * i, {"rate_of_turn_radps": q(r * DEGREE)}) for i, r in enumerate(rates)))
    assert row.seen["turn_side"].value == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("depth", "limits", "at_band"),
    [
        (q(20.0), AlertLimits(), True),  # nothing is wanted of it
        (q(20.0), AlertLimits(wanted_m={"W": (15.0, 25.0)}), True),
        (q(30.0), AlertLimits(wanted_m={"W": (15.0, 25.0)}), False),
        (NOTHING, AlertLimits(wanted_m={"W": (15.0, 25.0)}), None),
        (NOTHING, AlertLimits(wanted_m={"P1": (15.0, 25.0)}), True),
    ],
)
def test_at_its_band(depth: Q, limits: AlertLimits, at_band: bool | None) -> None:
    assert only(frame(0.0, depth=depth), limits=limits).rods[0].at_band is at_band


@pytest.mark.parametrize(
    ("speed", "at_speed"), [(q(1.0), True), (q(0.6), False), (q(1.6), False), (NOTHING, None)]
)
def test_at_lure_speed(speed: Q, at_speed: bool | None) -> None:
    limits = AlertLimits(lure_slow_mps=0.8, lure_fast_mps=1.4)
    assert only(frame(0.0, speed=speed), limits=limits).rods[0].at_speed is at_speed


def test_state_and_conditions_go_by_most_of_the_minute() -> None:
    states: tuple[RodState, ...] = ("fishing", "fishing", "coming in")
    oddities = (("tripped",), ("tripped",), ())
    frames = [
        frame(0.5 * i, rod_state=s, conditions=c)
        for i, (s, c) in enumerate(zip(states, oddities, strict=True))
    ]
    rod = only(*frames).rods[0]
    assert (rod.rod_state, rod.tripped, rod.workable, rod.effective) == ("fishing", True, False, False)
    rod = only(*frames[1:]).rods[0]
    assert not rod.tripped


def test_who_said_it_is_kept() -> None:
    seen = {
        "pull_n": Seen(q(50.0, 2.0, source="udp:1/XDR")),
        "bend": Seen(Q(-1.0, None, None, "", "ok", 5.0, "typed"), word="soft"),
        "lean_rad": Seen(q(0.2, 0.08, "stale", "typed")),
        "touch": Seen(Q(1.0, None, None, "", "ok", 5.0, "typed"), word="bottom"),
    }
    found = only(frame(0.0, seen=seen)).rods[0].seen
    assert set(found) == {"pull_n", "rod_bend"}
    assert (found["pull_n"].origin, found["pull_n"].where) == ("measured", "udp:1/XDR")
    assert (found["rod_bend"].origin, found["rod_bend"].value) == ("entered", -1.0)


def test_frames_to_verdict() -> None:
    """Four hours at one frame every 10 s: the ball slows by a third at 170 min, and strikes stop."""

    def ball(t_s: float) -> Mapping[str, Seen]:
        slow = 0.65 if t_s > 170 * 60.0 else 0.95
        return {"ball_speed_mps": Seen(q(slow + 0.03 * math.sin(t_s / 25.0), 0.05, source="udp:1/XDR"))}

    frames = [frame(10.0 * i, seen=ball(10.0 * i)) for i in range(6 * 240)]
    struck = [Strike(60.0 * m) for m in range(8, 170, 9)]
    verdict = quiet.judge(minutes_of(frames, AlertLimits()), struck, 240 * 60.0)
    assert verdict.named == "lure speed"
    assert verdict.differences[0].quantity == "ball_speed_mps"
    assert verdict.silence.hours == pytest.approx(4.0)
