"""A forecast as JSON: what is published, served and drawn. SI; null where nothing is known. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.ahead.headline import headline
from assistant.ahead.outlook import Forecast, LineAhead, PairAhead, Worst
from assistant.ahead.recorded import instants
from assistant.alerts.felt import Felt
from assistant.alerts.pulls import HELD_S
from assistant.payloads import Json, rounded

INSTANTS_S = (*range(0, 121, 5), *range(135, 901, 15))
DIGITS = 4
MOST_PAIRS = 8


def forecast_object(
    told: Forecast,
    units: str,
    planers: Collection[str] = (),
    felt: Mapping[str, Felt] | None = None,
) -> Json:
    """All of it but age and mode, which belong to the moment of sending; the sentence in the crew's units.

    Args:
        planers: rods whose planer may trip; felt: by rod, where its pull is measured.
    """
    felt = felt or {}
    kept = instants(told.times_s, INSTANTS_S)
    top = headline(told, units)
    return {
        "t_s": round(told.t_s, 3),
        "kind": told.kind,
        "about": told.manoeuvre.about,
        "state": told.state,
        "cause": told.cause,
        "units": units,  # of the sentence
        "sentence": top.text,
        "said": top.said,
        "worst": {"rod": top.rod, "at_s": rounded(top.at_s, DIGITS)},
        "times_s": [round(float(told.times_s[k]), 2) for k in kept],
        "rods": {
            name: {**_line(line, kept), **(_trip(line, felt.get(name)) if name in planers else {})}
            for name, line in told.lines.items()
        },
        "nearest": [list(told.nearest[k]) for k in kept] if told.nearest else [],
        "line_gap_m": _banded(told.line_gap_m, kept) if told.nearest else None,
        "pairs": [_pair(pair) for pair in told.pairs[:MOST_PAIRS]],
        "lost": dict(told.lost),
    }


def _line(line: LineAhead, kept: Sequence[int]) -> Json:
    bottom = line.bottom
    return {
        "firm": line.firm,
        "depth_m": _banded(line.depth_m, kept),
        "lure_speed_mps": _banded(line.lure_speed_mps, kept),
        "tension_n": _banded(line.tension_n, kept),
        "bottom_gap_m": _banded(bottom.gap_m, kept) if bottom is not None and bottom.known else None,
        "rise_m": _worst(line.rise),
        "sink_m": _worst(line.sink),
        "slowest_mps": _worst(line.slowest),
        "fastest_mps": _worst(line.fastest),
        "peak_n": _worst(line.peak),
        "least_bottom_gap_m": None if bottom is None or not bottom.known else _worst(bottom.least),
        "bottom_known": 0.0 if bottom is None else rounded(bottom.known, DIGITS),
        "bottom_cause": "no soundings" if bottom is None else bottom.cause,
    }


def _trip(line: LineAhead, felt: Felt | None) -> Json:
    """How far the peak pull, waves included, stays below what this rod has held; null and why where nobody knows."""
    if felt is None:
        return {"trip_margin_n": None, "trip_cause": "needs pull input"}
    if felt.fished_s < HELD_S:
        return {"trip_margin_n": None, "trip_cause": f"{HELD_S / 60.0:.0f} min of pull wanted"}
    value, low, high = (
        felt.held_n - felt.usual * peak - felt.wave_n
        for peak in (line.peak.value, line.peak.high, line.peak.low)
    )
    return {"trip_margin_n": _worst(Worst(value, low, high, line.peak.at_s)), "trip_cause": ""}


def _banded(rows: NDArray[np.float64], kept: Sequence[int]) -> Json:
    columns = rows[list(kept)].T.tolist()
    return {
        name: [rounded(value, DIGITS) for value in column]
        for name, column in zip(("value", "low", "high"), columns, strict=True)
    }


def _worst(worst: Worst) -> Json:
    return {name: rounded(getattr(worst, name), DIGITS) for name in ("value", "low", "high", "at_s")}


def _pair(pair: PairAhead) -> Json:
    return {
        "rods": list(pair.rods),
        "gap_m": _worst(pair.gap),
        "place_m": [rounded(axis, DIGITS) for axis in pair.place_m],
    }
