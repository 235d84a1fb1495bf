"""An outing or a raw log twice through the flow, step by step: as it was shown then, and with what is known now."""

from __future__ import annotations

import sys
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median
from typing import IO

from assistant import payloads
from assistant.config import load
from assistant.configured import Config
from assistant.messages import Event, Frame, LineState
from assistant.replay import PAGE_RATE, Frames, chosen
from assistant.replay_differs import differing
from assistant.units import DISPLAY_UNITS


@dataclass(slots=True)
class Twice:
    """Pairs of Frames of the same instant, then and now, and what the crew had told by the last one."""

    path: Path
    then: Config
    now: Config
    seed: int
    drawn: bool = True
    told: tuple[Event, ...] = ()

    def __iter__(self) -> Iterator[tuple[Frame, Frame]]:
        """Raises: LogError: the log cannot be read."""
        then, now = (Frames(self.path, c, self.seed, self.drawn) for c in (self.then, self.now))
        for pair in zip(then, now, strict=True):
            self.told = now.told
            yield pair


def twice(log: Path, directory: Path | None, now: Path, same_rigs: bool) -> Twice:
    """What to compare: an outing as it was configured (a log as in `directory`), and with the directory `now`.

    Raises:
        LogError, ConfigError, OptionError: one of them cannot be read, or is not there.
    """
    path, then, seed = chosen(log, directory)
    known = load(now)
    return Twice(path, then, rigged_as(then, known) if same_rigs else known, seed)


def rigged_as(then: Config, now: Config) -> Config:
    """`now` with the rods of `then`, each with the counter of now's rod of that name; types it lacks are then's."""
    counters = {rod.name: rod.counter for rod in now.rods}
    rods = tuple(replace(rod, counter=counters.get(rod.name, rod.counter)) for rod in then.rods)
    return replace(now, rods=rods, lines={**then.lines, **now.lines}, bodies={**then.bodies, **now.bodies})


@dataclass(slots=True)
class Depths:
    """The depth of one lure in both, wherever both have it and the rod fishes."""

    then_m: array[float] = field(default_factory=lambda: array("d"))
    now_m: array[float] = field(default_factory=lambda: array("d"))
    outside: int = 0  # of them now outside the band of then
    largest: tuple[float, str | None, float, float] | None = None  # t_s, utc, then, now

    def add(self, frame: Frame, then: LineState, now: LineState) -> None:
        """One instant."""
        old, new = then.depth_m, now.depth_m
        if old.value is None or new.value is None or {then.rod_state, now.rod_state} != {"fishing"}:
            return
        self.then_m.append(old.value)
        self.now_m.append(new.value)
        if old.low is not None and old.high is not None:
            self.outside += not old.low <= new.value <= old.high
        if self.largest is None or abs(new.value - old.value) > abs(self.largest[3] - self.largest[2]):
            self.largest = (frame.t_s, frame.utc, old.value, new.value)

    def summary(self) -> dict[str, object]:
        """As JSON, SI."""
        if self.largest is None:
            return {"frames": 0}
        t_s, utc, then, now = self.largest
        count = len(self.then_m)
        return {
            "frames": count,
            "median_depth_m": {"then": round(median(self.then_m), 3), "now": round(median(self.now_m), 3)},
            "now_outside_then": round(self.outside / count, 4),
            "largest": {
                "difference_m": round(now - then, 3),
                "t_s": t_s,
                "utc": utc,
                "then_m": round(then, 3),
                "now_m": round(now, 3),
            },
        }


@dataclass(slots=True)
class Beside:
    """What two replays of the same are summed up to."""

    frames: int = 0
    rods: dict[str, Depths] = field(default_factory=dict)
    only: dict[str, str] = field(default_factory=dict)  # rods that are in one of them

    def add(self, then: Frame, now: Frame) -> None:
        """One instant."""
        self.frames += 1
        for rod in {**now.lines, **then.lines}:
            if rod in now.lines and rod in then.lines:
                self.rods.setdefault(rod, Depths()).add(now, then.lines[rod], now.lines[rod])
            else:
                self.only[rod] = "now" if rod in now.lines else "then"


