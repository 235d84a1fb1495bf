"""The first half of a replay in a process of its own, ahead of the lines.

Reading what was recorded and locating the boat never waits for a line, so it runs beside the lines on another core,
and while these still load their compiled code. Both halves are the functions of the flow itself: the frames are the
same to the last byte. The child writes pickles to its stdout: a Header, lists of Instants, the Counts.
"""

from __future__ import annotations

import contextlib
import copyreg
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from assistant import locate
from assistant.child_process import started
from assistant.configured import BoatConfig
from assistant.errors import LogError
from assistant.locate import STEP_S, Counts, Instant
from assistant.messages import BoatState, Inputs
from assistant.outings import store
from assistant.outings.recording import Outing
from assistant.raw_log import FRAME_EVERY, read_log

CHUNK = 240
"""Instants handed over at once: a minute."""

_CHILD = "from assistant.replay_reader import child; child()"


@dataclass(frozen=True, slots=True)
class Header:
    """What is known of a log once it is read: parts by framing reason, and where its time comes from."""

    counts: dict[str, int]
    clock: str  # what t_s rests on: "sentences", "assumed" or, of an outing, "recorded"


class Located:
    """A log's instants, one after the other, and what is known before (header) and after (counts) them."""

    def __init__(self, messages: Iterator[object]) -> None:
        self._messages = messages
        header = next(messages)
        assert isinstance(header, Header)
        self.header = header
        self.counts = Counts()

    def __iter__(self) -> Iterator[Instant]:
        for message in self._messages:
            if isinstance(message, Counts):
                self.counts = message
                return
            assert isinstance(message, list)
            yield from message


def is_outing(path: Path) -> bool:
    """Whether this is the folder of an outing; else it is a raw log."""
    return bool(store.ID.fullmatch(path.name)) and path.is_dir()


def read(path: Path) -> tuple[Header, Iterator[tuple[Inputs, bool]]]:
    """What is known of a log or outing, and its Inputs with whether a Frame is wanted of them.

    Raises:
        LogError: it cannot be read.
    """
    if is_outing(path):
        return Header({}, "recorded"), Outing(path).steps()
    log = read_log(path)
    steps = ((inputs, round(inputs.t_s / STEP_S) % FRAME_EVERY == 0) for inputs in log.inputs())
    return Header(log.counts, "assumed" if log.clock.assumed else "sentences"), steps


def messages(path: Path, config: BoatConfig) -> Iterator[object]:
    """Header, lists of Instants, Counts: all a replay's second half needs. Raises LogError."""
    header, steps = read(path)
    yield header
    state = locate.initial(config)
    chunk: list[Instant] = []
    for inputs, wanted in steps:
        state, instant = locate.located(state, inputs, wanted)
        chunk.append(instant)
        if len(chunk) == CHUNK:
            yield chunk
            chunk = []
    yield chunk
    yield state.counts


@contextlib.contextmanager
def located(path: Path, config: BoatConfig) -> Iterator[Located]:
    """Start reading and locating; on a machine of one core, in this process.

    Raises:
        LogError: the log cannot be read.
    """
    if (os.cpu_count() or 1) < 2:
        yield Located(messages(path, config))
        return
    with _running() as process:
        assert process.stdin is not None and process.stdout is not None
        pickle.dump((path, config), process.stdin)
        process.stdin.flush()
        yield Located(_received(process.stdout))


@contextlib.contextmanager
def _running() -> Iterator[subprocess.Popen[bytes]]:
    """The child; it ends with the block, or when its stdin or stdout closes. Ctrl-C reaches us only."""
    process = started(_CHILD)
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def _received(stream: IO[bytes]) -> Iterator[object]:
    """The child's messages. An error of the log is raised here, as if this process had read it."""
    while True:
        try:
            message = pickle.load(stream)
        except EOFError:
            raise LogError("the process that reads the log ended early; start again") from None
        if isinstance(message, LogError):
            raise message
        yield message


def _as_call(it: Any) -> tuple[type, tuple[object, ...]]:
    """How a BoatState travels: as the call that makes it (ten times faster to load than slot by slot)."""
    return type(it), tuple(getattr(it, name) for name in it.__slots__)


def child() -> None:
    """The child's main program: (path, BoatConfig) on stdin, messages on stdout."""
    path, config = pickle.load(sys.stdin.buffer)
    out = sys.stdout.buffer
    copyreg.pickle(BoatState, _as_call)
    with contextlib.suppress(BrokenPipeError):
        try:
            for message in messages(path, config):
                pickle.dump(message, out, pickle.HIGHEST_PROTOCOL)
                out.flush()
        except LogError as error:
            pickle.dump(error, out)
            out.flush()
