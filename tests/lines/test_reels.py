"""Counter curves against spools unwound turn by turn, and what becomes of marks that are old or few."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))
import reels as campaign

from assistant import config
from assistant.configured import UNMARKED, UNMARKED_CABLE, Config, Reel, ReelMark
from assistant.lines import reels
from assistant.lines.draws import at_normal
from assistant.lines.ensemble import EACH, unknowns

DAY = "2026-05-02"
TURN_M, WIDTH_M, DIAMETER_M = 0.1524, 0.045, 0.00033
SPOOL = campaign.Wound(radius_m=0.0215, turns_per_layer=95.0, layer_m=0.0003, started=0.0)


def exact_marks(
    spool: campaign.Wound, counters_m: tuple[float, ...], sigma_m: float = 0.02
) -> list[ReelMark]:
    """Marks without error."""
    return [ReelMark(c, spool.unwound_m(c / TURN_M), DAY, sigma_m) for c in counters_m]


def test_one_layer_is_turns_times_circumference() -> None:
    """The turn-by-turn sum itself, by hand: 10.5 turns of 2 pi R, then 10 of the next layer."""
    spool = campaign.Wound(0.02, 10.5, 0.001, 0.0)
    assert spool.unwound_m(10.0) == pytest.approx(10.0 * 2.0 * math.pi * 0.02)
    assert spool.unwound_m(21.0) == pytest.approx(2.0 * math.pi * (11.0 * 0.02 + 10.0 * 0.019))


def test_a_spool_is_recovered() -> None:
    """Three exact marks give the unwound length at every reading within 0.3 % (a layer of 0.3 mm is 1.4 % of 21 mm)."""
    found = reels.curve(exact_marks(SPOOL, (25.0, 55.0, 90.0)), DIAMETER_M, TURN_M, WIDTH_M, "exact")
    for counter in np.linspace(15.0, 100.0, 18):
        assert found.true_m(float(counter)) == pytest.approx(SPOOL.unwound_m(counter / TURN_M), rel=3e-3)
    assert found.spool is not None
    assert found.spool.radius_m == pytest.approx(SPOOL.radius_m, rel=0.01)
    area = WIDTH_M / SPOOL.turns_per_layer * SPOOL.layer_m  # one turn's share of the spool's cross-section
    assert found.spool.thickness_m == pytest.approx(math.sqrt(area), rel=0.05)


@given(st.floats(0.7, 1.3), st.floats(0.8, 2.0))
def test_the_law_against_its_own_areas(radius: float, thickness: float) -> None:
    """Line that left is the area between the two radii times the width over d^2: r from the turns, L from the curve."""
    full, d = radius * TURN_M / (2.0 * math.pi), thickness * DIAMETER_M
    found = reels.Curve(2.0 * math.pi * full / TURN_M, math.pi * d**2 / (WIDTH_M * TURN_M**2), "given")
    counter = 60.0
    inner = full - d**2 / WIDTH_M * counter / TURN_M
    assert found.true_m(counter) == pytest.approx(math.pi * (full**2 - inner**2) * WIDTH_M / d**2)


def test_coverage_short() -> None:
    """The campaign's short form: the 10-90 % band holds 75-85 % of 500 drawn spools."""
    figures = campaign.campaign(seed=1, n=500)
    assert 0.75 <= figures["coverage"]["all"] <= 0.85


def test_coverage_without_marks() -> None:
    """Bands of reels nobody has taped, thin and thick line together, and of cables; a 60 that is 52 is in them."""
    coverage = campaign.unmarked(np.random.default_rng(5), 1500)["coverage"]
    assert 0.75 <= coverage["reels"] <= 0.85, coverage
    assert min(coverage.values()) > 0.7, coverage
    assert coverage["cable"] < 0.9, coverage
    assert UNMARKED.low < 52.0 / 60.0 < UNMARKED.high


def test_a_downrigger_counts_cable() -> None:
    counters = {rod.name: rod.counter for rod in config.load().rods}
    assert counters["R1"] == UNMARKED_CABLE
    assert counters["S2"] == UNMARKED


def test_few_marks_are_wider_and_more_are_not_worse() -> None:
    """Width of the band at a reading between the marks; with one mark, only the scale is fitted."""
    places = (80.0, 30.0, 55.0, 90.0, 15.0)
    width = []
    for count in range(1, 6):
        marks = exact_marks(SPOOL, places[:count], 0.3)
        found = reels.curve(marks, DIAMETER_M, TURN_M, WIDTH_M, "")
        band = found.factor(50.0)
        width.append(band.high - band.low)
        held = found.spool.thickness_m == pytest.approx(reels.THICKNESS_OVER_DIAMETER * DIAMETER_M)  # type: ignore[union-attr]
        assert held == (count < reels.ENOUGH_MARKS)
    assert width[0] > 1.5 * width[2]
    assert width[1] > 1.5 * width[2]
    assert width[3] <= width[2] * 1.05


