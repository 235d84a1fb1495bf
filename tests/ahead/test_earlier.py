"""Soundings of earlier outings: kept by position, read back, and used only where nothing newer is known."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_following import boat

from assistant.ahead.earlier import EVERY_M, metres_per_degree, near, worth_keeping
from assistant.ahead.gaps import Soundings, bottom_at
from assistant.messages import BoatState, Estimate, State
from assistant.soundings_file import Kept, append, read

LAT, LON = 45.0, -30.0


def at(north_m: float, east_m: float, depth_m: float = 20.0, state: State = "ok") -> BoatState:
    """A boat so far from the place of these tests."""
    per = metres_per_degree(LAT)
    lat, lon = (
        Estimate(value, 1e-5, state, 0.1, "test") for value in (LAT + north_m / per[0], LON + east_m / per[1])
    )
    return replace(
        boat(1.0, 0.0),
        lat_deg=lat,
        lon_deg=lon,
        water_depth_m=Estimate(depth_m, 0.2, "ok", 0.1, "test"),
    )


def test_a_degree_has_its_length() -> None:
    """Table 24-2 of the American Practical Navigator (Bowditch, 2002), from memory: at 45 N 111 132 m and 78 847 m."""
    north, east = metres_per_degree(45.0)
    assert north == pytest.approx(111132.0, abs=2.0)
    assert east == pytest.approx(78847.0, abs=5.0)
    assert metres_per_degree(0.0)[1] == pytest.approx(
        math.pi / 180.0 * 6378137.0, rel=1e-6
    )  # WGS 84, equator


def test_a_hump_of_another_day_is_found_where_it_was(tmp_path: Path) -> None:
    """Sounded along a line to the north; another day the boat comes from the east and is told of it ahead."""
    kept = Kept(tmp_path / "soundings-x.txt", lambda words: None)
    for k in range(60):
        kept.see(at(5.1 * k - 153.0, 0.0, depth_m=12.0 if abs(5.1 * k - 153.0) < 16.0 else 30.0))
    assert kept.waiting == 30  # one for every 10 m
    kept.write()
    other_day = Kept(tmp_path / "soundings-x.txt", lambda words: None)
    assert len(other_day.rows) == pytest.approx(30, abs=3)
    here = (1000.0, 2000.0)  # where the boat is in the frame of the lines
    around = near(other_day.rows, at(0.0, 200.0), here)
    track = Soundings(np.zeros((0, 5)), 0.0, here, drift_sigma_mps=0.0, earlier=around)
    places = np.array(
        [[1000.0, 1800.0], [1000.0, 1808.0], [1100.0, 1800.0], [1000.0, 1850.0], [1180.0, 1800.0]]
    )
    depth, sigma = bottom_at(track, places, np.zeros(5))
    assert depth[:3] == pytest.approx([12.0, 12.0, 30.0])
    assert np.isnan(depth[3:]).all()  # 50 m beside it, and 30 m past where it ended
    assert (sigma[:3] > 0.3).all()
    later = bottom_at(replace(track, drift_sigma_mps=0.1), places, np.full(5, 60.0))[1]
    assert (later[:3] > sigma[:3]).all()


def test_this_outings_own_track_comes_first(tmp_path: Path) -> None:
    rows = np.array([[LAT, LON, 10.0, 0.1]])
    track = np.array([[0.0, 4.0 * k, 25.0, 0.1, 1.0] for k in range(5)])
    both = Soundings(track, 2.0, (0.0, 16.0), earlier=near(rows, at(0.0, 0.0), (0.0, 0.0)))
    assert bottom_at(both, np.array([[0.0, 0.0]]), np.zeros(1))[0] == pytest.approx([25.0])


def test_only_what_is_good_in_both_is_kept() -> None:
    first = worth_keeping(at(0.0, 0.0), None)
    assert first is not None
    assert worth_keeping(at(EVERY_M - 1.0, 0.0), first) is None
    assert worth_keeping(at(EVERY_M + 1.0, 0.0), first) is not None
    assert worth_keeping(at(50.0, 0.0, state="doubtful"), first) is None
    assert worth_keeping(replace(at(50.0, 0.0), water_depth_m=Estimate()), first) is None
    assert len(near(np.array([first]), at(0.0, 0.0, state="stale"), (0.0, 0.0))) == 0


@settings(deadline=None)
@given(st.binary(max_size=400))
def test_any_file_is_read_or_passed_over(tmp_path_factory: pytest.TempPathFactory, rubbish: bytes) -> None:
    file = tmp_path_factory.mktemp("kept") / "soundings-x.txt"
    file.write_bytes(rubbish)
    append(file, [np.array([LAT, LON, 20.0, 0.2])])
    rows = read(file)
    assert np.isfinite(rows).all()
    assert [LAT, LON, 20.0, 0.2] in rows.tolist()


def test_a_disk_that_fails_is_said_once_and_loses_nothing(tmp_path: Path) -> None:
    said: list[str] = []
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    kept = Kept(blocked / "soundings-x.txt", said.append)
    kept.see(at(0.0, 0.0))
    kept.write()
    kept.write()
    assert len(said) == 1 and kept.waiting == 1
    blocked.unlink()
    kept.write()
    assert kept.waiting == 0 and len(read(blocked / "soundings-x.txt")) == 1
