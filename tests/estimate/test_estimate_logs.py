"""Recorded logs of real boats through decoder, gate and estimate. Facts about the logs: the README beside them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from estimate_days import CONFIG

from assistant.estimate import boat
from assistant.messages import BOAT_QUANTITIES, Accepted, BoatState, Sentence
from assistant.sensing import nmea, quality
from assistant.sensing.clock import replay_clock
from firmware_bridge.framing import Framer

LAKE_VARIATION_DEG = 1.0  # Lake Geneva, as the HDG sentences of the 2014 log say it
ROWS = 5000  # sentences read of each log: about ten minutes


def states(path: Path, rows: int = ROWS) -> list[BoatState]:
    framer = Framer()
    texts = [*framer.feed(path.read_bytes()), *framer.flush()][:rows]
    config = replace(CONFIG, variation_deg=LAKE_VARIATION_DEG)
    gates, state, out = quality.GateState(), boat.initial(config), []
    accepted: list[Accepted] = []
    tick = 1
    for timed in replay_clock(texts):
        while tick * 0.25 < timed.t_s:
            state, shown = boat.update(state, accepted, tick * 0.25)
            out.append(shown)
            accepted, tick = [], tick + 1
        for reading in nmea.decode(Sentence(timed.t_s, "log", timed.text)).readings:
            gates, good, _ = quality.gate(gates, reading)
            if good is not None:
                accepted.append(good)
    return out


@pytest.mark.parametrize(
    "name", ["lake-2008-06-18.nmea", "lake-2008-08-20.nmea", "lake-2014-06-18.nmea", "race33-2014-08-21.nmea"]
)
def test_ordinary_lake_logs_are_ok(shared: Path, name: str) -> None:
    shown = states(shared / "nmea" / name)
    for q in ("heading_rad", "sog_mps", "water_temp_c"):
        seen = [getattr(b, q) for b in shown]
        first = next(k for k, e in enumerate(seen) if e.state == "ok")
        ok = sum(e.state == "ok" for e in seen[first:]) / len(seen[first:])
        assert ok >= 0.95, (q, ok, Counter(e.cause for e in seen))
    assert all(b.water_temp_c.value is None or b.water_temp_c.value > 12.0 for b in shown)
    drifts = sorted(b.drift_mps.value for b in shown if b.drift_mps.value is not None)
    assert drifts[len(drifts) // 2] < 0.6, "a lake's surface current, a log's factor error included"


def test_every_log_goes_through_and_dead_means_no_number(shared: Path) -> None:
    for path in sorted((shared / "nmea").glob("*.*")):
        if path.suffix not in (".nmea", ".log"):
            continue
        for b in states(path, 1500):
            for q in BOAT_QUANTITIES:
                e = getattr(b, q)
                assert (e.value is None) == (e.state == "dead"), (path.name, q)


def test_a_log_without_speed_log_and_compass_names_its_stand_ins(shared: Path) -> None:
    shown = states(shared / "nmea" / "gn-gps-only-2024.nmea")
    assert {b.stw_mps.source for b in shown if b.stw_mps.state == "doubtful"} == {"GPS only"}
    assert all(b.heading_rad.state != "ok" and b.drift_mps.value is None for b in shown)
