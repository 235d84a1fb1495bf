"""`counter`: the curve of one reel's counter from three taped marks or more. Pure.

The fit is lines/reels.py; this is its guided step: enough marks, far enough apart, that agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from assistant.calibrate.outcome import Outcome, Thin
from assistant.configured import Config, Reel, ReelMark, Rod
from assistant.lines import reels
from assistant.units import DISPLAY_UNITS

FEWEST = reels.ENOUGH_MARKS
SPAN = 2.0  # the longest mark over the shortest: nearer together they show no thinning spool
WORST_SIGMAS = 3.5
TRUE_OVER_COUNTER = (0.5, 1.5)


def calibrate(config: Config, rod: Rod, marks: Sequence[ReelMark], from_where: str) -> Outcome:
    """Find the curve.

    Args:
        marks: those just taped; they take the place of all taped before.
    Raises:
        Thin: what is missing.
    """
    scale, label = DISPLAY_UNITS[config.boat.units]["m"].scale, DISPLAY_UNITS[config.boat.units]["m"].label
    missing = _missing(marks, scale, label)
    if missing:
        raise Thin("counter", missing)
    before = reels.curve_of(config, rod)
    reel = reel_of(config, rod, marks)
    after = reels.curve_of(replace(config, reels=(reel,)), rod)
    off = [mark.true_m - after.true_m(mark.counter_m) for mark in marks]
    wild = [m for m, o in zip(marks, off, strict=True) if abs(o) > WORST_SIGMAS * m.sigma_m]
    if wild:
        what = ", ".join(f"{m.counter_m * scale:.0f} = {m.true_m * scale:.0f} {label}" for m in wild)
        raise Thin("counter", [f"marks that agree: tape again near {what}; no spool gives these together"])
    changes = []
    for mark in marks:
        old, new = before.factor(mark.counter_m), after.factor(mark.counter_m)
        half = 0.5 * (new.high - new.low)
        changes.append(
            (
                f"{rod.name} counter {mark.counter_m * scale:.0f}: true",
                f"{old.value * mark.counter_m * scale:.1f}",
                f"{new.value * mark.counter_m * scale:.1f} +- {half * mark.counter_m * scale:.1f} {label} (10-90 %)",
            )
        )
    rows = [[round(m.counter_m, 3), round(m.true_m, 3)] for m in marks]
    return Outcome(
        f"counter.{rod.name}",
        f"{len(marks)} taped marks; {from_where}",
        {"line": reel.line, "marks": rows},
        tuple(changes),
        tuple(
            f"mark {m.counter_m * scale:.0f}: off by {o * scale:+.2f} {label}"
            for m, o in zip(marks, off, strict=True)
        ),
    )


def reel_of(config: Config, rod: Rod, marks: Sequence[ReelMark]) -> Reel:
    """The rod's reel of the register with these marks in place of its own; a new one where there is none."""
    old = next((reel for reel in config.reels if reel.rod == rod.name), None)
    if old is not None:
        return replace(old, marks=tuple(marks))
    line = next(part.line for part in rod.rig if part.line is not None)
    return Reel(f"reel of {rod.name}", line, min(mark.date for mark in marks), rod.name, tuple(marks))


def _missing(marks: Sequence[ReelMark], scale: float, label: str) -> list[str]:
    missing = []
    if len(marks) < FEWEST:
        missing.append(
            f"{FEWEST - len(marks)} more taped marks: a third, two thirds and all of the line you fish"
        )
    elif max(m.counter_m for m in marks) < SPAN * min(m.counter_m for m in marks):
        missing.append("marks further apart: the longest at twice the shortest or more")
    for mark in marks:
        if not TRUE_OVER_COUNTER[0] <= mark.true_m / mark.counter_m <= TRUE_OVER_COUNTER[1]:
            shown = f"{mark.counter_m * scale:.0f} = {mark.true_m * scale:.0f} {label}"
            missing.append(f"a mark within reason in place of {shown}: are counter and true swapped?")
    return missing
