"""An outing for other programs: its track as GPX, its Frames as CSV or Parquet, by replaying it."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from assistant import locate
from assistant.locate import STEP_S
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, Estimate
from assistant.outings.entries import Told
from assistant.outings.gpx import Point, Waypoint, gpx
from assistant.outings.parquet import as_parquet, columns_of
from assistant.outings.recording import Outing, opening_of
from assistant.replay import replay

POINT_EVERY = round(1.0 / STEP_S)  # steps: a point a second
FRESH_S = 1.5  # older than a receiver's period, a position belongs to an earlier point
NEAR_S = 15.0  # an event is put where the boat was within so long


def track(outing: Outing, folder: Path) -> Iterator[Point]:
    """Where the boat was, once a second, as the flow's first half has it; nothing while that is dead."""
    state = locate.initial(opening_of(folder).config.boat)
    for inputs, _ in outing.steps():
        wanted = round(inputs.t_s / STEP_S) % POINT_EVERY == 0
        state, instant = locate.located(state, inputs, wanted)
        if instant.boat is not None:
            lat, lon = (_known(estimate) for estimate in (instant.boat.lat_deg, instant.boat.lon_deg))
            if lat is not None and lon is not None:
                yield Point(inputs.t_s, instant.utc, lat, lon)


def _known(estimate: Estimate) -> float | None:
    """A value that says where the boat is now, not where it was."""
    fresh = estimate.age_s is not None and estimate.age_s <= FRESH_S
    return estimate.value if fresh and estimate.state in ("ok", "doubtful") else None


def _waypoints(points: list[Point], events: Mapping[int, Told]) -> Iterator[Waypoint]:
    for number, told in events.items():
        event = told.event
        near = min(points, key=lambda point: abs(point.t_s - event.t_s), default=None)
        if near is None or abs(near.t_s - event.t_s) > NEAR_S:
            continue
        name = " ".join(
            filter(None, [event.rod, event.kind, "" if event.value is None else str(event.value)])
        )
        about = ", ".join(f"{quantity} {value:.4g}" for quantity, value in told.line.items())
        yield Waypoint(near, name, f"number {number}" + (f"; before: {about}" if about else ""), event.kind)


def as_gpx(folder: Path) -> bytes:
    """The track with what happened. Raises LogError."""
    outing = Outing(folder)
    points = list(track(outing, folder))
    return gpx(
        f"{opening_of(folder).config.boat.title} {outing.id}", points, _waypoints(points, outing.events())
    )


class _Rows(io.BytesIO):
    """Takes Frames as a replay writes them, keeps them as rows of CSV."""

    def __init__(self, rods: list[str]) -> None:
        super().__init__()
        self.text = io.StringIO(newline="")
        self._rods = rods
        parts = [f"{column}{part}" for column in columns_of(rods) for part in ("", ".low", ".high", ".state")]
        self._csv = csv.writer(self.text)
        self._csv.writerow(["t_s", "utc", *parts])

    def write(self, line: bytes, /) -> int:  # type: ignore[override]  # of bytes, as a replay has them
        """One Frame."""
        frame = json.loads(line)
        qs = [frame["boat"][name] for name in BOAT_QUANTITIES]
        qs += [frame["lines"][rod][name] for rod in self._rods for name in LINE_QUANTITIES]
        cells = [q[part] for q in qs for part in ("value", "low", "high", "state")]
        self._csv.writerow(
            [frame["t_s"], frame["utc"] or "", *("" if cell is None else cell for cell in cells)]
        )
        return len(line)


def as_csv(folder: Path) -> bytes:
    """One row for each Frame that was made live: SI, with low, high and state; unknown is empty. Raises LogError."""
    opening = opening_of(folder)
    rows = _Rows([rod.name for rod in opening.config.rods])
    replay(folder, opening.config, rows, opening.seed)
    return rows.text.getvalue().encode()


FORMATS: dict[str, Callable[[Path], bytes]] = {"gpx": as_gpx, "csv": as_csv, "parquet": as_parquet}
"""What an outing can be exported as."""
