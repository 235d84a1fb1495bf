"""The daemon's side of recording: an outing is begun with what is running, or none is wanted; and how it is told."""

from __future__ import annotations

import time
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path

from assistant import __version__
from assistant.configured import Config
from assistant.messages import Inputs, Mode
from assistant.outings.entries import Entry, Opening
from assistant.outings.recorder import Recorder, Status

NOT_RECORDING = "NOT RECORDING"


class NoRecorder:
    """In a recorder's place where nothing is to be recorded."""

    status = Status(None, True)
    number: int | None = None
    waiting = 0

    def step(self, inputs: Inputs, framed: bool) -> None:
        """Nothing."""

    def tell(self, entry: Entry) -> Future[int]:
        """Nothing, and it says so."""
        told: Future[int] = Future()
        told.set_exception(OSError("no outing is being recorded"))
        return told

    def close(self, t_s: float) -> Status:
        """Nothing."""
        return self.status


def begun(root: Path | None, config: Config, mode: Mode, seed: int = 0) -> Recorder | NoRecorder:
    """A recorder of a new outing below `root`; none without, or when a recorded one is played."""
    if root is None or mode == "replayed":
        return NoRecorder()
    now = time.gmtime()
    clock = time.strftime("%Y-%m-%dT%H:%M:%SZ", now)
    config = replace(config, broker="none")  # its password is nobody's business in a file that is passed on
    return Recorder(root, Opening("", __version__, mode, seed, config, clock), time.strftime("%Y%m%d", now))


def words(status: Status) -> str:
    """How recording goes, in one line."""
    if not status.recording:
        return f"{NOT_RECORDING}: {status.reason}"
    said = f"recording {status.outing}" if status.outing else "not wanted"
    return f"{said}; {status.caution}" if status.caution else said


def shown(status: Status) -> dict[str, object]:
    """How recording goes, for the page and the summary; None as outing and no words where none is wanted."""
    return {
        "outing": status.outing,
        "state": "" if status.recording and not status.outing else words(status),
        "dropped": status.dropped,
    }
