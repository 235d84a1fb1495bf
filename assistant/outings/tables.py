"""What `spreadwatch outings` shows: words about outings, made from what is read of them."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import OptionError
from assistant.outings.entries import Step, Told
from assistant.outings.recording import Checked, Glance, Outing, glance
from assistant.outings.store import folder_of, ids

MB = 1e6


def listed(root: Path) -> str:
    """One line for each outing below `root`; Raises OSError."""
    rows = [_row(glance(folder_of(root, name))) for name in ids(root)]
    return "\n".join(rows) if rows else f"no outings in {root}"


def _row(one: Glance) -> str:
    if one.mode is None:
        return f"{one.outing:14} its beginning cannot be read; spreadwatch outings verify {one.outing}"
    began = f"{one.clock[:10]} {one.clock[11:16]} UTC" if one.clock else "clock unknown"
    ended = "" if one.closed else "  not ended in order"
    other = "" if one.mode == "live" else f"  {one.mode}"
    return f"{one.outing:14} {began}  {duration(one.seconds)}  {one.bytes / MB:7.1f} MB{ended}{other}"


def duration(seconds: float | None) -> str:
    """A time as hours and minutes."""
    minutes = int((seconds or 0.0) // 60)
    return f"{minutes // 60:2d} h {minutes % 60:02d} min"


def summary_of(folder: Path) -> dict[str, object]:
    """`outings show`: what is in one outing, as JSON. Raises LogError."""
    outing = Outing(folder)
    sentences: dict[str, int] = {}
    settings = notes = 0
    for _, entry in outing.entries():
        if isinstance(entry, Step):
            for sentence in entry.inputs.sentences:
                sentences[sentence.source] = sentences.get(sentence.source, 0) + 1
            settings += len(entry.inputs.settings)
            notes += len(entry.inputs.notes)
    checked, opening = outing.checked(), outing.opening
    return {
        "outing": outing.id,
        "program": opening.program if opening else None,
        "mode": opening.mode if opening else None,
        "clock": opening.clock if opening else None,
        "boat": opening.config.boat.title if opening else None,
        "rods": [rod.name for rod in opening.config.rods] if opening else [],
        "seconds": checked.seconds,
        "megabytes": round(checked.bytes / MB, 3),
        "sentences": sentences,
        "settings": settings,
        "notes": notes,
        "events": [{"number": n, **_told(told)} for n, told in outing.events().items()],
        "closed": checked.closed,
    }


def _told(told: Told) -> dict[str, object]:
    """An event as JSON."""
    event = told.event
    line = {name: round(value, 3) for name, value in told.line.items()}
    return {
        "t_s": round(event.t_s, 2),
        "rod": event.rod,
        "kind": event.kind,
        "value": event.value,
        "line": line,
    }


def verdict(checked: Checked) -> str:
    """What is wrong with an outing in words; "whole" when nothing is."""
    if not checked.entries and not checked.readable:
        return "empty: nothing was recorded"
    said = [
        "" if checked.readable else "its opening is lost: a replay needs --config",
        "" if checked.closed else "not ended in order",
        f"{checked.dropped} entries never reached the disk" if checked.dropped else "",
        f"{checked.lost} entries were saved and are lost" if checked.lost else "",
        f"{checked.damaged_places} damaged places" if checked.damaged_places else "",
        f"{checked.torn_bytes} bytes torn off at an end" if checked.torn_bytes else "",
        f"{checked.unknown} records of a newer program" if checked.unknown else "",
    ]
    return "; ".join(filter(None, said)) or "whole"


def verified(root: Path, names: tuple[str, ...]) -> dict[str, object]:
    """`outings verify`: every record of these outings (all, if none is named) read and counted.

    Raises:
        OptionError: there is no outing of that id, or none at all.
        LogError: a file cannot be read.
    """
    chosen = names or tuple(ids(root))
    if not chosen:
        raise OptionError(f"no outings in {root}")
    found = [Outing(folder_of(root, name)).checked() for name in chosen]
    return {
        "outings": [{**one.plain(), "verdict": verdict(one)} for one in found],
        "unreadable": sum(bool(one.entries) and not one.readable for one in found),
        "lost": sum(one.lost for one in found),
    }
