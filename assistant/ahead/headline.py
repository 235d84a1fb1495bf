"""The one sentence of a forecast: the worst that will be, shown, and spoken with the rod first. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.outlook import Forecast, LineAhead, PairAhead, Worst
from assistant.ahead.words import shown, spoken, when

CROSS_M = 0.5
"""Judgement: lines that come so near catch each other."""
MOVES_M = 0.6
"""Judgement: a lure that moves less than two feet is said to keep its depth."""
OPENING = {"turn": "This turn: ", "fish": "Slowing for a fish: ", "speed": "At that speed: ", "straight": ""}
STOPPING_MPS = 0.3  # judgement: a lure this slow hangs


class Headline(NamedTuple):
    """As shown, and as spoken in eight words at most; rod and time [s from the forecast's t_s] of what it is about."""

    text: str
    said: str
    rod: str | None = None
    at_s: float | None = None


def headline(told: Forecast, units: str) -> Headline:
    """The worst first: bottom, lines that cross, a lure that hangs, then the line that moves most."""
    found = next(_worst_first(told, units), None)
    if found is None:
        nothing = "nothing known of any line" if not told.lines else "every lure keeps its depth"
        return Headline(_opened(told, nothing), nothing)
    return found._replace(text=_opened(told, found.text))


def _opened(told: Forecast, text: str) -> str:
    opening = OPENING[told.kind]
    return opening + text if opening else text[:1].upper() + text[1:]


def _worst_first(told: Forecast, units: str) -> Iterator[Headline]:
    firm = [line for line in told.lines.values() if line.firm] or list(told.lines.values())
    on_bottom = [line for line in firm if line.bottom is not None and line.bottom.least.value <= 0.0]
    first = {line.rod: _first_touch_s(line, told.times_s) for line in on_bottom}
    for line in sorted(on_bottom, key=lambda line: first[line.rod]):
        assert line.bottom is not None
        what = "on bottom" if line.bottom.least.high <= 0.0 else "may touch bottom"
        yield _in_time(line.rod, what, what, first[line.rod])
    for pair in told.pairs:
        if pair.gap.value < CROSS_M and pair.gap.at_s > 0.0:
            yield _crossing(pair)
    for line in firm:
        if line.slowest.value < STOPPING_MPS:
            yield _in_time(line.rod, "lure hangs still", "lure hangs still", line.slowest.at_s)
    moves = [(line, *move) for line in firm for move in ((line.rise, "rises"), (line.sink, "sinks"))]
    for line, worst, word in sorted(moves, key=lambda move: -move[1].value)[:1]:
        if worst.value >= MOVES_M:
            text = f"{word} {shown(worst.value, 'm', units)}{_band(worst, units)}"
            yield _in_time(line.rod, text, f"{word} {spoken(worst.value, 'm', units)}", worst.at_s)


def _in_time(rod: str, text: str, said: str, at_s: float) -> Headline:
    if at_s <= 0.0:
        return Headline(f"{rod} {text} now", f"{rod} {said} now", rod, at_s)
    seconds = when(at_s)
    return Headline(f"{rod} {text} in {seconds:.0f} s", f"{rod} {said} in {seconds:.0f} seconds", rod, at_s)


def _crossing(pair: PairAhead) -> Headline:
    """Two lines that cross; "may" unless they do in nine cases of ten."""
    a, b = pair.rods
    what = f"crosses {b}" if pair.gap.high < CROSS_M else f"may cross {b}"
    return _in_time(a, what, what, pair.gap.at_s)


def _first_touch_s(line: LineAhead, times_s: NDArray[np.float64]) -> float:
    """When the gap under a line is first gone."""
    assert line.bottom is not None
    touches = np.flatnonzero(line.bottom.gap_m[:, 0] <= 0.0)
    return float(times_s[touches[0]]) if len(touches) else line.bottom.least.at_s


def _band(worst: Worst, units: str) -> str:
    if math.isnan(worst.low) or math.isnan(worst.high):
        return ""
    low, high = (shown(end, "m", units).partition(" ")[0] for end in (worst.low, worst.high))
    return f" ({low}–{high})"
