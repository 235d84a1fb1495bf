"""Every recorded log: no exception, values where that boat can have been, time as the file has it.

Places and minutes are those measured independently in the recorded logs' README; positions and speeds are
also read by pynmea2.
"""

from __future__ import annotations

import re
from collections import defaultdict
from functools import cache
from itertools import pairwise
from pathlib import Path

import pynmea2
import pytest

from assistant.messages import Sentence
from assistant.sensing.clock import replay_clock
from assistant.sensing.nmea import QUANTITIES, REJECT_REASONS, Decoded, decode, kind_of
from assistant.units import KNOT_MPS
from firmware_bridge.framing import Framer

PLACES = {  # log name's start: south, north, west, east [deg]
    "lake-20": (46.2, 46.6, 6.1, 6.75),
    "race33": (46.2, 46.6, 6.1, 6.75),
    "lake-nl": (52.8, 52.9, 5.25, 5.35),
    "bay": (54.80, 54.90, 9.48, 9.56),
    "coast": (59.95, 60.10, 23.4, 23.6),
    "ocean": (-9.3, -8.9, -140.4, -139.8),
    "small": (44.4, 44.5, -71.7, -71.6),
    "gn-gps": (47.6, 47.75, -3.5, -3.3),
    "harbour": (53.1, 53.25, 5.35, 5.5),
}
YEAR = re.compile(r"20\d\d")


@cache
def framed(path: Path) -> tuple[str, ...]:
    framer = Framer()
    return (*framer.feed(path.read_bytes()), *framer.flush())


@cache
def all_decoded(path: Path) -> tuple[Decoded, ...]:
    return tuple(decode(Sentence(float(n), "file:log", text)) for n, text in enumerate(framed(path)))


def logs(shared: Path) -> list[Path]:
    return sorted(path for path in (shared / "nmea").iterdir() if path.suffix in {".nmea", ".log"})


def test_values_are_in_range_and_where_the_boat_was(shared: Path) -> None:
    for path in logs(shared):
        south, north, west, east = next(box for start, box in PLACES.items() if path.name.startswith(start))
        seen = defaultdict(list)
        for got in all_decoded(path):
            assert {reject.split(" ", 1)[1] for reject in got.rejects} <= set(REJECT_REASONS)
            for reading in got.readings:
                seen[reading.quantity].append(reading.value)
        for quantity, values in seen.items():
            gate = QUANTITIES[quantity]
            assert gate.low <= min(values) <= max(values) <= gate.high, (path.name, quantity)
        assert all(south < lat < north for lat in seen["lat_deg"]), path.name
        assert all(west < lon < east for lon in seen["lon_deg"]), path.name
        assert (
            max(seen["stw_mps"], default=0.0) <= 7.7 * KNOT_MPS + 1e-9
        )  # README: largest STW of all logs, kn


def test_dates_are_the_year_in_the_name(shared: Path) -> None:
    checked = 0
    for path in logs(shared):
        years = {got.utc[:4] for got in all_decoded(path) if got.utc}
        named = YEAR.search(path.name)
        if years and named:
            assert years == {named[0]}, path.name
            checked += 1
    assert checked >= 9


def test_median_water_speed_is_that_of_the_readme(shared: Path) -> None:
    """README column "STW min/med/max kn", rounded there to 0.1 kn."""
    rows = re.findall(
        r"^\| (\S+) \|.*?\| ([\d.]+)/([\d.]+)/([\d.]+) \|", (shared / "nmea" / "README.md").read_text(), re.M
    )
    assert len(rows) >= 11
    for name, *expected in rows:
        speeds = sorted(
            reading.value / KNOT_MPS
            for got in all_decoded(shared / "nmea" / name)
            for reading in got.readings
            if reading.quantity == "stw_mps"
        )
        got_kn = [speeds[0], speeds[len(speeds) // 2], speeds[-1]]
        assert got_kn == pytest.approx([float(text) for text in expected], abs=0.06), name


def test_positions_and_ground_speeds_agree_with_pynmea2(shared: Path) -> None:
    compared = 0
    for path in logs(shared):
        for text, got in list(zip(framed(path), all_decoded(path), strict=True))[::23]:
            if kind_of(text) != "RMC" or not got.readings:
                continue
            peer = pynmea2.parse(text, check=True)
            ours = {reading.quantity: reading.value for reading in got.readings}
            assert ours["lat_deg"] == pytest.approx(peer.latitude, abs=1e-9)
            assert ours["lon_deg"] == pytest.approx(peer.longitude, abs=1e-9)
            assert ours["sog_mps"] == pytest.approx(peer.spd_over_grnd * KNOT_MPS, abs=1e-9)
            assert got.utc == peer.datetime.strftime("%Y-%m-%dT%H:%M:%SZ")
            compared += 1
    assert compared > 1000


def test_replay_clock_keeps_order_and_the_minutes_of_the_readme(shared: Path) -> None:
    """README column "min": RMC time gaps of 60 s or less, summed, rounded there to 0.1 min."""
    rows = dict(
        re.findall(
            r"^\| (\S+) \| [\d.]+ \| ([\d.]+) \| \d", (shared / "nmea" / "README.md").read_text(), re.M
        )
    )
    assert set(rows) == {path.name for path in logs(shared)}
    for path in logs(shared):
        clock = replay_clock(framed(path))
        items = list(clock)
        assert [item.text for item in items] == list(framed(path))
        assert items[0].t_s == 0.0
        assert all(before.t_s < after.t_s for before, after in pairwise(items)), path.name
        minutes = float(rows[path.name])
        if minutes > 0.0:
            assert clock.marked_s / 60.0 == pytest.approx(minutes, rel=0.02, abs=0.08), path.name
            running_s = sum(b.t_s - a.t_s for a, b in pairwise(items) if not b.gap)
            # before the first time said, sentences take their usual time: up to 2 min in these files
            assert -0.05 < running_s / 60.0 - clock.marked_s / 60.0 < 2.0, path.name


def test_replay_clock_of_the_log_whose_sums_are_wrong_is_assumed(shared: Path) -> None:
    """Hardly a sentence is left, none with a time: one cycle of the commonest is 1 s."""
    texts = framed(shared / "nmea" / "bay-2013-07-31-badsums.nmea")
    clock = replay_clock(texts)
    assert (clock.assumed, clock.source) == (True, "assumed")
    commonest = [item.t_s for item in clock if item.text[3:6] == "RMB"]
    assert all(b - a == pytest.approx(1.0) for a, b in pairwise(commonest))
    assert {item.utc for item in clock} == {None}


def test_replay_clock_finds_the_gap_of_a_log(shared: Path) -> None:
    """One RMC of lake-2008-05-21 comes 140 s after the one before it: the only jump over 60 s of all logs."""
    gaps = {}
    for path in logs(shared):
        items = list(replay_clock(framed(path)))
        found = [(a, b) for a, b in pairwise(items) if b.gap]
        if found:
            gaps[path.name] = sum(b.t_s - a.t_s for a, b in found)
    assert gaps == {"lake-2008-05-21-noise.nmea": pytest.approx(140.0, abs=4.0)}
