"""`speed`: the speed log's factor by speed from reciprocal legs at two speeds or more, current solved out. Pure.

One leg cannot tell a log that reads low from a current; two against each other can, if the current holds meanwhile.
At one speed only, it is one number: a wheel in the hull's boundary layer reads another share at another speed.
"""

from __future__ import annotations

import math

import numpy as np

from assistant.calibrate.evidence import Gathered, blocks_of
from assistant.calibrate.legs import Leg, as_rows, legs_of, reciprocal, speed_groups
from assistant.calibrate.outcome import Outcome, Thin
from assistant.calibrate.solve import Fit, Model, solve
from assistant.configured import BoatConfig
from assistant.estimate.speed import true_mps
from assistant.units import DISPLAY_UNITS

COMPASS_SIGMA_RAD = math.radians(4.0)  # a deviation nobody knows, within a leg
SPEEDS = 2
MOST_KNOTS = 4
WORST_SIGMA = 0.03  # no better than a log nobody calibrated
LEAST_SIGMA = 0.008  # a wheel does not repeat itself better from day to day (judgement)
WORST_FIT = 6.0
FACTORS = (0.4, 2.5)


def calibrate(run: Gathered, config: BoatConfig, from_where: str) -> Outcome:
    """Find the factor by speed.

    Raises:
        Thin: what is missing.
    """
    unit = DISPLAY_UNITS[config.units]["m/s"]
    if not run.log:
        raise Thin("speed", ["readings of a speed log (VHW)"])
    legs = legs_of(blocks_of(run))
    groups = speed_groups(legs)
    seen = [_words(leg, unit.scale, unit.label) for leg in legs]
    good = [group for group in groups if reciprocal(group)]
    missing = _missing(groups, good, unit.scale, unit.label)
    if missing:
        raise Thin("speed", missing, seen)
    used = sorted(legs, key=lambda leg: leg.t_s)
    knots = np.array([np.mean([leg.log_mps for leg in group]) for group in good[-MOST_KNOTS:]])
    rows, weights = as_rows(used, compass=bool(run.compass))
    fit = solve(rows, Model(knots, 1 if run.compass else 0, COMPASS_SIGMA_RAD), weights)
    sigmas = np.maximum(fit.factor_sigmas(), LEAST_SIGMA)
    _accept(fit, sigmas)
    curve = [[round(float(k), 3), round(float(f), 4)] for k, f in zip(knots, fit.factors, strict=True)]
    minutes = (used[-1].t_s - used[0].t_s) / 60.0
    return Outcome(
        "speed",
        f"{len(used)} legs at {len(good)} speeds in {minutes:.0f} min; {from_where}",
        {"curve": curve, "sigma": round(float(sigmas.max()), 4)},
        tuple(
            (
                f"log at {k * unit.scale:.1f} {unit.label}: factor",
                f"{true_mps(float(k), config) / float(k):.3f}",
                f"{f:.3f} +- {s:.3f}",
            )
            for k, f, s in zip(knots, fit.factors, sigmas, strict=True)
        ),
        tuple(
            f"{_words(leg, unit.scale, unit.label)}: off by {miss * unit.scale:+.2f} {unit.label}"
            for leg, miss in zip(used, fit.speed_miss_mps, strict=True)
        ),
        (_current_words(fit, unit.scale, unit.label),),
    )


def _missing(groups: list[list[Leg]], good: list[list[Leg]], scale: float, label: str) -> list[str]:
    """What the captain has yet to do."""
    missing = []
    for group in groups:
        if group not in good:
            leg = max(group, key=lambda leg: leg.seconds)
            back = math.degrees(leg.heading_rad + math.pi) % 360.0
            missing.append(
                f"a leg toward {back:03.0f} for a minute at {leg.log_mps * scale:.1f} {label} by the log"
            )
    if len(good) >= SPEEDS:
        return []
    if len(groups) < SPEEDS:
        missing.append(
            f"{SPEEDS - len(groups)} more speed{'s' if not groups else ''}, half a mile an hour apart or more: "
            "out and back on one line, a minute or more each way, throttle untouched"
        )
    return missing or ["legs out and back at two speeds"]


def _accept(fit: Fit, sigmas: np.ndarray) -> None:
    """Refuse what the legs do not carry."""
    missing = []
    if fit.chi2 > WORST_FIT:
        missing.append(
            f"legs that agree: these scatter {math.sqrt(fit.chi2):.1f} times as far as instruments do "
            "(weed on the wheel, a throttle that was moved, a current that changed?)"
        )
    if sigmas.max() > WORST_SIGMA:
        missing.append(
            f"longer legs: the factor is known to {100.0 * sigmas.max():.1f} % only, want {WORST_SIGMA:.0%}"
        )
    if not all(FACTORS[0] <= f <= FACTORS[1] for f in fit.factors):
        missing.append(
            f"a log within reason: its factor would be {', '.join(f'{f:.2f}' for f in fit.factors)}"
        )
    if missing:
        raise Thin("speed", missing)


def _words(leg: Leg, scale: float, label: str) -> str:
    ground = math.hypot(*leg.ground_mps) * scale
    heading = math.degrees(leg.heading_rad) % 360.0
    return f"toward {heading:03.0f}, {leg.seconds:.0f} s: log {leg.log_mps * scale:.2f}, ground {ground:.2f} {label}"


def _current_words(fit: Fit, scale: float, label: str) -> str:
    north, east = fit.current_mps.mean(axis=0)
    toward = math.degrees(math.atan2(east, north)) % 360.0
    return f"current solved out: {math.hypot(north, east) * scale:.2f} {label} toward {toward:03.0f}"
