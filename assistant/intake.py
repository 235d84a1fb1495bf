"""What the next step of the live flow takes in: sentences from every source.

Two kinds: `LiveIntake` gathers what instruments send, by arrival; `ReplayIntake` plays one recorded file at
the pace of its own clock, passing over its gaps.
"""

from __future__ import annotations

import asyncio
import stat
from collections import Counter, deque
from collections.abc import Callable, Coroutine, Sequence
from pathlib import Path
from typing import Any, Protocol

from assistant.locate import STEP_S
from assistant.messages import Inputs, Sentence
from assistant.raw_log import read_log
from firmware_bridge.instruments import Source, open_source

WAITING = 1000  # sentences until the next step; a source that is faster than 4000 a second has to wait


class Intake(Protocol):
    """Gives the Inputs of each step, and the tasks that gather them."""

    def tasks(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Name -> task to run beside the steps."""
        ...

    def take(self, tick: int) -> Inputs:
        """Everything for step number `tick`, counted from 0."""
        ...

    def counts(self) -> Counter[str]:
        """Parts by framing reason so far."""
        ...

    def status(self) -> list[dict[str, object]]:
        """Each source with its state, to show."""
        ...


class LiveIntake:
    """Sentences as they arrive; `clock` is the daemon's t_s."""

    def __init__(self, urls: Sequence[str], clock: Callable[[], float]) -> None:
        self._sources = [open_source(url, clock) for url in urls]
        self._queue: asyncio.Queue[Sentence] = asyncio.Queue(WAITING)
        self._held: deque[Sentence] = deque()

    def tasks(self) -> dict[str, Coroutine[Any, Any, None]]:
        """One reader for each source."""
        return {f"source {source.url}": self._read(source) for source in self._sources}

    async def _read(self, source: Source) -> None:
        async for sentence in source:
            await self._queue.put(sentence)

    def take(self, tick: int) -> Inputs:
        """What arrived up to the instant of this step; what came after it waits for the next."""
        t_s = tick * STEP_S
        while not self._queue.empty():
            self._held.append(self._queue.get_nowait())
        ready = tuple(sentence for sentence in self._held if sentence.t_s <= t_s)
        self._held = deque(sentence for sentence in self._held if sentence.t_s > t_s)
        return Inputs(t_s, ready)

    def counts(self) -> Counter[str]:
        """Parts by framing reason, over all sources."""
        total: Counter[str] = Counter()
        for source in self._sources:
            total.update(source.framer.counts)
        return total

    def status(self) -> list[dict[str, object]]:
        """Each source with its state and last error."""
        return [{"url": s.url, "state": s.state, "error": s.error} for s in self._sources]


class ReplayIntake:
    """One recorded file, step by step; after its end nothing comes any more and values grow old."""

    def __init__(self, path: Path) -> None:
        self._url = f"file:{path}"
        log = read_log(path)
        self._inputs, self._counts = log.inputs(), log.counts
        self._last_s = -STEP_S
        self._state = "connected"

    def tasks(self) -> dict[str, Coroutine[Any, Any, None]]:
        """None: the file is in memory."""
        return {}

    def take(self, tick: int) -> Inputs:
        """The next instant of the file."""
        inputs = next(self._inputs, None)
        if inputs is None:
            self._state = "ended"
            inputs = Inputs(self._last_s + STEP_S)
        self._last_s = inputs.t_s
        return inputs

    def counts(self) -> Counter[str]:
        """Parts by framing reason, of the whole file."""
        return Counter(self._counts)

    def status(self) -> list[dict[str, object]]:
        """The file and whether it has ended."""
        return [{"url": self._url, "state": self._state, "error": ""}]


def replayed_file(urls: Sequence[str]) -> Path | None:
    """The recorded file among the sources, None when all are live (a named pipe is).

    Raises:
        ValueError: a recorded file together with other sources: they have no common clock.
    """
    files = [Path(url.removeprefix("file:")) for url in urls if url.startswith("file:")]
    recorded = [path for path in files if not path.exists() or stat.S_ISREG(path.stat().st_mode)]
    if recorded and len(urls) > 1:
        raise ValueError(f"source file:{recorded[0]}: a recorded file is played alone; leave the others away")
    return recorded[0] if recorded else None


def open_intake(urls: Sequence[str], clock: Callable[[], float]) -> Intake:
    """The intake for these sources.

    Raises:
        ValueError: a source is not of a known form, or a recorded file is not alone.
        LogError: the recorded file cannot be read.
    """
    path = replayed_file(urls)
    return LiveIntake(urls, clock) if path is None else ReplayIntake(path)
