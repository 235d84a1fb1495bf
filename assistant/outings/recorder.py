"""Records an outing from a thread of its own: the steps of the flow never wait for a disk.

Entries wait in memory, are appended and synced together every SYNC_S, and are told saved only then. When writing
fails, the file is abandoned and all that was not saved is written again to a new one, as soon as that goes; entries
carry numbers, so a reader takes each once. Meanwhile, and when the disk does not answer, the status says so.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.messages import Inputs
from assistant.outings.entries import Closing, Entry, Mark, Opening, Step, encoded
from assistant.outings.files import Files, Segment
from assistant.outings.store import delete, new_outing, segment_name

SYNC_S = 1.5
"""So much is lost at most when power goes, and the time the disk needs."""
SILENT_S = 4.75  # an entry that waits longer: the disk does not answer
RETRY_S = 2.0  # after a failure
MAX_WAITING = 2400  # entries not yet taken by the thread: ten minutes
MAX_UNSAVED_BYTES = 8 << 20  # encoded entries kept for a disk that will come back: about an hour
SPACE_EVERY_S = 60.0
DAY_H = 24.0
STARTING = "starting"
USUAL_BYTES_S = 3000.0  # until this outing's own rate is known: 150 MB in 14 h
RATE_AFTER_S = 600.0


@dataclass(frozen=True, slots=True)
class Status:
    """How recording goes, to be shown."""

    outing: str | None  # its id, once there is one
    recording: bool
    reason: str = ""  # why not
    caution: str = ""  # what will be
    dropped: int = 0  # entries thrown away


@dataclass(slots=True)
class _Unsaved:
    """An encoded entry that is not yet on the disk."""

    number: int
    record: bytes
    since_s: float
    told: Future[int] | None = None


class Recorder:
    """One outing. `step`, `tell` and `status` never wait; `close` does, for a while.

    Args:
        root: the folder of all outings.
        opening: what to write at the head of every file; its `outing` is filled in here.
        date: YYYYMMDD of the machine's clock, for the id.
        files: the operations on files.
        clock: seconds, monotonic.
    """

    def __init__(
        self,
        root: Path,
        opening: Opening,
        date: str,
        files: Files | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._root, self._opening, self._date = root, opening, date
        self._files, self._clock = files or Files(), clock
        self._wake = threading.Condition()
        self._waiting: deque[tuple[int, Entry, float, Future[int] | None]] = deque()
        self._unsaved: deque[_Unsaved] = deque()
        self._unsaved_bytes = 0
        self._number = self._saved = self._dropped = self._segments = 0
        self._urgent = self._closing = False
        self._folder: Path | None = None
        self._segment: Segment | None = None
        self._status = Status(None, False, STARTING)
        self._oldest_s: float | None = None
        self._begun_s = clock()
        self._written_bytes, self._space_s = 0, -SPACE_EVERY_S
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)
        self._thread.start()

    @property
    def status(self) -> Status:
        """How it goes now."""
        now = replace(self._status, dropped=self._dropped)
        if not self._thread.is_alive() and not self._closing:
            return replace(now, recording=False, reason="the recorder ended")
        oldest_s = self._oldest_s
        if now.recording and oldest_s is not None and self._clock() - oldest_s > SILENT_S:
            return replace(now, recording=False, reason="the disk does not answer")
        return now

    @property
    def number(self) -> int | None:
        """Number of the entry last taken."""
        return self._number

    @property
    def waiting(self) -> int:
        """Entries not yet taken by the thread."""
        return len(self._waiting)

    def step(self, inputs: Inputs, framed: bool) -> None:
        """Take what a step takes in; its events have been told already."""
        self._submit(Step(replace(inputs, events=()), framed), None)

    def tell(self, entry: Entry) -> Future[int]:
        """Take an entry and write it at once; its number is told when it is on the disk, not before."""
        told: Future[int] = Future()
        told.set_running_or_notify_cancel()  # nobody who stops waiting can cancel it under the thread's hands
        self._submit(entry, told)
        return told

    def close(self, t_s: float, timeout_s: float = 5.0) -> Status:
        """End the outing in order, within `timeout_s`; how it ended."""
        self.tell(Closing(t_s, self._dropped))
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            return replace(self.status, recording=False, reason="the disk does not answer")
        return self.status

    def _submit(self, entry: Entry, told: Future[int] | None) -> None:
        with self._wake:
            self._number += 1
            if len(self._waiting) >= MAX_WAITING and told is None:
                self._dropped += 1
                return
            self._waiting.append((self._number, entry, self._clock(), told))
            if self._oldest_s is None:
                self._oldest_s = self._waiting[0][2]
            if told is not None:
                self._urgent = True
                self._wake.notify()

    # --- in the thread -------------------------------------------------------------------------

    def _work(self) -> None:
        due_s = self._clock()  # the first file is made at once
        while True:
            with self._wake:
                self._wake.wait_for(self._wanted_now, timeout=max(0.0, due_s - self._clock()))
                taken, self._waiting = self._waiting, deque()
                self._urgent, closing = False, self._closing
            began_s = self._clock()
            for one in taken:
                self._take(*one)
            saved = self._save()
            due_s = began_s + (SYNC_S if saved else RETRY_S)
            if closing:
                self._end()
                return

    def _wanted_now(self) -> bool:
        """Whether to save before it is time: the end, or somebody waits and the disk is not failing."""
        return self._closing or (self._urgent and self._status.reason in ("", STARTING))

    def _take(self, number: int, entry: Entry, since_s: float, told: Future[int] | None) -> None:
        """Encode an entry; what is too much for memory is thrown away, oldest first, but nothing anyone waits for."""
        try:
            record = encoded(entry, number)
        except (ValueError, TypeError) as error:
            self._dropped += 1
            if told is not None:
                told.set_exception(error)
            return
        self._unsaved.append(_Unsaved(number, record, since_s, told))
        self._unsaved_bytes += len(record)
        while self._unsaved_bytes > MAX_UNSAVED_BYTES:
            place = next((i for i, one in enumerate(self._unsaved) if one.told is None), None)
            if place is None:
                return
            self._unsaved_bytes -= len(self._unsaved[place].record)
            del self._unsaved[place]
            self._dropped += 1

    def _save(self) -> bool:
        """Bring all that is unsaved onto the disk; False when that failed."""
        mark = encoded(Mark(self._saved, self._dropped))
        batch = b"".join([mark, *(one.record for one in self._unsaved)])
        try:
            if self._segment is None:
                self._segment = self._new_segment(batch)
            elif self._unsaved:
                self._segment.append(batch)
        except OSError as error:
            self._failed(error)
            return False
        self._written_bytes += len(batch)
        told = [one for one in self._unsaved if one.told is not None]
        self._saved = self._unsaved[-1].number if self._unsaved else self._saved
        self._unsaved.clear()
        self._unsaved_bytes = 0
        with self._wake:
            self._oldest_s = self._waiting[0][2] if self._waiting else None
        assert self._folder is not None
        self._status = Status(self._folder.name, True, caution=self._caution())
        for one in told:
            one.told.set_result(one.number)  # type: ignore[union-attr]  # chosen so
        return True

    def _new_segment(self, batch: bytes) -> Segment:
        """A new file with the opening and a first batch: both are on the disk, or there is no file."""
        if self._folder is None:
            self._folder = new_outing(self._root, self._date, self._files)
        opening = encoded(replace(self._opening, outing=self._folder.name))
        segment = Segment(self._files, self._folder / segment_name(self._segments), opening + batch)
        self._segments += 1
        self._written_bytes += len(opening)
        return segment

    def _failed(self, error: OSError) -> None:
        if self._segment is not None:
            self._segment.abandon()
            self._segment = None
        elif isinstance(error, FileExistsError):
            self._segments += 1  # what could not be removed is left behind
        outing = self._folder.name if self._folder else None
        self._status = Status(outing, False, error.strerror or type(error).__name__)

    def _caution(self) -> str:
        """Words when the space will not last for a day; looked at once a minute."""
        now_s = self._clock()
        if now_s - self._space_s < SPACE_EVERY_S:
            return self._status.caution
        self._space_s = now_s
        try:
            free = self._files.free_bytes(self._root)
        except OSError:
            return self._status.caution
        running_s = now_s - self._begun_s
        rate = self._written_bytes / running_s if running_s > RATE_AFTER_S else USUAL_BYTES_S
        hours = free / max(rate, 1.0) / 3600.0
        return f"space for about {hours:.0f} h of recording" if hours < DAY_H else ""

    def _end(self) -> None:
        if self._segment is not None:
            self._segment.close()
            if self._number == 1 and self._folder is not None:  # the closing alone: there was no outing
                with contextlib.suppress(OSError):
                    delete(self._folder)
        for one in self._unsaved:
            if one.told is not None:
                one.told.set_exception(OSError(f"not recorded: {self._status.reason}"))
