"""A forecast as an input of the flow, and back: what alerts see live is what a replay reads. Pure.

A whole forecast would make an outing several times as large, and working it out again would make a replay ten times as
slow. So it is thinned to INSTANTS_S and rounded, and live the flow gets the thinned one as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.manoeuvre import Manoeuvre, Stop
from assistant.ahead.outlook import Bottom, Forecast, LineAhead, PairAhead, Worst
from assistant.messages import Banded, Extreme, Outlook, PairOutlook, RodOutlook

Array = NDArray[np.float64]

INSTANTS_S = (0, 6, 12, 18, 24, 30, 36, 44, 52, 60, 70, 80, 90, 105, 120, 150, 180, 210, 270, 330)
DIGITS = 4
NEAR_M = 12.0  # pairs whose band stays further apart than this are left out
MOST_PAIRS = 12


def as_input(told: Forecast) -> Outlook:
    """A forecast as it is recorded."""
    kept = instants(told.times_s)
    near = [one for one in told.pairs if min(one.gap.value, _or(one.gap.low, math.inf)) < NEAR_M]
    m = told.manoeuvre
    return Outlook(
        told.t_s,
        told.kind,
        m.about,
        tuple(told.times_s[kept].tolist()),
        told.state,
        told.cause,
        tuple((_four(stop.angle_rad), _four(stop.weight)) for stop in m.stops),
        _four(m.rate_radps),
        m.under_way,
        None if m.speed_mps is None else _four(m.speed_mps),
        tuple(_rod(line, kept) for line in told.lines.values()),
        tuple(_pair(pair) for pair in near[:MOST_PAIRS]),
        dict(told.lost),
    )


def instants(times_s: Array, wanted_s: Sequence[float] = INSTANTS_S) -> list[int]:
    """Rows of times_s nearest to those wanted, each once, and the last."""
    rows = [int(np.abs(times_s - at_s).argmin()) for at_s in wanted_s if at_s < times_s[-1]]
    return sorted({*rows, len(times_s) - 1})


def _or(value: float, other: float) -> float:
    return other if math.isnan(value) else value


def _four(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _known(value: float) -> float | None:
    return _four(value) if math.isfinite(value) else None


def _extreme(worst: Worst) -> Extreme:
    return Extreme(_known(worst.value), _known(worst.low), _known(worst.high), _known(worst.at_s))


def _banded(rows: Array, kept: Sequence[int]) -> Banded:
    return tuple(_known(value) for value in rows[list(kept)].reshape(-1).tolist())


def _rod(line: LineAhead, kept: Sequence[int]) -> RodOutlook:
    bottom = line.bottom
    return RodOutlook(
        line.rod,
        line.firm,
        _banded(line.depth_m, kept),
        _banded(line.lure_speed_mps, kept),
        _extreme(line.rise),
        _extreme(line.sink),
        _extreme(line.slowest),
        _extreme(line.fastest),
        _extreme(line.peak),
        None if bottom is None else _banded(bottom.gap_m, kept) if bottom.known else (),
        None if bottom is None else _extreme(bottom.least),
        0.0 if bottom is None else _four(bottom.known),
        "" if bottom is None else bottom.cause,
    )


def _pair(pair: PairAhead) -> PairOutlook:
    ahead, abeam, down = pair.place_m
    return PairOutlook(pair.rods, _extreme(pair.gap), (_four(ahead), _four(abeam), _four(down)))


def as_forecast(recorded: Outlook) -> Forecast:
    """What was recorded, as alerts read it."""
    times_s = np.array(recorded.times_s, np.float64)
    turn = Manoeuvre(
        recorded.about,
        tuple(Stop(*stop) for stop in recorded.stops),
        recorded.rate_radps,
        under_way=recorded.under_way,
        speed_mps=recorded.speed_mps,
    )
    return Forecast(
        recorded.t_s,
        turn,
        times_s,
        {rod.rod: _line(rod, len(times_s)) for rod in recorded.rods},
        pairs=tuple(PairAhead(one.rods, _worst(one.gap_m), one.place_m) for one in recorded.pairs),
        lost=recorded.lost,
        kind=recorded.kind,
        state=recorded.state,
        cause=recorded.cause,
    )


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _worst(extreme: Extreme) -> Worst:
    return Worst(*map(_number, (extreme.value, extreme.low, extreme.high, extreme.at_s)))


def _rows(banded: Banded, count: int) -> Array:
    """(count, 3); all NaN of nothing."""
    if not banded:
        return np.full((count, 3), np.nan)
    return np.array([_number(value) for value in banded], np.float64).reshape(count, 3)


def _line(rod: RodOutlook, count: int) -> LineAhead:
    bottom = None
    if rod.bottom_gap_m is not None and rod.bottom_least_m is not None:
        bottom = Bottom(
            _rows(rod.bottom_gap_m, count), _worst(rod.bottom_least_m), rod.bottom_known, rod.bottom_cause
        )
    return LineAhead(
        rod.rod,
        rod.firm,
        _rows(rod.depth_m, count),
        _rows(rod.lure_speed_mps, count),
        np.full((count, 3), np.nan),
        _worst(rod.rise_m),
        _worst(rod.sink_m),
        _worst(rod.slowest_mps),
        _worst(rod.fastest_mps),
        _worst(rod.pull_n),
        bottom,
    )
