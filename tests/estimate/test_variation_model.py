"""Magnetic variation by the World Magnetic Model, and the order: sentence, model, config."""

from __future__ import annotations

import math

import pytest

from assistant import locate
from assistant.configured import BoatConfig
from assistant.estimate.boat import EstimatorState
from assistant.messages import Estimate, Inputs, Sentence
from assistant.sensing.variation import model_rad, year_of

# Independent computation: wmm-calculator 1.4.4 (CIRES, University of Colorado), WMM2025, at the surface.
CIRES = (
    (46.3, 6.4, "2026-07-01", 3.08613),
    (43.6, -77.5, "2026-07-18", -11.23332),
    (60.0, 23.5, "2025-06-01", 9.68443),
    (-9.0, -140.0, "2027-01-01", 10.59697),
    (44.4, -71.7, "2028-09-09", -13.94052),
    (45.0, -86.0, "2029-06-30", -5.80525),
)


@pytest.mark.parametrize(("lat", "lon", "day", "degrees"), CIRES)
def test_as_the_model_by_its_makers(lat: float, lon: float, day: str, degrees: float) -> None:
    got = model_rad(lat, lon, f"{day}T12:00:00Z")
    assert got is not None and math.degrees(got) == pytest.approx(degrees, abs=0.01)


def test_outside_its_years_and_near_the_pole_it_does_not_know() -> None:
    assert model_rad(46.3, 6.4, "2008-06-18T12:00:00Z") is None
    assert model_rad(46.3, 6.4, "2031-01-01T00:00:00Z") is None
    assert model_rad(86.0, 140.0, "2026-07-01T00:00:00Z") is None
    assert year_of("2026-07-02T00:00:00Z") == pytest.approx(2026.5, abs=0.003)


def summed(body: str) -> str:
    total = 0
    for character in body:
        total ^= ord(character)
    return f"${body}*{total:02X}"


def heading(
    variation_deg: float | None, sentence: str, date: str = "180726"
) -> tuple[Estimate, EstimatorState]:
    """The heading after 10 s of a compass that shows 200.0 magnetic or so, on an invented lake."""
    state = locate.initial(BoatConfig("m", "M", variation_deg=variation_deg))
    shown = Estimate()
    for k in range(40):
        texts = [summed(f"HCHDG,200.{k % 3},,,{sentence}")]
        if k % 4 == 0:
            texts.append(
                summed(f"GPRMC,1200{k // 4:02d}.00,A,4500.{k:03d},N,08600.000,W,2.{k % 9},200.0,{date},,,A")
            )
        sentences = tuple(Sentence(0.25 * k, "udp:1", text) for text in texts)
        state, instant = locate.located(state, Inputs(0.25 * k, sentences), wanted=True)
        assert instant.boat is not None
        shown = instant.boat.heading_rad
    return shown, state.estimate


@pytest.mark.parametrize(
    ("config_deg", "sentence", "date", "added", "source"),
    [
        (-3.0, "4.0,W", "180726", -4.0, "udp:1/HDG+var(sentence)"),
        (-3.0, ",", "180726", -5.99, "udp:1/HDG+var(model)"),
        (None, ",", "180726", -5.99, "udp:1/HDG+var(model)"),
        (-3.0, ",", "", -3.0, "udp:1/HDG+var(config)"),
    ],
)
def test_sentence_then_model_then_config(
    config_deg: float | None, sentence: str, date: str, added: float, source: str
) -> None:
    shown, _ = heading(config_deg, sentence, date)
    assert (shown.state, shown.source) == ("ok", source)
    assert shown.value is not None
    assert math.degrees(shown.value) == pytest.approx(200.1 + added, abs=0.3)


def test_it_is_worked_out_once_for_a_place() -> None:
    _, state = heading(None, ",")
    assert state.model is not None and state.model.lat_deg == pytest.approx(45.0, abs=0.001)
