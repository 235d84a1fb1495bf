"""A forecast as an input of the flow: what is written down and read back is what the alerts saw, and no less."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from ahead_tools import shipped, under_way

from assistant.ahead.forecast import forecast
from assistant.ahead.gaps import Soundings, sounded
from assistant.ahead.headline import headline
from assistant.ahead.manoeuvre import planned, slowed
from assistant.ahead.outlook import Forecast
from assistant.ahead.recorded import as_forecast, as_input
from assistant.foretold import forecast_object
from assistant.lines.spread import SpreadState
from assistant.messages import BoatState, Estimate, Inputs
from assistant.outings.entries import Step, decoded, encoded
from assistant.outings.records import body_of, scan
from assistant.payloads import to_json


@pytest.fixture(scope="module")
def live() -> SpreadState:
    return under_way(shipped(), 6.0)


@pytest.fixture(scope="module")
def told(live: SpreadState) -> Forecast:
    turn = forecast(live, planned(math.radians(90.0), math.radians(2.0)), soundings=_flat(live, 12.0))
    assert turn is not None
    return replace(turn, kind="turn", state="doubtful", cause="speed from GPS")


def _flat(live: SpreadState, depth_m: float) -> Soundings:
    """A track of one depth, from 150 m astern to here."""
    assert live.motion is not None
    track: Soundings | None = None
    north, east = math.cos(live.motion.heading_rad), math.sin(live.motion.heading_rad)
    for k in range(76):
        astern = 150.0 - 2.0 * k
        there = replace(
            live.motion,
            north_m=live.motion.north_m - astern * north,
            east_m=live.motion.east_m - astern * east,
        )
        track = sounded(
            track, there, BoatState(2.0 * k + 1.0, water_depth_m=Estimate(depth_m, 0.1, "ok", 0.0, "t"))
        )
    assert track is not None
    return replace(track, t_s=live.t_s)


def test_recorded_and_read_back_it_is_the_same(told: Forecast) -> None:
    outlook = as_input(told)
    record = encoded(Step(Inputs(1.25, outlook=outlook), True), 7)
    assert len(record) < 5000
    (piece,) = scan(record)
    entry = decoded(piece.version, piece.kind, body_of(record, piece))
    assert isinstance(entry, Step)
    assert entry.inputs.outlook == outlook
    assert as_input(as_forecast(outlook)) == outlook


def test_little_is_lost_on_the_way(told: Forecast) -> None:
    """Numbers keep four digits; between the instants kept nothing happens that is not told as an extreme."""
    back = as_forecast(as_input(told))
    assert (back.kind, back.state, back.cause, back.t_s) == ("turn", "doubtful", "speed from GPS", told.t_s)
    assert set(back.lines) == set(told.lines)
    for name, line in told.lines.items():
        other = back.lines[name]
        for was, now in ((line.rise, other.rise), (line.sink, other.sink), (line.slowest, other.slowest)):
            assert now.value == pytest.approx(was.value, rel=1e-3) and now.at_s == pytest.approx(
                was.at_s, rel=1e-3
            )
        at = np.interp(told.times_s, back.times_s, other.depth_m[:, 0])
        assert np.abs(at - line.depth_m[:, 0]).max() < 0.35
        assert line.bottom is not None and other.bottom is not None
        assert other.bottom.cause == line.bottom.cause
        assert np.isnan(other.bottom.gap_m[:, 0]).any() == np.isnan(line.bottom.gap_m[:, 0]).any()
    assert back.manoeuvre.angle_rad() == pytest.approx(told.manoeuvre.angle_rad(), rel=1e-3)


def test_as_json_it_is_strict_and_unknown_is_null(told: Forecast) -> None:
    loaded = json.loads(to_json(forecast_object(told, "angler")))
    rods = loaded["rods"]
    assert set(rods) == set(told.lines)
    for rod in rods.values():
        assert len(rod["depth_m"]["value"]) == len(loaded["times_s"]) <= 45
        low, value, high = (np.array(rod["depth_m"][name]) for name in ("low", "value", "high"))
        assert (low <= value).all() and (value <= high).all()
    assert any(
        None in rod["bottom_gap_m"]["value"] for rod in rods.values()
    )  # the water ahead is not sounded
    assert loaded["state"] == "doubtful" and loaded["cause"]
    gaps, closest = loaded["line_gap_m"], loaded["pairs"][0]
    assert len(gaps["value"]) == len(loaded["nearest"]) == len(loaded["times_s"])
    assert min(gaps["value"]) == pytest.approx(
        closest["gap_m"]["value"], abs=1.0
    )  # between the instants shown
    assert closest["rods"] in loaded["nearest"]


def test_the_sentence_names_the_worst_first_and_is_short_when_spoken(
    live: SpreadState, told: Forecast
) -> None:
    bottom = headline(told, "angler")  # 12 m of water, lines at 20 m
    assert "on bottom" in bottom.text and bottom.text.startswith("This turn: ")
    deep = forecast(live, slowed(0.54))
    assert deep is not None
    sinks = headline(replace(deep, kind="fish"), "metric")
    assert sinks.text.startswith("Slowing for a fish: ") and "sinks" in sinks.text
    calm = headline(replace(deep, lines={}), "metric")
    assert calm.text == "Nothing known of any line"
    for one in (bottom, sinks, calm):
        assert len(one.said.split()) <= 8, one.said
    for one in (bottom, sinks):
        assert one.rod in told.lines and one.said.startswith(str(one.rod))
