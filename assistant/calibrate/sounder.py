"""`sounder`: what a sounding lacks to the depth below the surface, against a lead line or a marked pole. Pure.

The boat lies still over flat bottom while somebody measures; the last LAST_S of soundings are compared with that.
"""

from __future__ import annotations

import math

import numpy as np

from assistant.calibrate.evidence import Gathered
from assistant.calibrate.outcome import Outcome, Thin
from assistant.configured import BoatConfig
from assistant.units import DISPLAY_UNITS

LAST_S = 60.0
FEWEST = 20
SCATTER_M, SCATTER_SHARE = 0.15, 0.02
LEAD_SIGMA_M = 0.05  # a marked line held plumb (judgement)
STILL_MPS = 0.4  # a boat on a slack line, and a receiver's own noise
OFFSETS_M = (0.0, 3.0)  # of a transducer on a small boat, below the surface


def calibrate(run: Gathered, config: BoatConfig, from_where: str, true_m: float) -> Outcome:
    """Find the offset.

    Args:
        true_m: the depth below the surface as measured.
    Raises:
        Thin: what is missing.
    """
    readings = np.array(run.depth).reshape(len(run.depth), 2)
    last = readings[readings[:, 0] > readings[-1, 0] - LAST_S] if len(readings) else readings
    if len(last) < FEWEST:
        raise Thin("sounder", [f"{FEWEST} soundings within a minute; {len(last)} came"])
    middle = float(np.median(last[:, 1]))
    scatter = float(1.4826 * np.median(np.abs(last[:, 1] - middle)))
    allowed = max(SCATTER_M, SCATTER_SHARE * true_m)
    offset = true_m - middle
    missing = []
    moves = [math.hypot(north, east) for t, north, east in run.ground if t > last[-1, 0] - LAST_S]
    if moves and float(np.median(moves)) > STILL_MPS:
        missing.append("a boat that lies still: this one moves")
    if scatter > allowed:
        missing.append(
            f"still water over flat bottom: soundings scatter by {scatter:.2f} m, want {allowed:.2f} m"
        )
    if not OFFSETS_M[0] - 2.0 * LEAD_SIGMA_M <= offset <= OFFSETS_M[1]:
        missing.append(
            f"a depth that fits: {true_m:.2f} m measured, {middle:.2f} m sounded; the transducer cannot be "
            f"{offset:+.2f} m below the surface"
        )
    if missing:
        raise Thin("sounder", missing)
    steps = np.diff(np.unique(last[:, 1]))
    rounding = float(steps.min()) / math.sqrt(12.0) if len(steps) else 0.1 / math.sqrt(12.0)
    sigma = math.hypot(LEAD_SIGMA_M, rounding, scatter / math.sqrt(len(last)))
    unit = DISPLAY_UNITS[config.units]["m"]
    before = config.sounder_measured_m
    if before is None:
        before = run.sent_offset_m if run.sent_offset_m is not None else config.sounder_below_surface_m
    words: tuple[str, ...] = ()
    if run.sent_offset_m is not None:
        words = (
            f"the sounder's own sentence adds {run.sent_offset_m:.2f} m; what was measured goes before it",
        )
    return Outcome(
        "sounder",
        f"{len(last)} soundings at {true_m:.2f} m by lead line; {from_where}",
        {"below_surface_m": round(max(0.0, offset), 3), "sigma_m": round(sigma, 3)},
        (
            (
                "a sounding lacks",
                f"{before * unit.scale:.2f}",
                f"{max(0.0, offset) * unit.scale:.2f} +- {sigma * unit.scale:.2f} {unit.label}",
            ),
        ),
        (f"soundings {middle * unit.scale:.2f} {unit.label}, scatter {scatter * unit.scale:.2f}",),
        words,
    )
