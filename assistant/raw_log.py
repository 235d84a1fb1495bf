"""A raw log of sentences, read whole and put on the grid of t_s."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import LogError
from assistant.locate import STEP_S
from assistant.messages import Inputs, Sentence
from assistant.sensing import dates
from assistant.sensing.clock import ReplayClock, Timed, replay_clock
from firmware_bridge.framing import Framer, split_unchecked

FRAME_EVERY = round(1.0 / STEP_S)  # steps: a replay makes one Frame a second


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
    """Read a raw log of NMEA 0183 sentences; a path that ends in "?checksums=ignored" also those with wrong ones.

    Raises:
        LogError: the file cannot be read, or holds not one good sentence.
    """
    plain, unchecked = split_unchecked(str(path))
    framer = Framer(unchecked=unchecked)
    texts: list[str] = []
    try:
        with Path(plain).open("rb") as stream:
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
