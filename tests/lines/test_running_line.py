"""Line that runs out and in, and the states a rod goes through, in the live spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from live_tools import Live
from numpy.typing import NDArray
from rig_tools import HERE, MPH, tow

from assistant import config
from assistant.configured import Coefficient, Config, Rod
from assistant.lines import spread
from assistant.lines.chain import Towed, Water
from assistant.lines.fleet import Cut, marched, settled
from assistant.lines.gear import RodSetting, towed
from assistant.lines.rods import RUN_MPS, UNCONFIRMED_S, aged, at_start, run_line, taken
from assistant.messages import LineSetting

Array = NDArray[np.float64]

SPEED_MPS = 2.3 * MPH
STILL = np.zeros((0, 3))
RIGS = config.load(HERE / "every_rig")


def only(*names: str, loaded: Config = RIGS, **boat: object) -> Config:
    """The spread with some of its rods."""
    rods = tuple(rod for rod in loaded.rods if rod.name in names)
    return replace(loaded, rods=rods, boat=replace(loaded.boat, **boat))  # type: ignore[arg-type]


def run_m(chain: Towed, mains_m: Array, step_s: float, cut: Cut, water: Water) -> Array:
    """(K, 2) depth and setback of the lure as the main line goes through lengths mains_m, one a step."""
    chain = replace(
        chain, segments=(*chain.segments[:-1], replace(chain.segments[-1], length_m=float(mains_m[0])))
    )
    tip = np.array([[0.0], [0.0], [-chain.tow_height_m], [SPEED_MPS], [0.0], [0.0]])
    fleet = settled([chain], [water], cut, tip, STILL, np.zeros((1, 2)))
    seen = []
    for k, main in enumerate(mains_m[1:]):
        tip[0] += SPEED_MPS * step_s
        fleet, failed, _ = marched(fleet, tip, np.array([main]), STILL, step_s, k == 0, spread.TOLERANCE_M)
        assert not failed
        place = fleet.positions_m()[:, :, 0]
        seen.append([place[-1, 2], place[0, 0] - place[-1, 0]])
    return np.array(seen)


@pytest.mark.parametrize("name", ["straight", "labels", "rigger", "weight", "copper"])
@pytest.mark.parametrize(("from_m", "to_m"), [(10.0, 50.0), (50.0, 10.0)])
def test_running_line_against_a_finer_march(name: str, from_m: float, to_m: float) -> None:
    """While it runs within 5 % of a march with a quarter of the step and four times the pieces (or 5 cm), and
    half a minute or more after within half a per cent of the steady tow.
    """
    rod = replace(next(rod for rod in RIGS.rods if rod.name == name), counter_zero="tip")
    water = Water(999.0, 9.80665)
    chain = towed(RIGS, rod, RodSetting(from_m), water)
    if name == "copper":  # without its backing, which is wound up at such lengths
        parts = (*rod.rig[1:2], *rod.rig[2:])
        rod = replace(rod, rig=(replace(parts[0], counted=False, length_m=None), *parts[1:]))
        chain = towed(RIGS, rod, RodSetting(from_m), water)
    seconds = abs(to_m - from_m) / RUN_MPS
    rest = 240.0
    coarse, fine = (
        run_m(
            chain,
            np.interp(np.arange(0.0, seconds + rest, step), [0.0, seconds], [from_m, to_m]),
            step,
            cut,
            water,
        )
        for step, cut in ((spread.STEP_S, spread.CUT), (spread.STEP_S / 4, Cut(96, 16)))
    )
    there = coarse[: len(fine) // 4]
    finer = fine[3::4][: len(there)]
    worst = np.abs(there - finer) / np.maximum(np.abs(finer), 1.0)
    assert worst.max() < 0.05
    steady = tow(rod, SPEED_MPS / MPH, RIGS, line_out_m=to_m)
    assert coarse[-1] == pytest.approx([steady.depth_m, steady.setback_m], rel=0.005)


def out_and_back(live: Live, names: Sequence[str], seconds: float) -> list[float]:
    """Reel in until it is up, put out again; the depths of every tick of the first rod."""
    depths: list[float] = []

    def note() -> None:
        fleet = spread.caught_up(live.state).fleet
        depths.append(math.nan if fleet is None else float(fleet.positions_m()[-1, 2, 0]))

    live.run(seconds, *(live.set(name, rod_state="coming in") for name in names), each=note)
    live.run(20.0, *(live.set(name, rod_state="aboard") for name in names), each=note)
    live.run(seconds, *(live.set(name, rod_state="going out") for name in names), each=note)
    return depths


def test_every_rig_comes_in_and_goes_out_again_without_a_restart() -> None:
    names = [rod.name for rod in RIGS.rods]
    live = Live(RIGS, SPEED_MPS)
    before = {name: live.depth_m(name) for name in names}
    depths = out_and_back(live, names, 90.0)
    assert live.unconverged == 0
    assert min(depths) < 0.5  # it was up
    assert np.abs(np.diff(depths)).max() < 3.0 * RUN_MPS * spread.STEP_S  # and nothing jumped
    live.run(240.0, *(live.set(name, rod_state="fishing") for name in names))
    for name in names:
        assert live.depth_m(name) == pytest.approx(before[name], rel=0.005), name


def test_a_core_wound_past_its_backing_settles_as_towed_at_that_length() -> None:
    rods = only("colours", "copper")
    live = Live(rods, SPEED_MPS)
    for out_m in (40.0, 58.0, 30.0, 75.0):
        live.run(300.0, *(live.set(rod.name, line_out_m=out_m) for rod in rods.rods))
        for rod in rods.rods:
            steady = tow(rod, SPEED_MPS / MPH, rods, line_out_m=out_m * rod.counter.value)
            assert live.depth_m(rod.name) == pytest.approx(steady.depth_m, rel=0.005), (rod.name, out_m)
    assert live.unconverged == 0


def test_bands_go_on_through_it() -> None:
    """32 members with counters of their own pass from backing to core at different times."""
    live = Live(only("colours"), SPEED_MPS)
    live.run(60.0, live.set("colours", line_out_m=49.0))
    live.run(120.0)
    depth = live.lines()["colours"].depth_m
    assert depth.value is not None and depth.low is not None and depth.high is not None
    assert 0.5 * depth.value < depth.low < depth.value < depth.high < 1.5 * depth.value


def rod_named(name: str) -> Rod:
    """One of the example rods."""
    return next(rod for rod in RIGS.rods if rod.name == name)


def test_a_fish_nobody_speaks_of_becomes_unknown() -> None:
    now = taken(at_start(rod_named("weight")), LineSetting(100.0, "weight", rod_state="fish on"), 100.0)
    assert aged(now, 100.0 + UNCONFIRMED_S - 1.0).rod_state == "fish on"
    assert aged(now, 100.0 + UNCONFIRMED_S).rod_state == "unknown"
    again = taken(now, LineSetting(800.0, "weight", rod_state="fish on"), 800.0)
    assert aged(again, 100.0 + UNCONFIRMED_S).rod_state == "fish on"
    assert aged(again, 800.0 + UNCONFIRMED_S).rod_state == "unknown"
    other = taken(now, LineSetting(800.0, "weight", line_out_m=20.0), 800.0)  # says nothing of the fish
    assert aged(other, 100.0 + UNCONFIRMED_S).rod_state == "unknown"


def test_fifteen_minutes_in_the_live_spread() -> None:
    live = Live(only("weight"), SPEED_MPS)
    live.run(1.0, live.set("weight", rod_state="fish on"))
    assert live.lines()["weight"].rod_state == "fish on"
    live.run(UNCONFIRMED_S)
    line = live.lines()["weight"]
    assert line.rod_state == "unknown"
    assert line.depth_m.state == "doubtful" and line.depth_m.value is not None


@pytest.mark.parametrize("state", ["going out", "fish on", "coming in", "unknown"])
def test_only_a_fishing_line_is_firm(state: str) -> None:
    live = Live(only("weight"), SPEED_MPS)
    assert live.lines()["weight"].depth_m.state == "ok"
    live.run(1.0, live.set("weight", rod_state=state))
    assert live.lines()["weight"].depth_m.state == "doubtful"
    live.run(1.0, live.set("weight", rod_state="aboard"))
    assert live.lines()["weight"].depth_m.value is None


def test_line_runs_no_faster_than_it_can_and_stops_where_it_should() -> None:
    now = replace(at_start(rod_named("weight")), counter_m=30.0, out_m=29.9)
    assert run_line(now, 0.25, 1.0).out_m == 30.0
    for speed_mps, most_mps in (
        (0.0, 0.3),
        (1.0, 0.9),
        (2.0, RUN_MPS),
    ):  # the boat takes the line: never slack
        assert run_line(replace(now, out_m=10.0), 0.25, speed_mps).out_m == pytest.approx(
            10.0 + 0.25 * most_mps
        )
    assert run_line(replace(now, out_m=10.0, rod_state="coming in"), 0.25, 0.0).out_m == 10.0 - 0.25 * RUN_MPS
    assert run_line(replace(now, out_m=0.1, rod_state="aboard"), 0.25, 1.0).out_m == 0.0


def test_a_planer_brought_aboard_is_set_again() -> None:
    tripped = taken(at_start(rod_named("mini")), LineSetting(1.0, "mini", tripped=True), 1.0)
    assert tripped.tripped
    assert taken(tripped, LineSetting(2.0, "mini", rod_state="coming in"), 2.0).tripped
    assert not taken(tripped, LineSetting(2.0, "mini", rod_state="aboard"), 2.0).tripped


def test_fleas_lift_a_line_little_by_little_until_it_is_cleaned() -> None:
    rods = only(
        "weight", "straight", fleas_mm_per_hour=Coefficient(3.0, 1.0, 6.0, "a test: far more than a lake has")
    )
    live, clean = Live(rods, SPEED_MPS), Live(only("weight", "straight"), SPEED_MPS)
    depths: list[float] = []
    live.run(600.0, each=lambda: depths.append(live.depth_m("weight")))
    assert depths[-1] < 0.8 * depths[0]
    assert np.abs(np.diff(depths)).max() < 0.1  # no jolt as it is looked at once a minute
    assert live.unconverged == 0
    rod = rod_named("weight")
    least, most = (
        tow(rod, SPEED_MPS / MPH, rods, fouled_h=minutes / 60.0).depth_m for minutes in (10.0, 8.0)
    )
    assert least < depths[-1] < most  # looked at once a minute, and the line takes a while
    live.run(59.0, live.set("weight", cleaned=True))
    a_minute_later = tow(rod, SPEED_MPS / MPH, rods, fouled_h=1.0 / 60.0).depth_m
    assert a_minute_later < live.depth_m("weight") < clean.depth_m("weight")
    assert live.depth_m("straight") < 0.9 * clean.depth_m("straight")
