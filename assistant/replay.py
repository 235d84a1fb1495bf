"""An outing or a raw log through the same flow as the live boat, as fast as it goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from assistant import replay_reader
from assistant.alerts.statistics import Told
from assistant.alerts.upkeep import advice
from assistant.config import load
from assistant.configured import Config
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, STATES, Event, Frame, Misfit
from assistant.outings import recording, store

PAGE_RATE = 5.0  # times real time, to begin with


@dataclass(slots=True)
class Shares:
    """Time spent in each state, per quantity, counted in frames; what was told; settings and facts not used."""

    frames: int = 0
    spans_s: tuple[float, float] = (0.0, 0.0)  # t_s of the first and the last
    told: Told = field(default_factory=Told)
    misfits: tuple[Misfit, ...] = ()  # at the end
    refused: dict[str, int] = field(default_factory=dict)
    boat: dict[str, Counter[str]] = field(default_factory=lambda: {q: Counter() for q in BOAT_QUANTITIES})
    lines: dict[str, Counter[str]] = field(default_factory=lambda: {q: Counter() for q in LINE_QUANTITIES})

    def add(self, frame: Frame) -> None:
        """Count one frame; a line quantity counts once for each rod."""
        self.spans_s = (self.spans_s[0] if self.frames else frame.t_s, frame.t_s)
        self.frames += 1
        self.told.add(frame.t_s, frame.alerts)
        for name, q in frame.boat.items():
            self.boat[name][q.state] += 1
        for line in frame.lines.values():
            for name in LINE_QUANTITIES:
                self.lines[name][getattr(line, name).state] += 1

    def shares(self, counts: dict[str, Counter[str]]) -> dict[str, dict[str, float]]:
        """{quantity: {state: share of time}}, shares of one quantity adding up to 1."""
        return {
            name: {state: round(counter[state] / max(1, counter.total()), 4) for state in STATES}
            for name, counter in counts.items()
        }


def replay(path: Path, config: Config, out: IO[bytes] | None = None, seed: int = 0) -> dict[str, object]:
    """Replay a log or the folder of an outing; Frames go to `out`, each a line of JSON. Returns the summary.

    A log makes one Frame a second, an outing those that were made live: the same to the last byte, but for their mode.

    Raises:
        LogError: the file cannot be read, or holds not one good sentence.
    """
    with replay_reader.located(path, config.boat) as located:
        shares = _march(located, config, out, seed)
    return {
        "frames": shares.frames,
        "minutes": round((shares.spans_s[1] - shares.spans_s[0]) / 60.0, 3),
        "clock": located.header.clock,
        "sentences": {
            "good": located.counts.sentences,
            **located.header.counts,
            "unused": located.counts.unused,
        },
        "rejects": {**located.counts.rejects, **shares.refused},
        "states": shares.shares(shares.boat),
        "lines": shares.shares(shares.lines),
        "calibrate": [advice(one) for one in shares.misfits],
        "alerts": shares.told.summary(),
    }


def _march(located: replay_reader.Located, config: Config, out: IO[bytes] | None, seed: int) -> Shares:
    """The second half of every step: lines and Frames."""
    from assistant import payloads, pipeline  # compiled code loads while the log is being read

    state = pipeline.initial_lines(config, "replayed", seed)
    shares = Shares()
    for instant in located:
        if instant.boat is None:
            state = pipeline.follow(state, instant)
            continue
        state, frame = pipeline.frame_of(state, instant, drawn=out is not None)
        shares.add(frame)
        shares.misfits = instant.boat.misfits
        if out is not None:
            out.write(payloads.frame_payload(frame) + b"\n")
    shares.refused = dict(state.spread.refused)
    return shares


def chosen(log: Path, directory: Path | None) -> tuple[Path, Config, int]:
    """What to replay (a raw log, or the folder of an outing), with which configuration and seed.

    An outing is replayed as it was configured, unless a directory is given.

    Raises:
        LogError, ConfigError, OptionError: one of them cannot be read, or is not there.
    """
    config = load(directory)
    path = log
    if not log.exists() and store.ID.fullmatch(str(log)):
        path = store.folder_of(store.root_or_usual(config.outings), str(log))
    if not replay_reader.is_outing(path):
        return path, config, 0
    opening = recording.opening_of(path)
    return path, config if directory else opening.config, opening.seed


def told_in(log: Path, directory: Path | None) -> dict[str, object]:
    """`spreadwatch alerts`: what a replay of the log tells, see alerts/statistics.py.

    Raises:
        LogError: the log cannot be read.
    """
    path, config, seed = chosen(log, directory)
    with replay_reader.located(path, config.boat) as located:
        return _march(located, config, None, seed).told.summary()


def replay_to(log: Path, directory: Path | None, frames: Path | None) -> dict[str, object]:
    """`spreadwatch replay`: frames go to a file, if one is given.

    Raises:
        LogError: the log cannot be read.
        OSError: the file of frames cannot be written.
    """
    path, config, seed = chosen(log, directory)
    if frames is None:
        return replay(path, config, seed=seed)
    with frames.open("wb") as out:
        return replay(path, config, out, seed)


@dataclass(slots=True)
class Frames:
    """The Frames of a replay, one after the other, and what the crew had told by the last one."""

    path: Path
    config: Config
    seed: int
    drawn: bool = True  # with the lines' curves
    told: tuple[Event, ...] = ()

    def __iter__(self) -> Iterator[Frame]:
        """Raises: LogError: the log cannot be read."""
        from assistant import pipeline

        with replay_reader.located(self.path, self.config.boat) as located:
            state = pipeline.initial_lines(self.config, "replayed", self.seed)
            for instant in located:
                if instant.boat is None:
                    state = pipeline.follow(state, instant)
                    continue
                state, frame = pipeline.frame_of(state, instant, self.drawn)
                self.told = state.lull.told
                yield frame


def shown_on_page(log: Path, directory: Path | None, port: int, seconds: float | None) -> dict[str, object]:
    """`spreadwatch replay --page`: the Frames on the page, with a bar to go to and fro.

    Raises:
        LogError: the log cannot be read.
        OSError: no port for the page.
    """
    from assistant import player

    frames = Frames(*chosen(log, directory))
    return player.show(frames.config, frames, lambda: frames.told, port, PAGE_RATE, seconds)
