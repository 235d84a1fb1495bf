"""Whether log and compass still fit GPS: found where they do not, quiet where they do, unsure on one heading."""

from __future__ import annotations

import math

import numpy as np
import pytest
from estimate_days import Sea, altered, day, run

from assistant.alerts.upkeep import advice
from assistant.estimate.fit import EVERY_S, Fit, Look, beyond, follow

DEG = math.pi / 180.0
SPEED_SIGMA, HEADING_SIGMA = 0.03, 2.0 * DEG


def followed(seed: int, minutes: float, factor: float, offset_deg: float, turns: bool = True) -> Fit:
    """A day of legs of some minutes: true speed = factor x shown, true heading = shown + offset; a steady current."""
    rng = np.random.default_rng(seed)
    fit: Fit | None = None
    heading, current = rng.uniform(0.0, math.tau), rng.normal(0.0, 0.15, 2)
    slow = np.zeros(2)
    for k in range(round(60.0 * minutes / EVERY_S)):
        if turns and k % 25 == 0:
            heading += rng.choice([-1.0, 1.0]) * rng.uniform(0.6, 2.5)
        true_mps, way = 1.0 + 0.1 * math.sin(k / 40.0), heading + offset_deg * DEG
        slow = 0.3 * slow + 0.95 * rng.normal(0.0, 0.05, 2)  # a receiver's error, 8 s long
        ground = true_mps * np.array([math.cos(way), math.sin(way)]) + current + slow
        shown = true_mps / factor + rng.normal(0.0, 0.02)
        look = Look((float(ground[0]), float(ground[1])), shown, heading, 0.0, SPEED_SIGMA, HEADING_SIGMA)
        fit = follow(fit, EVERY_S * (k + 1), look)
    assert fit is not None
    return fit


def test_factor_and_offset_are_those_behind_the_day() -> None:
    """60 days drawn beside the filter: errors within 1 sigma as often as a normal's, or oftener."""
    scores = []
    for seed in range(60):
        rng = np.random.default_rng([seed, 1])
        factor, offset = float(rng.uniform(0.85, 1.2)), float(rng.uniform(-8.0, 8.0))
        fit = followed(seed, 60.0, factor, offset)
        scores.append(
            [(fit.factor - factor) / fit.sigmas[0], (fit.offset_rad - offset * DEG) / fit.sigmas[1]]
        )
    z = np.abs(np.array(scores))
    assert np.all(np.mean(z < 1.0, axis=0) > 0.6)
    assert z.max() < 4.0


def test_what_fits_is_not_spoken_of() -> None:
    """Factor and offset within what a calibrated instrument keeps: not one word in 60 days."""
    for seed in range(60):
        rng = np.random.default_rng([seed, 2])
        fit = followed(seed, 60.0, 1.0 + 0.03 * float(rng.normal()), 2.0 * float(rng.normal()))
        assert fit.said == () or max(abs(one.off / one.limit) for one in fit.said) < 1.3


@pytest.mark.parametrize(
    ("factor", "offset_deg", "words"),
    [
        (1.15, 0.0, "speed log reads 13 % low against GPS: spreadwatch calibrate speed"),
        (0.85, 0.0, "speed log reads 18 % high against GPS: spreadwatch calibrate speed"),
        (1.0, 10.0, "compass 10 degrees low against GPS: spreadwatch calibrate compass"),
    ],
)
def test_what_no_longer_fits_is_named(factor: float, offset_deg: float, words: str) -> None:
    (one,) = followed(3, 60.0, factor, offset_deg).said
    said = advice(one)
    assert said.split()[0] == words.split()[0]
    assert said.endswith(words.rpartition(": ")[2])
    assert "low" in said if "low" in words else "high" in said


def test_on_one_heading_nothing_is_known() -> None:
    """A log that reads low and a current are the same there."""
    fit = followed(4, 60.0, 1.2, 0.0, turns=False)
    assert fit.sigmas[0] > 0.1
    assert fit.said == ()


def test_a_wild_look_changes_nothing() -> None:
    fit = followed(5, 30.0, 1.0, 0.0)
    wild = Look((30.0, -30.0), 1.0, 1.0, 0.0, SPEED_SIGMA, HEADING_SIGMA)
    after = follow(fit, fit.t_s + EVERY_S, wild)
    assert after.mean == fit.mean
    assert after.sigmas[0] >= fit.sigmas[0]


def test_a_band_reaches_as_far_as_gps_shows_the_instrument_to_be_off() -> None:
    """Nothing is added to one that fits, nor before several headings have told."""
    assert beyond(None, SPEED_SIGMA, HEADING_SIGMA) == (0.0, 0.0)
    for seed in range(10):
        assert beyond(followed(seed, 60.0, 1.01, 0.5), SPEED_SIGMA, HEADING_SIGMA) == (0.0, 0.0)
    assert beyond(followed(4, 60.0, 1.2, 0.0, turns=False), SPEED_SIGMA, HEADING_SIGMA)[0] < 0.02
    factor, offset = beyond(followed(6, 60.0, 1.15, 9.0), SPEED_SIGMA, HEADING_SIGMA)
    assert math.hypot(factor, SPEED_SIGMA) == pytest.approx(0.15, abs=0.06)
    assert math.hypot(offset, HEADING_SIGMA) == pytest.approx(9.0 * DEG, abs=3.5 * DEG)


def test_the_speed_of_a_log_15_percent_low_is_no_confident_number_after_half_an_hour() -> None:
    sea = Sea(minutes=40.0, factor_sigma=0.0, deviation_sigma=0.0, stw=lambda t_s: 1.05)
    boat = run(altered(day(8, sea), "stw_mps", lambda t_s, v: 0.85 * v))[-1]
    assert boat.stw_mps.state == "ok"
    assert abs(boat.stw_mps.value - 1.05) < 2.0 * boat.stw_mps.sigma
    fits = run(day(8, sea))[-1]
    assert fits.stw_mps.sigma < 0.05
