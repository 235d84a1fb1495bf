"""A raw log through the same pipeline.step as the live boat, as fast as it goes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from assistant import payloads, pipeline
from assistant.errors import LogError
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, STATES, Config, Frame, Inputs, Sentence
from assistant.pipeline import STEP_S
from assistant.sensing import dates
from assistant.sensing.clock import ReplayClock, Timed, replay_clock
from firmware_bridge.framing import Framer

FRAME_EVERY = round(1.0 / STEP_S)  # steps: one Frame a second is written


@dataclass(slots=True)
class Shares:
    """Time spent in each state, per quantity, counted in frames."""

    frames: int = 0
    boat: dict[str, Counter[str]] = field(default_factory=lambda: {q: Counter() for q in BOAT_QUANTITIES})
    lines: dict[str, Counter[str]] = field(default_factory=lambda: {q: Counter() for q in LINE_QUANTITIES})

    def add(self, frame: Frame) -> None:
        """Count one frame; a line quantity counts once for each rod."""
        self.frames += 1
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


@dataclass(frozen=True, slots=True)
class Log:
    """A raw log read whole: its good sentences in time, and all its parts counted by framing reason."""

    clock: ReplayClock
    counts: dict[str, int]
    source: str

    def inputs(self) -> Iterator[Inputs]:
        """The Inputs of every instant."""
        return inputs_of(self.clock, self.source)


def read_log(path: Path) -> Log:
    """Read a raw log of NMEA 0183 sentences.

    Raises:
        LogError: the file cannot be read, or holds not one good sentence.
    """
    framer = Framer()
    texts: list[str] = []
    try:
        with path.open("rb") as stream:
            while data := stream.read(1 << 20):
                texts.extend(framer.feed(data))
    except OSError as error:
        raise LogError(f"{path}: {error.strerror}; give the path of a raw log of sentences") from None
    texts.extend(framer.flush())
    if not texts:
        counts = ", ".join(f"{count} {reason}" for reason, count in framer.counts.items())
        raise LogError(f"{path}: no good sentence in it ({counts}); want a raw log of NMEA 0183 sentences")
    clock = replay_clock(texts)
    # Every number that follows names its source, and so says when its time is only assumed.
    source = f"file:{path.name}" + (" (assumed time)" if clock.assumed else "")
    return Log(clock, dict(framer.counts), source)


def utc_at(t_s: float, latest: Timed | None) -> str | None:
    """UTC of the instant `t_s` from the latest sentence that knew it."""
    if latest is None or latest.utc_s is None:
        return None
    return dates.iso_of_seconds(latest.utc_s + t_s - latest.t_s)


def inputs_of(timed: Iterable[Timed], source: str) -> Iterator[Inputs]:
    """Sentences on the 4 Hz grid of t_s: no instant inside a gap, the first after it settles the lines."""
    tick, settle = 0, False
    batch: list[Sentence] = []
    latest: Timed | None = None

    def instant() -> Inputs:
        """The present tick; only the ticks that are shown are told their UTC."""
        utc = None if tick % FRAME_EVERY else utc_at(tick * STEP_S, latest)
        return Inputs(tick * STEP_S, tuple(batch), utc=utc, settle=settle)

    for item in timed:
        if item.gap:
            if batch and not settle:  # what came before the gap belongs before it; nothing is shown inside it
                yield instant()
                batch, tick = [], tick + 1
            tick, settle = max(tick, math.ceil(item.t_s / STEP_S)), True
        while tick * STEP_S < item.t_s:
            yield instant()
            batch, settle, tick = [], False, tick + 1
        batch.append(Sentence(item.t_s, source, item.text))
        latest = item
    yield instant()


def replay(path: Path, config: Config, out: IO[bytes] | None = None) -> dict[str, object]:
    """Replay a log; one Frame a second goes to `out` as a line of JSON. Returns the summary.

    Raises:
        LogError: the file cannot be read, or holds not one good sentence.
    """
    log = read_log(path)
    state = pipeline.initial(config, "replayed")
    shares = Shares()
    for inputs in log.inputs():
        if round(inputs.t_s / STEP_S) % FRAME_EVERY:
            state = pipeline.advance(state, inputs)
            continue
        state, frame = pipeline.step(state, inputs)
        shares.add(frame)
        if out is not None:
            out.write(payloads.frame_payload(frame) + b"\n")
    return {
        "frames": shares.frames,
        "minutes": round(shares.frames / 60.0, 3),
        "clock": "assumed" if log.clock.assumed else "sentences",
        "sentences": {**log.counts, "unused": state.counts.unused},
        "rejects": dict(state.counts.rejects),
        "states": shares.shares(shares.boat),
        "lines": shares.shares(shares.lines),
    }


def replay_to(path: Path, config: Config, frames: Path | None) -> dict[str, object]:
    """`spreadwatch replay`: frames go to a file, if one is given.

    Raises:
        LogError: the log cannot be read.
        OSError: the file of frames cannot be written.
    """
    if frames is None:
        return replay(path, config)
    with frames.open("wb") as out:
        return replay(path, config, out)
