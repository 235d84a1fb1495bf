"""`compass`: offset and deviation by headings against course, current solved for. Pure.

Steer slowly through all headings (a wide circle each way, or eight legs): what the compass says must then be where
the boat goes through the water, for one current. Coefficients as in solve.py; a compass that sends true headings
keeps an offset only, because the table belongs to what a magnetic one reads.
"""

from __future__ import annotations

import math

import numpy as np

from assistant.calibrate.evidence import BLOCK_S, Array, Blocks, Gathered, blocks_of
from assistant.calibrate.legs import GROUP_MPS, SLOWEST_MPS
from assistant.calibrate.outcome import Outcome, Thin
from assistant.calibrate.solve import Fit, Model, solve
from assistant.configured import BoatConfig
from assistant.estimate.heading import deviation_rad
from assistant.units import DISPLAY_UNITS, DisplayUnit

READING_SIGMA_RAD = math.radians(0.7)  # of the mean of a block: swell, helm, rounding
TURNED_RAD = math.radians(20.0)
SECTORS, SECTOR_S = 8, 20.0
STEADY_SECTORS = 4
EVERY_DEG = 30
WORST_SIGMA_RAD = math.radians(2.0)
LEAST_SIGMA_RAD = math.radians(1.0)  # what a compass keeps of it by the next outing: iron moves (judgement)
WORST_FIT = 6.0
NAMES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def calibrate(run: Gathered, config: BoatConfig, from_where: str) -> Outcome:
    """Find offset and deviation.

    Raises:
        Thin: what is missing.
    """
    if not run.compass:
        raise Thin("compass", ["readings of a compass (HDG, HDM, HDT, THS)"])
    if not run.variation_known:
        raise Thin(
            "compass", ["the variation: set variation_deg, or have a position and date in the sentences"]
        )
    blocks = blocks_of(run)
    speed = np.hypot(*blocks.ground_mps.T) if len(blocks) else np.zeros(0)
    blocks = blocks.chosen((np.abs(blocks.turned_rad) < TURNED_RAD) & (speed > SLOWEST_MPS))
    _covered(blocks, SECTORS if run.magnetic else STEADY_SECTORS)
    logged = bool(run.log)
    knots = _knots(blocks.log_mps) if logged else np.ones(1)
    fit = solve(blocks, Model(knots, 5 if run.magnetic else 1, READING_SIGMA_RAD, logged))
    at_deg = np.arange(0.0, 360.0, EVERY_DEG)
    deviation, sigma = fit.deviation_rad(np.radians(at_deg))
    sigma = np.maximum(sigma, LEAST_SIGMA_RAD)
    _accept(fit, sigma, logged)
    offset = math.degrees(fit.harmonics_rad[0])
    table: dict[str, float | str | list[list[float]]] = {
        "offset_deg": round(offset, 2),
        "sigma_deg": round(math.degrees(float(sigma.max())), 2),
    }
    if run.magnetic:
        rest = np.degrees(deviation) - offset
        table["deviation"] = [[float(a), round(float(d), 2)] for a, d in zip(at_deg, rest, strict=True)]
    minutes = (blocks.t_s[-1] - blocks.t_s[0]) / 60.0
    return Outcome(
        "compass",
        f"{len(blocks)} blocks of {BLOCK_S:.0f} s on all headings in {minutes:.0f} min; {from_where}",
        table,
        _changes(run, config, at_deg if run.magnetic else at_deg[:1], deviation, sigma),
        _residuals(blocks, fit),
        _words(fit, logged, DISPLAY_UNITS[config.units]["m/s"]),
    )


def _knots(log_mps: Array) -> Array:
    """One knot, or two where the speeds differ: the log's factor is solved for beside the compass."""
    low, high = float(np.quantile(log_mps, 0.1)), float(np.quantile(log_mps, 0.9))
    return np.array([low, high]) if high - low > 2.0 * GROUP_MPS else np.array([0.5 * (low + high)])


def sectors(blocks: Blocks) -> Array:
    """Seconds in each eighth of the circle, north first."""
    index = np.round(np.degrees(blocks.heading_rad) / 45.0).astype(int) % 8
    return np.asarray(BLOCK_S * np.bincount(index, minlength=8), dtype=float)


def _covered(blocks: Blocks, wanted: int) -> None:
    seconds = sectors(blocks)
    lacking = [name for name, s in zip(NAMES, seconds, strict=True) if s < SECTOR_S]
    if 8 - len(lacking) >= wanted:
        return
    seen = [f"{name}: {s:.0f} s" for name, s in zip(NAMES, seconds, strict=True) if s]
    raise Thin(
        "compass", [f"{SECTOR_S:.0f} s steered toward {name}, or slowly through it" for name in lacking], seen
    )


def _accept(fit: Fit, sigma: Array, logged: bool) -> None:
    missing = []
    if fit.chi2 > WORST_FIT:
        why = (
            "the current changed, iron was moved, or the throttle was"
            if not logged
            else "the current changed, or iron was moved"
        )
        missing.append(
            f"readings that agree: they scatter {math.sqrt(fit.chi2):.1f} times as far as they may ({why}?)"
        )
    if sigma.max() > WORST_SIGMA_RAD:
        missing.append(
            f"more of every heading, turned both ways: known to {math.degrees(sigma.max()):.1f} degrees only, want 2"
        )
    if missing:
        raise Thin("compass", missing)


def _changes(
    run: Gathered, config: BoatConfig, at_deg: Array, found: Array, sigma: Array
) -> tuple[tuple[str, str, str], ...]:
    key = ("heading_magnetic_rad" if run.magnetic else "heading_true_rad", "")
    changes = []
    for at, new, off in zip(at_deg, found, sigma, strict=False):
        old = config.compass_offset_deg + math.degrees(
            deviation_rad(key, math.radians(float(at)), config.compass_deviation)
        )
        where = f"compass reads {float(at):03.0f}: add" if run.magnetic else "every heading: add"
        changes.append((where, f"{old:+.1f}", f"{math.degrees(new):+.1f} +- {math.degrees(off):.1f} degrees"))
    return tuple(changes)


def _residuals(blocks: Blocks, fit: Fit) -> tuple[str, ...]:
    index = np.round(np.degrees(blocks.heading_rad) / 45.0).astype(int) % 8
    lines = []
    for k, name in enumerate(NAMES):
        off = np.degrees(fit.angle_miss_rad[index == k])
        if len(off):
            lines.append(
                f"{name}: {len(off)} blocks, mean {off.mean():+.1f}, scatter {off.std():.1f} degrees"
            )
    return tuple(lines)


def _words(fit: Fit, logged: bool, unit: DisplayUnit) -> tuple[str, ...]:
    north, east = fit.current_mps.mean(axis=0)
    toward = math.degrees(math.atan2(east, north)) % 360.0
    drift = math.hypot(north, east) * unit.scale
    words = [f"current solved for: {drift:.2f} {unit.label} toward {toward:03.0f}"]
    if not logged:
        words.append("no speed log: the throttle is taken as untouched all along")
    return tuple(words)
