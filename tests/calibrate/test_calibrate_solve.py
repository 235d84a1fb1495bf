"""The common fit against an independent one, and the dock's two steps against hand-made evidence."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration_days import BOAT
from scipy.optimize import least_squares

from assistant import config
from assistant.calibrate import counter, sounder
from assistant.calibrate.evidence import Blocks, Gathered
from assistant.calibrate.outcome import Thin
from assistant.calibrate.solve import Model, harmonics, solve
from assistant.configured import ReelMark
from assistant.lines import reels

FT = 0.3048


def rows_of(seed: int) -> tuple[Blocks, np.ndarray]:
    """Forty blocks round the circle in one current, and (factor, A, B, C, D, E) behind them."""
    rng = np.random.default_rng(seed)
    truth = np.array([1.12, *np.radians([2.0, -3.0, 1.5, 0.6, -0.4])])
    n = 40
    reading = np.linspace(0.0, math.tau, n, endpoint=False)
    log = rng.uniform(0.8, 1.2, n)
    way = reading + harmonics(reading, 5) @ truth[1:]
    north = truth[0] * log * np.cos(way) + 0.2 + rng.normal(0.0, 0.02, n)
    east = truth[0] * log * np.sin(way) - 0.1 + rng.normal(0.0, 0.02, n)
    ground = np.stack([north, east], axis=1)
    return Blocks(np.full(n, 5.0) + 1e-3 * np.arange(n), ground, log, reading, reading, np.zeros(n)), truth


def test_the_fit_is_scipys() -> None:
    """Same rows, a constant current and no priors, by scipy.optimize.least_squares."""
    rows, truth = rows_of(1)
    fit = solve(rows, Model(np.array([1.0]), 5, math.radians(0.7)))
    speed = np.hypot(*rows.ground_mps.T)

    def misses(x: np.ndarray) -> np.ndarray:
        through = rows.ground_mps - x[6:]
        of_speed = (np.hypot(*through.T) - x[0] * rows.log_mps) / math.hypot(rows.sigma_mps, 0.01)
        way = (
            np.arctan2(through[:, 1], through[:, 0])
            - rows.reading_rad
            - harmonics(rows.reading_rad, 5) @ x[1:6]
        )
        way = (way + math.pi) % math.tau - math.pi
        return np.concatenate([of_speed, way / np.hypot(rows.sigma_mps / speed, math.radians(0.7))])

    other = least_squares(misses, np.zeros(8) + np.eye(8)[0], x_scale="jac", xtol=1e-12).x
    # priors and the freedom of the current to wander within 0.04 s move nothing by more than this
    assert np.allclose([*fit.factors, *fit.harmonics_rad], other[:6], atol=2e-3)
    assert np.allclose(fit.current_mps, other[6:], atol=2e-3)
    sigmas = np.sqrt(np.diag(fit.covariance))[:6]
    assert np.all(np.abs(other[:6] - truth) < 3.5 * sigmas)


def test_one_wild_row_moves_little() -> None:
    rows, truth = rows_of(2)
    rows.ground_mps[7] += 1.0
    fit = solve(rows, Model(np.array([1.0]), 5, math.radians(0.7)))
    assert abs(fit.factors[0] - truth[0]) < 0.02


def soundings(depth_m: float, scatter_m: float, seconds: float = 70.0) -> Gathered:
    rng = np.random.default_rng(3)
    return Gathered(
        depth=[(k * 0.5, depth_m + scatter_m * rng.standard_normal()) for k in range(round(2 * seconds))]
    )


def test_the_sounder_lacks_what_the_lead_line_says() -> None:
    found = sounder.calibrate(soundings(4.1, 0.03), BOAT, "dock", 4.4)
    assert found.table["below_surface_m"] == pytest.approx(0.3, abs=0.03)
    assert found.step == "sounder"


@pytest.mark.parametrize(
    ("run", "true_m", "words"),
    [
        (soundings(4.1, 0.6), 4.4, "flat bottom"),
        (soundings(4.1, 0.03), 3.0, "fits"),
        (soundings(4.1, 0.03), 9.0, "fits"),
        (soundings(4.1, 0.03, 5.0), 4.4, "soundings within a minute"),
    ],
)
def test_a_sounding_that_proves_nothing_is_refused(run: Gathered, true_m: float, words: str) -> None:
    with pytest.raises(Thin, match=words):
        sounder.calibrate(run, BOAT, "dock", true_m)


def test_a_boat_under_way_measures_no_depth() -> None:
    run = soundings(4.1, 0.03)
    run.ground = [(t, 0.9, 0.2) for t, _ in run.depth]
    with pytest.raises(Thin, match="lies still"):
        sounder.calibrate(run, BOAT, "lake", 4.4)


def mark(shown_ft: float, taped_ft: float) -> ReelMark:
    return ReelMark(shown_ft * FT, taped_ft * FT, "2026-05-02")


def spool_ft(shown_ft: float) -> float:
    """A spool unwound turn by turn: 0.5 ft shown per turn, radius 0.0225 m, 0.3 mm on 45 mm."""
    turns, out_m, area = round(shown_ft / 0.5), 0.0, math.pi * 0.0225**2
    for _ in range(turns):
        length = math.tau * math.sqrt(area / math.pi)
        out_m += length
        area -= length * 0.0003**2 / 0.045
    return out_m / FT


def test_three_marks_make_the_curve() -> None:
    loaded = config.load()
    rod = next(rod for rod in loaded.rods if rod.name == "S2")
    marks = [mark(shown, spool_ft(shown)) for shown in (50.0, 100.0, 160.0)]
    found = counter.calibrate(loaded, rod, marks, "rod S2")
    assert found.step == "counter.S2"
    reel = counter.reel_of(loaded, rod, marks)
    after = reels.curve_of(replace(loaded, reels=(reel,)), rod)
    for shown in (75.0, 130.0):
        assert after.true_m(shown * FT) / FT == pytest.approx(spool_ft(shown), rel=0.01)


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        ([mark(50, 44), mark(100, 87)], "1 more taped"),
        ([mark(50, 44), mark(55, 48), mark(60, 52)], "further apart"),
        ([mark(50, 44), mark(100, 87), mark(160, 70)], "swapped"),
        ([mark(50, 44), mark(100, 60), mark(160, 138)], "agree"),
    ],
)
def test_marks_that_prove_nothing_are_refused(marks: list[ReelMark], words: str) -> None:
    loaded = config.load()
    rod = next(rod for rod in loaded.rods if rod.name == "S2")
    with pytest.raises(Thin, match=words):
        counter.calibrate(loaded, rod, marks, "rod S2")
