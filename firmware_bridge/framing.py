"""Bytes of any wire -> the texts of good sentences; every reject counted by reason. Pure, incremental.

Rule: a line end is CR or LF; a line from `{` to `}` (or longer than LONGEST_DELTA) is one part, any other line is cut
before every `$` or `!`. A part from `{` to `}` is a Signal K delta: `too_long` beyond LONGEST_DELTA bytes, `noise` with
a control character or if it is no UTF-8, else `good` (JSON has no checksum: what it says is judged later). Any other
part counts once, as the first that fits of
    noise     it does not start with `$` or `!`, or holds a byte outside 0x20-0x7E
    too_long  over 120 characters
    no_sum    lacks an address of 3-8 capitals or digits (then `,` and text, or nothing), or lacks `*` with
              one or two hex digits at its end
    bad_sum   fewer than two hex digits, or not the exclusive-or of what stands between `$` and `*`
    good
A source may be told to take sentences of `bad_sum` too (a talker that computes them wrongly): its name ends in
"?checksums=ignored", or "&checksums=ignored" after another setting, and all it says is doubtful.
A checksum is one byte: of parts with several wrong bytes about 1 in 256 still pass. Ranges come later.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from assistant.messages import CHECKSUMS_IGNORED

LONGEST = 120  # characters of a part; the standard says 82, real talkers exceed it
LONGEST_DELTA = 16384  # bytes: some hundred values; most deltas have one to ten
PENDING_CAP = 1024  # bytes kept of a part that has not ended
SLICE = 65536  # bytes split at a time, so that one huge feed costs no second huge copy

REASONS = ("good", "bad_sum", "no_sum", "too_long", "noise")

_FORM = re.compile(rb"[$!][A-Z0-9]{3,8}(?:,[\x20-\x7e]*)?\*([0-9A-Fa-f]{1,2})")
_NOT_TEXT = re.compile(rb"[^\x20-\x7e]")
_CONTROL = re.compile(rb"[\x00-\x1f\x7f]")
_BRACE = b"{"
_STARTS = (b"$", b"!")


def split_unchecked(name: str) -> tuple[str, bool]:
    """A source's or file's name without the mark that its checksums are ignored, and whether it had it."""
    for mark in ("?", "&"):
        if name.endswith(mark + CHECKSUMS_IGNORED):
            return name.removesuffix(mark + CHECKSUMS_IGNORED), True
    return name, False


def checksum(body: bytes) -> int:
    """Exclusive-or of all bytes of `body`, 0..255: what stands between `$` and `*` of a sentence."""
    folded = int.from_bytes(body, "big")
    shift = 4 << len(body).bit_length()
    while shift >= 8:  # halves laid over each other: one big-integer step per doubling, not one per byte
        folded ^= folded >> shift
        shift >>= 1
    return folded & 0xFF


def is_delta(line: bytes) -> bool:
    """Whether a whole line counts as one delta, good or not."""
    return line.startswith(_BRACE) and (line.endswith(b"}") or len(line) > LONGEST_DELTA)


def _classify_delta(line: bytes) -> str:
    if len(line) > LONGEST_DELTA:
        return "too_long"
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        return "noise"
    return "noise" if _CONTROL.search(line) else "good"


def classify(part: bytes) -> str:
    """Which of REASONS a part (no line end in it, a delta or `$` or `!` at most at its start) counts as."""
    if is_delta(part):
        return _classify_delta(part)
    form = _FORM.fullmatch(part)
    if form is None:
        if not part.startswith(_STARTS) or _NOT_TEXT.search(part):
            return "noise"
        return "too_long" if len(part) > LONGEST else "no_sum"
    if len(part) > LONGEST:
        return "too_long"
    digits = form[1]
    if len(digits) == 2 and int(digits, 16) == checksum(part[1 : -len(digits) - 1]):
        return "good"
    return "bad_sum"


def _stand_in(part: bytes) -> bytes:
    """A short part that counts as `part` will, whatever else is appended: keeps an endless line in bounds."""
    if part.startswith(_BRACE):
        return part[: LONGEST_DELTA + 1]  # until then its end may make a delta of it
    if not part.startswith(_STARTS) or _NOT_TEXT.search(part):
        return b"\x00"
    return part[: LONGEST + 1]


@dataclass(slots=True)
class Framer:
    """Splits a byte stream, in chunks of any size, into sentences; the counts do not depend on the chunks.

    With `unchecked` a sentence whose checksum is wrong is handed on like a good one; it counts as bad_sum still.
    """

    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(REASONS, 0))
    unchecked: bool = False
    _pending: bytes = b""

    def feed(self, data: bytes) -> list[str]:
        """Take the next bytes; return the good sentences they completed, without line ends, in order."""
        good: list[str] = []
        for start in range(0, len(data), SLICE):
            parts = _cut(self._pending + data[start : start + SLICE])
            self._pending = parts.pop()
            if len(self._pending) > PENDING_CAP:
                self._pending = _stand_in(self._pending)
            good.extend(self._count(parts))
        return good

    def flush(self) -> list[str]:
        """End of the stream: what is pending counts as if a line end had come."""
        parts, self._pending = _cut(self._pending + b"\n"), b""
        return list(self._count(parts))

    def _count(self, parts: list[bytes]) -> Iterator[str]:
        for part in parts:
            if part:
                reason = classify(part)
                self.counts[reason] += 1
                if reason == "good" or (self.unchecked and reason == "bad_sum"):
                    yield part.decode("utf-8")  # a sentence is ASCII


def _cut(data: bytes) -> list[bytes]:
    """Parts of all lines; the last one may go on in the next chunk."""
    data = data.replace(b"\r", b"\n")
    if _BRACE not in data:
        return _cut_sentences(data)
    *lines, last = data.split(b"\n")
    parts = [part for line in lines for part in ([line] if is_delta(line) else _cut_sentences(line))]
    return parts + ([last] if last.startswith(_BRACE) else _cut_sentences(last))


def _cut_sentences(data: bytes) -> list[bytes]:
    """Split at line ends and before each `$` or `!`."""
    return data.replace(b"$", b"\n$").replace(b"!", b"\n!").split(b"\n")
