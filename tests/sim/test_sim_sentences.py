"""What the simulated instruments say: readable by another's parser, right, repeatable, and wrong only as asked."""

from __future__ import annotations

import collections
import datetime
import math
from pathlib import Path
from typing import Any

import numpy as np
import pynmea2
import pytest
from sim_stream import CALM, EXACT, LEGS, play, write

from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES
from assistant.units import KNOT_MPS
from sim.faults import FAULTS
from sim.scenario import names

START = datetime.datetime(2026, 7, 18, 8, 10, tzinfo=datetime.UTC)


def parsed(sentences: list[str], kind: str) -> list[Any]:
    """All sentences of a type, read by pynmea2 with their checksums required."""
    return [pynmea2.parse(s, check=True) for s in sentences if s[3:6] == kind]


@pytest.mark.parametrize("name", names())
def test_every_scenario_speaks(tmp_path: Path, name: str) -> None:
    sentences, _ = play(tmp_path, name, "--seconds", "20")
    assert all(len(s) <= 80 and s.isascii() for s in sentences)  # 82 with the line end: IEC 61162-1
    kinds = collections.Counter(type(pynmea2.parse(s, check=True)).__name__ for s in sentences)
    assert {"RMC", "VTG", "GGA", "VHW", "HDG", "DPT", "MTW", "ZDA"} <= set(kinds)
    cells = kinds.pop("XDR", 0)  # load cells come on top
    assert (len(sentences) - cells) / 20.0 == pytest.approx(20.0, rel=0.1)
    assert kinds["HDG"] == 10 * 20


def test_the_same_seed_says_the_same(tmp_path: Path) -> None:
    first, _ = play(tmp_path, "s-turns", "--seconds", "30", "--seed", "5")
    again, truth = play(tmp_path, "s-turns", "--seconds", "30", "--seed", "5", truth=True)
    other, _ = play(tmp_path, "s-turns", "--seconds", "30", "--seed", "6")
    assert first == again
    assert first != other
    assert [row["t_s"] for row in truth] == [float(t) for t in range(31)]


def test_truth_has_the_published_names_and_the_same_clock(tmp_path: Path) -> None:
    sentences, truth = play(tmp_path, "straight-layered", "--seconds", "3", truth=True)
    for row in truth:
        assert row.keys() == {"t_s", "utc", "boat", "lines"}
        assert row["boat"].keys() == BOAT_QUANTITIES.keys()
        assert list(row["lines"]) == ["P2", "P1", "R1", "W", "C", "R2", "S1", "S2"]
        assert all(line.keys() == LINE_QUANTITIES.keys() for line in row["lines"].values())
        assert datetime.datetime.fromisoformat(row["utc"]) == START + datetime.timedelta(seconds=row["t_s"])
    rmc = parsed(sentences, "RMC")
    assert rmc[0].datetime == START
    assert [m.datetime for m in rmc] == [START + datetime.timedelta(seconds=s) for s in range(4)]
    assert sentences[0].startswith("$GPRMC")  # t_s = 0 is the first sentence


def test_sentences_agree_with_the_truth(tmp_path: Path) -> None:
    """Noise off: every field is the truth within its last digit; the position moves as far as it should."""
    text = LEGS + EXACT + "without = []\n" + CALM + "[water]\nsurface_drift_mps = 0.2\nsurface_set_deg = 30\n"
    sentences, truth = play(tmp_path, write(tmp_path, text), truth=True)
    rmc, vhw, vtg = (parsed(sentences, kind) for kind in ("RMC", "VHW", "VTG"))
    for row, m, v in zip(truth, rmc, vtg, strict=False):
        boat = row["boat"]
        assert float(m.spd_over_grnd) * KNOT_MPS == pytest.approx(boat["sog_mps"], abs=0.004)
        assert float(m.true_course) == pytest.approx(math.degrees(boat["cog_rad"]), abs=0.06)
        assert (m.latitude, m.longitude) == pytest.approx((boat["lat_deg"], boat["lon_deg"]), abs=1e-6)
        assert float(m.mag_variation) == 9.0
        assert m.mag_var_dir == "W"
        assert (float(v.mag_track) - float(v.true_track)) % 360.0 == pytest.approx(9.0, abs=0.11)
    last, boat = vhw[-1], truth[-1]["boat"]
    assert float(last.water_speed_knots) * KNOT_MPS == pytest.approx(boat["stw_mps"], abs=0.004)
    assert float(last.heading_true) == pytest.approx(
        math.degrees(boat["heading_rad"]), abs=1.6
    )  # half a second old
    assert (float(last.heading_magnetic) - float(last.heading_true)) % 360.0 == pytest.approx(9.0, abs=0.11)
    depth, dbt = parsed(sentences, "DPT")[0], parsed(sentences, "DBT")[0]
    assert float(depth.depth) + float(depth.offset) == pytest.approx(
        truth[0]["boat"]["water_depth_m"], abs=0.06
    )
    assert float(dbt.depth_feet) * 0.3048 == pytest.approx(float(dbt.depth_meters), abs=0.07)
    turn = float(parsed(sentences, "ROT")[-1].rate_of_turn) / 60.0
    assert turn == pytest.approx(3.0, abs=0.5)
    # a degree at 45 N on WGS 84: 111 131.75 m of latitude, 78 846.80 m of longitude (NIMA length-of-a-degree tables)
    north, east = (
        metres * (truth[20]["boat"][key] - truth[0]["boat"][key])
        for key, metres in (("lat_deg", 111_131.75), ("lon_deg", 78_846.80))
    )
    assert math.hypot(north, east) == pytest.approx(20.0 * truth[5]["boat"]["sog_mps"], abs=0.01)
    assert math.degrees(math.atan2(east, north)) == pytest.approx(
        math.degrees(truth[5]["boat"]["cog_rad"]), abs=0.01
    )


