"""An outing read back: what is whole of it, in order, each entry once; and what is not, counted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import NamedTuple

from assistant.errors import LogError
from assistant.locate import STEP_S
from assistant.messages import Event, Inputs
from assistant.outings.entries import KINDS, Closing, Entry, Mark, Opening, Step, Told, decoded
from assistant.outings.records import Piece, body_of, scan
from assistant.outings.store import segments

GAP_S = 60.0  # a longer gap in what was recorded settles the lines anew, as in a raw log
GLANCE_BYTES = 1 << 16


@dataclass(frozen=True, slots=True)
class Checked:
    """What is there of an outing."""

    outing: str
    readable: bool  # its opening is there
    closed: bool  # it ended in order
    files: int
    bytes: int
    entries: int  # numbered ones, each counted once
    dropped: int  # never written: the disk was away for too long
    lost: int  # were on the disk once, by the last mark, and are no more
    unknown: int  # records whole, but of no kind or version this program knows
    damaged_places: int
    damaged_bytes: int  # between whole records
    torn_bytes: int  # after the last whole record of a file
    seconds: float | None  # t_s of the last step

    def plain(self) -> dict[str, object]:
        """As JSON."""
        return asdict(self)


class _Place(NamedTuple):
    """Where a numbered record is."""

    data: bytes
    piece: Piece


class Outing:
    """The whole records of one outing. `opening` is the first good one, None when there is none."""

    def __init__(self, folder: Path) -> None:
        self.id = folder.name
        self.opening: Opening | None = None
        self._places: dict[int, _Place] = {}
        self._saved = self._dropped = self._unknown = 0
        self._closed = False
        self._damage: list[Piece] = []
        self._torn_bytes = 0
        self._files = self._bytes = 0
        for path in segments(folder):
            try:
                data = path.read_bytes()
            except OSError as error:
                raise LogError(f"{path}: {error.strerror}") from None
            self._files += 1
            self._bytes += len(data)
            for piece in scan(data):
                self._take(data, piece)
        self._order = sorted(self._places)

    def _take(self, data: bytes, piece: Piece) -> None:
        if not piece.good:
            if piece.stop == len(data):
                self._torn_bytes += piece.stop - piece.start
            else:
                self._damage.append(piece)
        elif piece.kind in KINDS and KINDS[piece.kind].numbered:
            self._places.setdefault(piece.number, _Place(data, piece))
        else:
            self._unnumbered(decoded(piece.version, piece.kind, body_of(data, piece)))

    def _unnumbered(self, entry: Entry | None) -> None:
        match entry:
            case Opening():
                self.opening = self.opening or entry
            case Mark():
                self._saved, self._dropped = max(self._saved, entry.saved), max(self._dropped, entry.dropped)
            case _:
                self._unknown += 1

    def entries(self) -> Iterator[tuple[int, Entry]]:
        """Every numbered entry with its number, in order."""
        for number in self._order:
            data, piece = self._places[number]
            entry = decoded(piece.version, piece.kind, body_of(data, piece))
            if entry is not None:
                yield number, entry

    def steps(self) -> Iterator[tuple[Inputs, bool]]:
        """Inputs of every instant, and whether a Frame was made of it. In a short gap nothing came.

        What was told goes with the step that came next, as it did live.
        """
        last_s: float | None = None
        told: list[Event] = []
        for number, entry in self.entries():
            if isinstance(entry, Told):
                told.append(replace(entry.event, number=number))
            if not isinstance(entry, Step):
                continue
            inputs = replace(entry.inputs, events=tuple(replace(one, t_s=entry.inputs.t_s) for one in told))
            if last_s is not None and inputs.t_s <= last_s:
                continue  # no damage makes time go back
            if last_s is not None and inputs.t_s - last_s > GAP_S:
                inputs = replace(inputs, settle=True)
            elif last_s is not None:
                for tick in range(1, round((inputs.t_s - last_s) / STEP_S)):
                    yield Inputs(last_s + tick * STEP_S), False
            told = []
            yield inputs, entry.framed
            last_s = inputs.t_s

    def events(self) -> dict[int, Told]:
        """What happened, by number and in order of time, as it was last corrected: when it was told at first."""
        found: dict[int, Told] = {}
        for number, entry in self.entries():
            if isinstance(entry, Told):
                old = found.pop(entry.event.corrects or 0, None)
                t_s = old.event.t_s if old is not None else entry.event.t_s
                if entry.event.kind != "withdrawn":
                    found[number] = replace(entry, event=replace(entry.event, t_s=t_s))
        return dict(sorted(found.items(), key=lambda item: item[1].event.t_s))

    def checked(self) -> Checked:
        """Read every record and say what is there."""
        entries = dict(self.entries())
        steps = [entry.inputs.t_s for entry in entries.values() if isinstance(entry, Step)]
        closings = [entry for entry in entries.values() if isinstance(entry, Closing)]
        dropped = max([self._dropped, *(entry.dropped for entry in closings)])
        saved = max(
            [self._saved, *(number for number, entry in entries.items() if isinstance(entry, Closing))]
        )
        present = sum(number <= saved for number in entries)
        return Checked(
            outing=self.id,
            readable=self.opening is not None,
            closed=bool(closings),
            files=self._files,
            bytes=self._bytes,
            entries=len(entries),
            dropped=dropped,
            lost=max(0, saved - present - dropped),
            unknown=self._unknown + len(self._places) - len(entries),
            damaged_places=len(self._damage),
            damaged_bytes=sum(piece.stop - piece.start for piece in self._damage),
            torn_bytes=self._torn_bytes,
            seconds=max(steps, default=None),
        )


@dataclass(frozen=True, slots=True)
class Glance:
    """An outing at a glance: head and tail only are read."""

    outing: str
    bytes: int
    mode: str | None
    clock: str | None
    seconds: float | None
    closed: bool


def glance(folder: Path) -> Glance:
    """Look at one outing.

    Raises:
        OSError: it cannot be read.
    """
    files = segments(folder)
    size = sum(path.stat().st_size for path in files)
    opening, seconds, closed = None, None, False
    for path in files[:1] + files[-1:]:
        with path.open("rb") as stream:
            data = stream.read(GLANCE_BYTES)
            stream.seek(max(len(data), path.stat().st_size - GLANCE_BYTES))
            data += stream.read(GLANCE_BYTES)
        for piece in scan(data):
            entry = decoded(piece.version, piece.kind, body_of(data, piece)) if piece.good else None
            opening = entry if isinstance(entry, Opening) and opening is None else opening
            seconds = entry.inputs.t_s if isinstance(entry, Step) else seconds
            closed = closed or isinstance(entry, Closing)
    mode, clock = (opening.mode, opening.clock) if opening else (None, None)
    return Glance(folder.name, size, mode, clock, seconds, closed)


def opening_of(folder: Path) -> Opening:
    """The first good opening of an outing.

    Raises:
        LogError: there is none.
    """
    for path in segments(folder):
        try:
            data = path.read_bytes()
        except OSError as error:
            raise LogError(f"{path}: {error.strerror}") from None
        for piece in scan(data):
            if piece.good and isinstance(
                entry := decoded(piece.version, piece.kind, body_of(data, piece)), Opening
            ):
                return entry
    raise LogError(f"{folder.name}: nothing of it can be read; spreadwatch outings verify says more")