def side_by_side(
    log: Path,
    directory: Path | None,
    now: Path,
    same_rigs: bool,
    frames: Path | None,
    port: int | None,
    seconds: float | None,
) -> dict[str, object]:
    """`spreadwatch replay --with`: on the page of a port, or summed up, with the table on stderr.

    Raises:
        LogError, ConfigError, OptionError, OSError: see below.
    """
    what = twice(log, directory, now, same_rigs)
    if port is not None:
        return beside_on_page(what, port, seconds)
    summary, text = beside_to(what, frames)
    print(text, file=sys.stderr)
    return summary


def beside_to(what: Twice, frames: Path | None) -> tuple[dict[str, object], str]:
    """Both replays as fast as they go: the summary, and the same as a table to read.

    `frames` gets a line of JSON for each instant: t_s, utc, then, now, the last two whole Frames.

    Raises:
        LogError: the log cannot be read.
        OSError: the file of frames cannot be written.
    """
    if frames is None:
        what.drawn = False
        found = _summed(what, None)
    else:
        with frames.open("wb") as out:
            found = _summed(what, out)
    rods = {rod: found.rods[rod].summary() for rod in (r.name for r in what.now.rods) if rod in found.rods}
    summary: dict[str, object] = {
        "frames": found.frames,
        "differs": differing(what.then, what.now),
        "rods": rods,
        "only": found.only,
    }
    return summary, table(rods, what.now.boat.units)


def _summed(what: Twice, out: IO[bytes] | None) -> Beside:
    found = Beside()
    for then, now in what:
        found.add(then, now)
        if out is not None:
            both = {"then": payloads.frame_object(then), "now": payloads.frame_object(now)}
            out.write(payloads.to_json({"t_s": now.t_s, "utc": now.utc, **both}) + b"\n")
    return found


def table(rods: Mapping[str, Mapping[str, object]], units: str) -> str:
    """Median depth then and now and the largest difference, a row a rod, in the boat's units."""
    unit = DISPLAY_UNITS[units]["m"]

    def shown(value_m: float, sign: str = "") -> str:
        text = f"{value_m * unit.scale:{sign}.{unit.digits}f}"
        return f"{text if float(text) else '0'} {unit.label}"

    rows = [f"{'rod':8}{'then':>9}{'now':>9}   largest difference"]
    for rod, one in rods.items():
        middle, largest = one.get("median_depth_m"), one.get("largest")
        if not isinstance(middle, dict) or not isinstance(largest, dict):
            rows.append(f"{rod:8}{'--':>9}{'--':>9}   never fishing with a depth in both")
            continue
        at = f"{largest['utc'][11:19]} UTC" if largest["utc"] else f"{largest['t_s']:.0f} s"
        rows.append(
            f"{rod:8}{shown(middle['then']):>9}{shown(middle['now']):>9}   {shown(largest['difference_m'], '+')}"
            f" at {at} ({shown(largest['then_m'])} then)"
        )
    return "\n".join(rows)


def beside_on_page(what: Twice, port: int, seconds: float | None) -> dict[str, object]:
    """Both on the page: its numbers are those of now, and each row says what was shown then.

    Raises:
        LogError: the log cannot be read.
        OSError: no port for the page.
    """
    from assistant import player

    newest: dict[str, object] = {}
    differs = differing(what.then, what.now)

    def frames() -> Iterator[Frame]:
        for then, now in what:
            lines = {rod: payloads.line_object(line) for rod, line in then.lines.items()}
            newest["then"] = {"lines": lines, "differs": differs}
            yield now

    return player.show(what.now, frames(), lambda: what.told, port, PAGE_RATE, seconds, lambda: newest)