def test_heading_is_the_integral_of_rate_of_turn(tmp_path: Path) -> None:
    _, truth = play(tmp_path, write(tmp_path, LEGS + CALM), truth=True)
    heading = np.unwrap([row["boat"]["heading_rad"] for row in truth])
    rate = np.array([row["boat"]["rate_of_turn_radps"] for row in truth])
    turned = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]))))
    np.testing.assert_allclose(heading - heading[0], turned, atol=0.02)
    assert math.degrees(heading[-1] - heading[0]) == pytest.approx(3.0 * (30.0 - 2.0), abs=2.0)  # 2 s of lag


def test_ground_is_water_plus_current(tmp_path: Path) -> None:
    _, truth = play(tmp_path, "s-turns-layered", "--seconds", "5", truth=True)
    for row in truth:
        b = row["boat"]
        ground = b["sog_mps"] * np.exp(1j * b["cog_rad"])
        water = b["stw_mps"] * np.exp(1j * b["heading_rad"])
        assert abs(ground - water - b["drift_mps"] * np.exp(1j * b["set_rad"])) < 1e-9


FAULTY = LEGS + EXACT + CALM + "[[faults]]\nstart_s = 10\nstop_s = 20\n"


def around(sentences: list[str], at_s: float) -> list[str]:
    """The sentences of one second, told by the RMC before them."""
    starts = [i for i, s in enumerate(sentences) if "RMC" in s]
    return sentences[starts[int(at_s)] : starts[int(at_s) + 1]]


@pytest.mark.parametrize("kind", FAULTS)
def test_every_fault_strikes_and_ends(tmp_path: Path, kind: str) -> None:
    target = (
        "quantity = 'stw_mps'\nsize = 2.5\n"
        if FAULTS[kind] == "quantity"
        else "sentence = 'VHW'\nsize = 0.3\n"
    )
    clean, _ = play(tmp_path, write(tmp_path, FAULTY.partition("[[faults]]")[0]))
    struck, _ = play(tmp_path, write(tmp_path, f"{FAULTY}kind = '{kind}'\n{target}"))
    assert around(struck, 5) == around(clean, 5)
    assert around(struck, 25) == around(clean, 25)
    if kind != "freeze":  # held at what it was: nothing to see at a steady speed
        assert around(struck, 15) != around(clean, 15)
    others = [s for s in around(struck, 15) if "HDG" in s]
    assert others == [s for s in around(clean, 15) if "HDG" in s]


def test_a_frozen_heading_stays(tmp_path: Path) -> None:
    text = f"{FAULTY}kind = 'freeze'\nquantity = 'heading_rad'\n".replace(
        "start_s = 10", "start_s = 35"
    ).replace("stop_s = 20", "stop_s = 50")
    sentences, _ = play(tmp_path, write(tmp_path, text))
    frozen = {s for t in range(36, 49) for s in around(sentences, t) if "HDG" in s}
    assert len(frozen) == 1
    assert len({s for s in around(sentences, 52) if "HDG" in s}) > 3


def test_a_lost_fix_is_void(tmp_path: Path) -> None:
    text = f"{FAULTY}kind = 'blank'\nquantity = 'lat_deg'\n"
    sentences, _ = play(tmp_path, write(tmp_path, text))
    states = [m.status for m in parsed(sentences, "RMC")]
    assert states[:10] == ["A"] * 10
    assert states[10:20] == ["V"] * 10
    assert states[20] == "A"


def test_fifty_sentences_a_second(tmp_path: Path) -> None:
    text = LEGS + "[instruments]\nsentences_per_s = 50\nwithout = ['GLL', 'DBT', 'ROT', 'HDT']\n"
    sentences, _ = play(tmp_path, write(tmp_path, text), "--seconds", "20")
    assert len(sentences) / 20.0 == pytest.approx(50.0, rel=0.06)


def test_log_and_compass_read_wrong_as_asked(tmp_path: Path) -> None:
    exact = EXACT + "log_factor = 0.87\ncompass_offset_deg = 3.0\n"
    sentences, _ = play(tmp_path, write(tmp_path, LEGS + exact + CALM), "--seconds", "2")
    vhw = parsed(sentences, "VHW")[0]
    assert float(vhw.water_speed_knots) == pytest.approx(0.87 * 2.0 * 1609.344 / 1852.0, abs=0.006)
    assert float(vhw.heading_true) == 93.0
