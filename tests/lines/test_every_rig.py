"""Every kind of rig a boat ties on: what must hold of it whatever its coefficients are."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rig_tools import FT, LB, WATER, body, every_rod, line, made_up, spread, tow

from assistant.configured import Coefficient, Config, Rod
from assistant.lines import ensemble
from assistant.lines.chain import Towed
from assistant.lines.fleet import Cut
from assistant.lines.gear import RodSetting, counted_m, parts_out, towed
from assistant.lines.groups import SHORTEST_M, live_counts
from assistant.lines.spread import CUT

RODS = every_rod()
NAMES = [rod.name for _, rod in RODS]
DISCS = ("disc-mini", "disc-standard", "disc-large")


def chain(rod: Rod, loaded: Config | None = None, **setting: object) -> Towed:
    """A rod as it would be towed."""
    now = replace(RodSetting(rod.line_out_m), **setting)  # type: ignore[arg-type]
    return towed(loaded or spread("every_rig"), rod, now, WATER)


def disc(
    setting: float | str | None, name: str = "disc-standard", main: str = "braid-65", **other: object
) -> Rod:
    """A planer on 140 ft of line, a leader and a spoon."""
    rig = (line(main), body(name, setting), line("mono-20", 10.0), body("spoon"))
    return made_up(*rig, out_ft=140.0, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(("loaded", "rod"), RODS, ids=NAMES)
@pytest.mark.parametrize("mph", [2.0, 2.4, 2.8])
def test_plausible_and_deeper_with_more_line(loaded: Config, rod: Rod, mph: float) -> None:
    depths = []
    for share in (0.6, 0.8, 1.0, 1.2):
        found = tow(rod, mph, loaded, line_out_m=share * rod.line_out_m)
        length = chain(rod, loaded, line_out_m=share * rod.line_out_m).length_m()
        assert 0.0 < found.depth_m < length
        assert math.hypot(found.depth_m, found.swing_m, found.setback_m) < 1.1 * length  # rubber stretches
        assert found.setback_m > 0.0
        assert 0.1 * LB < found.pull_n < 20.0 * LB
        depths.append(found.depth_m)
    assert depths == sorted(depths)


@pytest.mark.parametrize("name", DISCS)
def test_setting_0_runs_straight(name: str) -> None:
    assert tow(disc(0.0, name), 2.4).swing_m == pytest.approx(0.0, abs=1e-6)
    assert tow(disc(1.0, name), 2.4).swing_m > 1.0


@pytest.mark.parametrize("name", DISCS)
def test_a_higher_setting_runs_higher_and_further_out(name: str) -> None:
    tows = [tow(disc(setting, name), 2.4) for setting in (0.0, 1.0, 2.0, 3.0)]
    assert [t.depth_m for t in tows] == sorted((t.depth_m for t in tows), reverse=True)
    assert [t.swing_m for t in tows] == sorted(t.swing_m for t in tows)


def test_port_mirrors_starboard() -> None:
    for setting in (1.0, 3.0):
        port, starboard = tow(disc(setting, side="port"), 2.4), tow(disc(setting), 2.4)
        assert port.swing_m == pytest.approx(-starboard.swing_m, rel=1e-6)
        assert (port.depth_m, port.pull_n) == pytest.approx((starboard.depth_m, starboard.pull_n), rel=1e-6)


@pytest.mark.parametrize(
    "thin_first",
    [("braid-30", "braid-50", "braid-65"), ("mono-20", "mono-30", "mono-40"), ("wire-30", "wire-40")],
)
def test_thinner_line_of_a_kind_runs_deeper(thin_first: tuple[str, ...]) -> None:
    depths = [tow(disc(2.0, main=name), 2.4).depth_m for name in thin_first]
    assert depths == sorted(depths, reverse=True)


def test_a_label_is_its_angle() -> None:
    """Label B stands for 37 degrees, on the same plate as the dial whose mark turns 15 degrees."""
    assert tow(disc("B", "disc-labels"), 2.4).swing_m == pytest.approx(
        tow(disc(37 / 15, "disc-large"), 2.4).swing_m
    )
    assert tow(disc("A", "disc-labels"), 2.4, setting="B") == tow(disc("B", "disc-labels"), 2.4)


def test_a_planer_without_a_dial_runs_straight() -> None:
    assert tow(disc(None, "disc-straight"), 2.4).depth_m == pytest.approx(tow(disc(0.0), 2.4).depth_m)


def test_a_sliding_planer_is_at_the_lure_once_tripped() -> None:
    stays, slides = (chain(disc(2.0, name), tripped=True) for name in ("disc-standard", "disc-sliding"))
    (lure, plate), (both, nothing) = stays.bodies, slides.bodies
    assert lure is not None and plate is not None and both is not None and nothing is None
    assert both.drag_area_m2 == pytest.approx(lure.drag_area_m2 + plate.drag_area_m2)
    assert both.wet_weight_n == pytest.approx(lure.wet_weight_n + plate.wet_weight_n)
    assert chain(disc(2.0, "disc-sliding")) == chain(disc(2.0))
    # whose weight at the far end pulls the lure down with it
    assert (
        tow(disc(2.0, "disc-sliding"), 2.4, tripped=True).depth_m > tow(disc(2.0), 2.4, tripped=True).depth_m
    )


def test_a_bigger_planer_runs_deeper_and_pulls_more() -> None:
    tows = [tow(disc(2.0, name), 2.4) for name in DISCS]
    assert [t.depth_m for t in tows] == sorted(t.depth_m for t in tows)
    assert [t.pull_n for t in tows] == sorted(t.pull_n for t in tows)


def test_a_diving_lip_takes_a_plug_down() -> None:
    flat = made_up(line("mono-20"), body("plug"), out_ft=100.0)
    lipped = made_up(line("mono-20"), body("plug-diving"), out_ft=100.0)
    assert tow(lipped, 2.0).depth_m > 3.0 * tow(flat, 2.0).depth_m


def test_half_a_colour_counts() -> None:
    """Five and a half colours are 165 ft, and a backing is what is left of the counter."""
    rod = next(r for r in spread("every_rig").rods if r.name == "colours")
    assert [s.length_m / FT for s in chain(rod).segments] == pytest.approx([20.0, 165.0, 50.0])
    wound = chain(rod, line_out_m=100.0 * FT)  # the backing is up, and some of the core
    assert [s.length_m / FT for s in wound.segments] == pytest.approx(
        [20.0, 100.0 - SHORTEST_M / FT, SHORTEST_M / FT]
    )
    assert (chain(rod).running, wound.running) == (2, 1)


@given(
    fixed=st.lists(st.floats(1.0, 100.0), max_size=4).map(tuple),
    total=st.floats(0.0, 500.0),
)
def test_parts_add_up_to_what_is_out(fixed: tuple[float, ...], total: float) -> None:
    lengths, running = parts_out(fixed, total)
    assert len(lengths) == len(fixed) + 1
    assert all(length >= SHORTEST_M for k, length in enumerate(lengths) if k != running)
    if total >= SHORTEST_M * (len(fixed) + 1):
        assert sum(lengths) == pytest.approx(total)
    assert lengths[running + 1 :] == fixed[running:]
    more, _ = parts_out(fixed, total + 0.01)  # and nothing jumps as another part begins to run
    assert more == pytest.approx(lengths, abs=0.011)


@pytest.mark.parametrize(("loaded", "rod"), RODS, ids=NAMES)
@pytest.mark.parametrize("cut", [CUT, ensemble.CUT], ids=["fine", "ensemble"])
def test_every_part_has_its_pieces(loaded: Config, rod: Rod, cut: Cut) -> None:
    total, below = cut.total, cut.below
    counts = live_counts(chain(rod, loaded), total, below)
    assert sum(counts) == total
    assert min(counts) >= 1
    assert counts == live_counts(chain(rod, loaded, line_out_m=0.3 * rod.line_out_m), total, below)
    assert sum(counts[-1 - len(counted_m(rod)) :]) >= total // 2


def test_strumming_multiplies_normal_drag() -> None:
    loaded = spread("every_rig")
    braid = loaded.lines["braid-65"]
    hum = {**braid.coefficients, "strumming": Coefficient(1.4, 1.2, 1.6, "a test")}
    humming = replace(loaded, lines={**loaded.lines, "braid-65": replace(braid, coefficients=hum)})
    still, loud = chain(disc(2.0)), chain(disc(2.0), humming)
    assert loud.segments[-1].normal_drag == pytest.approx(1.4 * still.segments[-1].normal_drag)
    assert loud.segments[0] == still.segments[0]


def test_fleas_thicken_a_line_and_leave_its_weight_in_water() -> None:
    loaded = spread("every_rig")
    boat = replace(loaded.boat, fleas_mm_per_hour=Coefficient(0.5, 0.2, 1.0, "a test"))
    clean, fouled = (chain(disc(2.0), replace(loaded, boat=boat), fouled_h=hours) for hours in (0.0, 2.0))
    assert clean == chain(disc(2.0))
    thin, thick = clean.segments[-1], fouled.segments[-1]
    assert thick.diameter_m - thin.diameter_m == pytest.approx(1e-3)

    def sinks(diameter: float, mass: float) -> float:
        return mass - 1000.0 * math.pi / 4.0 * diameter**2

    assert sinks(thick.diameter_m, thick.mass_kg_m) == pytest.approx(
        sinks(thin.diameter_m, thin.mass_kg_m), rel=1e-9
    )
