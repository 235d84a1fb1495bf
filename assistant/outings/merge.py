"""Several outings of one day made one: a daemon that was started again began a new outing, the day did not.

The entries are taken over as they are, in their order, later outings moved by what the machine's clock says passed
between the starts. At each seam the rods are set as the later outing began with them, as was shown live. What is
merged stays where it is.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from pathlib import Path

from assistant.configured import Config
from assistant.errors import OptionError
from assistant.locate import STEP_S
from assistant.messages import Inputs, LineSetting
from assistant.outings.entries import Closing, Entry, Opening, Step, Told, encoded
from assistant.outings.files import Files, Segment
from assistant.outings.recording import Outing
from assistant.outings.store import delete, new_outing, segment_name

BATCH_BYTES = 1 << 20
MOST_APART_H = 24.0
NO_MATTER = (
    "sources", "broker", "page_port", "signalk", "signalk_port", "signalk_vessel", "outings", "speak", "origin"
)  # fmt: skip
"""What may differ between configurations: it changes no Frame."""


@dataclass(frozen=True, slots=True)
class Part:
    """One of the outings, and how much later [s] than the first it began."""

    outing: Outing
    opening: Opening
    later_s: float


def merged(root: Path, folders: Sequence[Path], files: Files | None = None) -> str:
    """Make a new outing of two or more; its id.

    Raises:
        OptionError: they cannot be one, and why.
        LogError: one cannot be read.
        OSError: the new one cannot be written; then there is none.
    """
    files = files or Files()
    parts = ordered(folders)
    first = parts[0].opening
    folder = new_outing(root, parts[0].outing.id.rpartition("-")[0], files)
    try:
        _write(folder, replace(first, outing=folder.name), parts, files)
    except BaseException:
        with contextlib.suppress(OSError):
            delete(folder)
        raise
    return folder.name


def ordered(folders: Sequence[Path]) -> list[Part]:
    """The outings by the clock of their starts. Raises OptionError where they cannot be one, LogError."""
    if len(set(folders)) < 2:
        raise OptionError("want two different outings or more to merge")
    found = [Outing(folder) for folder in folders]
    begun = sorted(((_began(one), one) for one in found), key=lambda pair: pair[0])
    start, parts, end_s = begun[0][0], list[Part](), 0.0
    for at, outing in begun:
        assert outing.opening is not None  # _began saw to it
        later_s = round((at - start).total_seconds() / STEP_S) * STEP_S
        if parts:
            _may_follow(parts[-1], outing, later_s - end_s)
        parts.append(Part(outing, outing.opening, later_s))
        end_s = later_s + (outing.checked().seconds or 0.0)
    return parts


def _began(outing: Outing) -> datetime:
    opening = outing.opening
    if opening is None:
        raise OptionError(
            f"{outing.id}: its opening is lost, so nobody knows when it began or with what gear"
        )
    if opening.clock is None:
        raise OptionError(f"{outing.id}: the machine's clock was not known when it began")
    at = datetime.fromisoformat(opening.clock)
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


def _may_follow(last: Part, outing: Outing, apart_s: float) -> None:
    """Raises OptionError where an outing cannot be the next after `last`."""
    assert outing.opening is not None
    if apart_s <= 0.0:
        raise OptionError(f"{outing.id} began before {last.outing.id} ended ({-apart_s / 60.0:.1f} min)")
    if apart_s > MOST_APART_H * 3600.0:
        raise OptionError(
            f"{outing.id} began {apart_s / 3600.0:.0f} h after {last.outing.id} ended: not one outing"
        )
    if outing.opening.mode != last.opening.mode:
        raise OptionError(f"{outing.id} is {outing.opening.mode}, {last.outing.id} {last.opening.mode}")
    other = differing(last.opening.config, outing.opening.config)
    if other:
        raise OptionError(f"{outing.id} had another configuration than {last.outing.id}: {', '.join(other)}")


def differing(one: Config, other: Config) -> list[str]:
    """What differs between two configurations and matters."""
    names = [row.name for row in fields(one) if row.name not in NO_MATTER]
    return [name for name in names if getattr(one, name) != getattr(other, name)]


def _write(folder: Path, opening: Opening, parts: Sequence[Part], files: Files) -> None:
    segment = Segment(files, folder / segment_name(0), encoded(opening))
    try:
        batch, size = list[bytes](), 0
        for number, entry in enumerate(_entries(parts), start=1):
            batch.append(encoded(entry, number))
            size += len(batch[-1])
            if size > BATCH_BYTES:
                segment.append(b"".join(batch))
                batch, size = [], 0
        segment.append(b"".join(batch))
    finally:
        segment.close()


def _entries(parts: Sequence[Part]) -> Iterator[Entry]:
    """All entries in order; the number of each is its place, from 1."""
    number, missing, end_s = 0, 0, 0.0
    for part in parts:
        places: dict[int, int] = {}
        seam = _as_begun(part.opening.config) if part.later_s > 0.0 else ()
        for old, entry in part.outing.entries():
            if isinstance(entry, Closing):
                continue
            number += 1
            places[old] = number
            if isinstance(entry, Step):
                inputs = _moved(entry.inputs, part.later_s)
                settings = (*(replace(one, t_s=inputs.t_s) for one in seam), *inputs.settings)
                entry, seam = replace(entry, inputs=replace(inputs, settings=settings)), ()
                end_s = inputs.t_s
            elif isinstance(entry, Told):
                event = entry.event
                corrects = None if event.corrects is None else places.get(event.corrects)
                event = replace(event, t_s=event.t_s + part.later_s, corrects=corrects, number=None)
                entry = replace(entry, event=event)
            yield entry
        checked = part.outing.checked()
        missing += checked.dropped + checked.lost
    yield Closing(end_s, missing)


def _as_begun(config: Config) -> tuple[LineSetting, ...]:
    """Every rod as configured, said as settings."""
    return tuple(
        LineSetting(
            0.0,
            rod.name,
            line_out_m=rod.line_out_m,
            setting=next((part.setting for part in rod.rig if part.setting is not None), None),
            rod_state=rod.rod_state,
            tripped=False,
        )
        for rod in config.rods
    )


def _moved(inputs: Inputs, by_s: float) -> Inputs:
    """The same inputs so much later."""
    if by_s == 0.0:
        return inputs
    return replace(
        inputs,
        t_s=inputs.t_s + by_s,
        sentences=tuple(replace(one, t_s=one.t_s + by_s) for one in inputs.sentences),
        settings=tuple(replace(one, t_s=one.t_s + by_s) for one in inputs.settings),
        notes=tuple(replace(one, t_s=one.t_s + by_s) for one in inputs.notes),
        actions=tuple(replace(one, t_s=one.t_s + by_s) for one in inputs.actions),
        outlook=None if inputs.outlook is None else replace(inputs.outlook, t_s=inputs.outlook.t_s + by_s),
    )
