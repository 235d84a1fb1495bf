"""Answers at the dock against the live lines, physics that needs no model, and the command's own words."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from live_tools import Live

from assistant import config
from assistant.__main__ import main
from assistant.configured import Config
from assistant.dock_ask import Question, asked, water_at
from assistant.errors import OptionError
from assistant.lines import dock
from assistant.lines.chain import Water
from assistant.lines.depth_curve import depth_curve
from assistant.lines.gear import RodSetting, towed
from assistant.lines.steady import straight
from assistant.messages import LINE_QUANTITIES, LineState

EVERY_RIG = Path(__file__).resolve().parent / "every_rig"
MPH = 0.44704
FT = 0.3048


@cache
def loaded(directory: Path | None = None) -> Config:
    """A configuration, read once."""
    return config.load(directory)


@cache
def ready(directory: Path | None = None) -> dock.Dock:
    """The same with its draws."""
    return dock.at_dock(loaded(directory))


def answer(rod: str, directory: Path | None = None, **changes: Any) -> LineState:
    """One rod as configured but for the changes, at 2.4 mph."""
    rods = loaded(directory).rods
    k = next(k for k, r in enumerate(rods) if r.name == rod)
    ask = dock.Ask(rods[k].line_out_m, None, 2.4 * MPH, Water(999.0))
    return dock.line_at(ready(directory), k, replace(ask, **changes))


@cache
def live(directory: Path | None = None) -> dict[str, LineState]:
    """The live lines, settled on a straight course at 2.4 mph known exactly."""
    return Live(loaded(directory), 2.4 * MPH, sigma=0.0).lines()


@pytest.mark.parametrize("directory", [None, EVERY_RIG], ids=["packaged", "every rig"])
def test_the_same_as_the_live_lines(directory: Path | None) -> None:
    """Settled lines are straight pieces of the same line: 0.2 % or 2 cm; bands: the members in 10 pieces."""
    for rod, now in live(directory).items():
        there = answer(rod, directory)
        for name in LINE_QUANTITIES:
            a, b = getattr(there, name), getattr(now, name)
            assert a.value == pytest.approx(b.value, rel=2e-3, abs=0.02), (rod, name)
        a, b = there.depth_m, now.depth_m
        assert a.high - a.low == pytest.approx(b.high - b.low, rel=0.05, abs=0.05), rod


def test_port_and_starboard_are_mirror_images() -> None:
    left, right = answer("P1"), answer("S1")
    assert left.depth_m.value == pytest.approx(right.depth_m.value, abs=1e-6)
    assert left.swing_m.value == pytest.approx(-(right.swing_m.value or math.nan), abs=1e-6)
    assert (left.swing_m.value or 0.0) < 0.0


def test_setting_nought_runs_straight_and_deeper() -> None:
    # common practice: setting 0 runs straight behind, a higher setting runs higher and further out
    by_setting = [answer("S2", setting=mark) for mark in (0.0, 1.0, 2.0, 3.0)]
    assert by_setting[0].swing_m.value == pytest.approx(0.0, abs=1e-9)
    swings = [line.swing_m.value or 0.0 for line in by_setting]
    depths = [line.depth_m.value or 0.0 for line in by_setting]
    assert swings == sorted(swings)
    assert depths == sorted(depths, reverse=True)


def test_every_band_holds_its_value_and_a_slow_planer_is_said_to_be_slow() -> None:
    for rod in loaded(EVERY_RIG).rods:
        for name in LINE_QUANTITIES:
            q = getattr(answer(rod.name, EVERY_RIG), name)
            assert q.low <= q.value <= q.high, (rod.name, name)
    slow = answer("P1", speed_mps=0.4)
    assert "not digging" in slow.conditions
    assert slow.depth_m.state == "doubtful"


def test_marks_on_the_reel_narrow_the_band(tmp_path: Path) -> None:
    marks = ", ".join(
        f'{{ counter = "{c} ft", true = "{t} ft", date = 2026-05-02 }}'
        for c, t in ((50, 44), (100, 87), (160, 138))
    )
    (tmp_path / "reels.toml").write_text(
        f'[[reel]]\nname = "x"\nrod = "C"\nline = "copper-45"\nspooled = 2026-04-11\nmarks = [{marks}]\n'
    )
    (tmp_path / "boat.toml").write_text('id = "x"\ntitle = "X"\n')
    marked, plain = answer("C", tmp_path, line_out_m=160 * FT), answer("C", line_out_m=138 * FT)
    assert marked.depth_m.value == pytest.approx(plain.depth_m.value, rel=0.02)
    wide, narrow = (
        line.setback_m.high - line.setback_m.low for line in (answer("C", line_out_m=160 * FT), marked)
    )
    assert narrow < 0.6 * wide
    shown = run("C", "--config", str(tmp_path), "--card").output
    assert "3 marks, last taped 2026-05-02" in shown


def test_cards_are_what_the_answers_say() -> None:
    """The number on the card, asked for by itself, gives the depth wanted and the same band."""
    card = json.loads(run("S1", "--card", "--json").output)
    assert len(card["rows"]) >= 5
    outs = [row["line_out_m"] for row in card["rows"]]
    assert outs == sorted(outs)
    for row in card["rows"][::4]:
        alone = answer("S1", line_out_m=row["line_out_m"])
        assert alone.depth_m.value == pytest.approx(row["wanted_m"], abs=0.15)  # numbers go by the foot
        assert row["depth_m"]["low"] == pytest.approx(alone.depth_m.low, rel=1e-4)
        assert row["depth_m"]["high"] == pytest.approx(alone.depth_m.high, rel=1e-4)
    assert card["deepest"]["line_out_m"] == pytest.approx(350 * FT, rel=1e-3)


@pytest.mark.parametrize("name", ["colours", "copper", "topshot", "large"])
def test_depths_by_line_out_of_rigs_with_several_counted_parts(name: str) -> None:
    """Every point of the curve, also where one part is in the water and the next in the air, against its own shape."""
    rods = loaded(EVERY_RIG).rods
    k = next(k for k, rod in enumerate(rods) if rod.name == name)
    ask = dock.Ask(1.5 * rods[k].line_out_m, None, 2.4 * MPH, Water(999.0))
    curve = depth_curve(dock.chain_of(ready(EVERY_RIG), k, ask), ask.water, ask.speed_mps)
    for out, depth in zip(curve.line_out_m, curve.depth_m, strict=True):
        chain = towed(loaded(EVERY_RIG), rods[k], RodSetting(float(out)), ask.water)
        assert depth == pytest.approx(straight(chain, ask.water, ask.speed_mps).points_m[0, 2], abs=3e-3)


def test_a_card_for_a_line_on_another_line_is_refused() -> None:
    result = run("second", "--card", "--config", str(EVERY_RIG))
    assert result.exit_code == 2
    assert "rigger" in result.stderr


def test_cold_water_is_heavier_and_the_sea_keeps_its_salt() -> None:
    fresh = loaded()
    salt = replace(fresh, boat=replace(fresh.boat, water_density_kg_m3=1025.0))
    # IAPWS-95: 999.702 at 10 C, 998.206 at 20 C
    assert water_at(fresh, 10.0).density_kg_m3 == pytest.approx(999.70, abs=0.01)
    assert water_at(fresh, None).density_kg_m3 == fresh.boat.water_density_kg_m3
    assert water_at(salt, 15.0).density_kg_m3 == pytest.approx(1025.0)
    assert water_at(salt, 20.0).density_kg_m3 < 1025.0


def run(*arguments: str) -> Result:
    """The command."""
    return CliRunner().invoke(main, ["depth", *arguments])


def test_json_answers() -> None:
    result = run("S2", "--json", "--out", "150ft", "--setting", "1.5", "--speed", "2.4mph", "--water", "50F")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert told["rod"] == "S2"
    assert told["line_out_m"] == pytest.approx(45.72)
    assert told["setting"] == 1.5
    assert told["speed_mps"] == pytest.approx(1.072896)
    assert told["water_temp_c"] == pytest.approx(10.0)
    for name, unit in LINE_QUANTITIES.items():
        q = told[name]
        assert q["unit"] == unit
        assert q["low"] <= q["value"] <= q["high"]
        assert q["state"] == "ok"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("--out", "150ft"), ("--out", "45.72 m")),
        (("--out", "50yd"), ("--out", " 150 FT ")),
        (("--speed", "2.4mph"), ("--speed", "1.072896m/s")),
        (("--speed", "2kn"), ("--speed", "3.704 km/h")),
        (("--water", "50F"), ("--water", "10 C")),
        (("--water", "59 °f"), ("--water", "15c")),
    ],
)
def test_units_say_the_same(one: tuple[str, str], other: tuple[str, str]) -> None:
    def understood(option: str, typed: str) -> tuple[float, ...]:
        ask = asked(loaded(), "P1", Question(**{option.removeprefix("--"): typed})).ask
        return ask.line_out_m, ask.speed_mps, ask.water.density_kg_m3

    assert understood(*one) == pytest.approx(understood(*other), rel=1e-9)


@pytest.mark.parametrize(
    ("arguments", "allowed"),
    [
        (("P1", "--out", "150"), "ft"),
        (("P1", "--out", "-3ft"), "1.641..1968 ft"),
        (("P1", "--out", "9999ft"), "1.641..1968 ft"),
        (("P1", "--out", "ft"), "ft"),
        (("P1", "--out", "1e3ft"), "ft"),
        (("P1", "--speed", "0mph"), "0.4474..8.947 mph"),
        (("P1", "--speed", "nan mph"), "mph"),
        (("P1", "--speed", "9 m/s"), "0.2..4 m/s"),
        (("P1", "--speed", "2.4 ft"), "kn"),
        (("P1", "--water", "200F"), "32..95 F"),
        (("P1", "--water", "-1C"), "0..35 C"),
        (("P1", "--setting", "9"), "0..3.5"),
        (("P1", "--setting", "A"), "0..3.5"),
        (("W", "--setting", "1"), "no planer"),
        (("Q9",), "P2, P1, R1"),
        (("labels", "--setting", "Z", "--config", str(EVERY_RIG)), "A"),
        (("straight", "--setting", "1", "--config", str(EVERY_RIG)), "no planer with a dial"),
    ],
)
def test_nonsense_is_refused_with_what_is_allowed(arguments: tuple[str, ...], allowed: str) -> None:
    for more in ((), ("--card",), ("--json",)):
        result = run(*arguments, *more)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert len(result.stderr.splitlines()) == 1
        assert allowed in result.stderr


def test_text_is_one_screen_in_the_units_configured(tmp_path: Path) -> None:
    (tmp_path / "boat.toml").write_text('id = "x"\ntitle = "X"\nunits = "metric"\n')
    plain, metric = run("P1"), run("P1", "--config", str(tmp_path))
    for result in (plain, metric, run("R2", "--card"), run("C", "--card", "--config", str(tmp_path))):
        assert result.exit_code == 0
        assert len(result.output.splitlines()) <= 24
    for word in (
        "depth",
        "swing",
        "astern",
        "pull",
        "lure speed",
        "2.4 mph",
        "no --speed given",
        "175 ft",
        "no marks: wide",
    ):
        assert word in plain.output
    assert "1.07 m/s" in metric.output
    assert "53.3 m out" in metric.output


def test_a_dial_amidships_does_not_say_which_side() -> None:
    rod = replace(loaded().rods[1], side="centre")
    with pytest.raises(OptionError, match="want 0"):
        asked(replace(loaded(), rods=(rod,)), "P1", Question(setting="1"))


def test_facts_that_contradict_are_said_to_be_refused(tmp_path: Path) -> None:
    """One fact of a disc, told twice, once of half the depth."""
    fact = """[[fact]]
about = "made up"
rig = [{ line = "wire-30" }, { body = "disc-large", setting = 1.0 }, { line = "mono-30", length = "8 ft" },
    { body = "spoon" }]
line_out = "150 ft"
speed = ["2.4 mph", "2.4 mph"]
depth = { value = "%d ft", low = "%d ft", high = "%d ft", source = "made up for this test" }
"""
    (tmp_path / "facts.toml").write_text(fact % (70, 69, 71) + fact % (35, 34, 36))
    told = ("--config", str(tmp_path))
    for arguments in ((), ("--card",)):
        assert "contradict" in run("P1", *arguments, *told).output.splitlines()[-1]
        assert "contradict" not in run("P1", *arguments).output
        assert "contradict" in json.loads(run("P1", *arguments, "--json", *told).output)["not_used"]
        assert "not_used" not in json.loads(run("P1", *arguments, "--json").output)
