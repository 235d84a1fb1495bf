"""What the tests of outings share: entries, a recorder that is fed and closed, an outing read again."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from assistant import config
from assistant.messages import Inputs, Sentence
from assistant.outings.entries import Opening
from assistant.outings.files import Files
from assistant.outings.recorder import Recorder, Status
from assistant.outings.recording import Outing
from assistant.outings.store import folder_of, ids

DATE = "20260718"
CONFIG = config.load()
OPENING = Opening("", "0.0", "live", 0, replace(CONFIG, lines={}, bodies={}, rods=()))


def inputs_at(tick: int, count: int = 3) -> Inputs:
    """What a step may take in: sentences, no two alike."""
    t_s = tick * 0.25
    return Inputs(t_s, tuple(Sentence(t_s - 0.01 * i, "udp:1", f"$GPTXT,{tick},{i}") for i in range(count)))


def recorder(root: Path, files: Files | None = None) -> Recorder:
    """A recorder of a new outing."""
    return Recorder(root, OPENING, DATE, files)


def recorded(root: Path, steps: Iterable[Inputs]) -> Status:
    """Record an outing and close it."""
    one = recorder(root)
    for tick, inputs in enumerate(steps):
        one.step(inputs, framed=tick % 2 == 0)
    return one.close(1e3)


def only_outing(root: Path) -> Outing:
    """The one outing there is."""
    (name,) = ids(root)
    return Outing(folder_of(root, name))


def checksummed(body: str) -> str:
    """A sentence around `body` with its checksum (NMEA 0183: the exclusive-or of all between $ and *)."""
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}"