def test_an_empty_spool_never_takes_line_back() -> None:
    found = reels.Curve(0.9, 0.004, "given")
    lengths = [found.true_m(float(c)) for c in range(0, 300, 5)]
    assert np.all(np.diff(lengths) > 0.0)


@given(st.floats(0.6, 1.2), st.floats(0.0, 0.006), st.floats(0.0, 250.0))
def test_reading_and_length_are_inverse(full: float, loss: float, counter: float) -> None:
    found = reels.Curve(full, loss, "given")
    assert found.counter_m(found.true_m(counter)) == pytest.approx(counter, rel=1e-6, abs=1e-9)


def with_reel(**fields: object) -> Config:
    """The demo spread with one reel on S2."""
    base = Reel("big", "braid-30", "2025-04-01", rod="S2")
    return replace(config.load(), reels=(replace(base, **fields),))  # type: ignore[arg-type]


def curve_on_s2(loaded: Config) -> reels.Curve:
    """The counter curve of S2."""
    return reels.curve_of(loaded, next(rod for rod in loaded.rods if rod.name == "S2"))


MARKS = tuple(ReelMark(0.3048 * c, 0.3048 * t, DAY) for c, t in ((60, 53), (120, 104), (180, 155)))


def test_a_sixty_that_is_fifty_two() -> None:
    """Marks of a reel that shows 60 for 52 (an invented one): the band at 60 ft is narrow and holds 52/60."""
    marks = tuple(ReelMark(0.3048 * c, 0.3048 * c * 52.0 / 60.0, DAY) for c in (60, 100, 160))
    found = curve_on_s2(with_reel(marks=marks))
    band = found.factor(60 * 0.3048)
    assert band.low < 52.0 / 60.0 < band.high
    assert band.high - band.low < 0.04
    assert "3 marks, last taped 2026-05-02" in found.evidence


def test_no_marks_is_the_wide_band() -> None:
    rod = next(rod for rod in config.load().rods if rod.name == "S2")
    for loaded in (config.load(), with_reel()):
        assert curve_on_s2(loaded).factor(40.0) == rod.counter
        assert "no marks" in curve_on_s2(loaded).evidence


@pytest.mark.parametrize("change", ["respooled", "cut_back"])
def test_marks_expire_when_the_line_changes(change: str) -> None:
    """Marks from before are not used and said so; one taped after counts, alone."""
    gone = curve_on_s2(with_reel(marks=MARKS, **{change: "2026-06-01"}))
    assert gone.flat is not None
    assert "3 from before it was " in gone.evidence and "2026-06-01 not used" in gone.evidence
    fresh = replace(MARKS[1], date="2026-06-01")
    one = curve_on_s2(with_reel(marks=(*MARKS, fresh), **{change: "2026-06-01"}))
    assert one.evidence.startswith("1 mark, last taped 2026-06-01: scale only; 3 from before")
    assert one.ratio(fresh.counter_m) == pytest.approx(fresh.true_m / fresh.counter_m, rel=0.01)


def test_a_fit_wants_marks() -> None:
    with pytest.raises(ValueError, match="no marks"):
        reels.fit([], DIAMETER_M, TURN_M, WIDTH_M)


def test_the_live_lines_take_the_curve_at_the_reading_now() -> None:
    """Member 0 is the curve itself; the others spread as its band does, at whatever the counter shows."""
    loaded = with_reel(marks=MARKS)
    k = next(i for i, rod in enumerate(loaded.rods) if rod.name == "S2")
    counter = unknowns(loaded, 3).counter
    for shown in (20.0, 70.0):
        outs = counter.outs_m([shown] * len(loaded.rods)).reshape(-1, EACH)[k]
        found = curve_on_s2(loaded)
        assert outs[0] == pytest.approx(found.true_m(shown))
        assert np.mean(outs[1:] < shown * found.factor(shown).low) == pytest.approx(0.1, abs=0.05)
        assert [counter.out_m(k * EACH + m, shown) for m in (0, 5)] == pytest.approx([outs[0], outs[5]])
    z = counter.z[k]
    assert outs[7] == pytest.approx(70.0 * at_normal(found.factor(70.0), float(z[7])))
