"""One record in a file of an outing: framing, checksums, and finding records again in a damaged file. Pure.

    2  sync, bytes no text holds          4  length of the body
    1  version of this format             4  CRC-32 of the 12 bytes above
    1  kind                               n  body
    4  number, or 0                       4  CRC-32 of all above
                                             (integers little endian; CRC-32 of ISO 3309, as zlib has it)

A cut, a flipped bit or foreign bytes cost the records they hit and no other: reading goes on at the next sync whose
checksums are right. The head has its own, so that a damaged length cannot lead astray.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from typing import NamedTuple, Protocol

VERSION = 1
SYNC = b"\xf5\xc9"
_HEAD = struct.Struct("<2sBBII")
_SUM = struct.Struct("<I")
HEAD_BYTES = _HEAD.size + _SUM.size
MAX_BODY_BYTES = 4 << 20
MAX_NUMBER = 2**32 - 1


class Bytes(Protocol):
    """What can be scanned: bytes or a mapped file."""

    def __len__(self) -> int: ...
    def __getitem__(self, index: slice, /) -> bytes: ...
    def find(self, sub: bytes, start: int = ..., end: int = ..., /) -> int: ...


class Piece(NamedTuple):
    """A stretch start..stop of a file: a record, or bytes that are none."""

    start: int
    stop: int
    good: bool
    version: int = 0
    kind: int = 0
    number: int = 0


def framed(kind: int, number: int, body: bytes) -> bytes:
    """A whole record.

    Args:
        kind: 0..255; number: 0..MAX_NUMBER; body: at most MAX_BODY_BYTES.

    Raises:
        ValueError: one of them is out of range.
    """
    if not (0 <= kind <= 255 and 0 <= number <= MAX_NUMBER and len(body) <= MAX_BODY_BYTES):
        raise ValueError(f"no record of kind {kind}, number {number}, {len(body)} bytes")
    head = _HEAD.pack(SYNC, VERSION, kind, number, len(body))
    whole = head + _SUM.pack(zlib.crc32(head)) + body
    return whole + _SUM.pack(zlib.crc32(whole))


def body_of(data: Bytes, piece: Piece) -> bytes:
    """The body of a good piece."""
    return data[piece.start + HEAD_BYTES : piece.stop - _SUM.size]


def scan(data: Bytes) -> Iterator[Piece]:
    """Every byte of `data` in one piece after the other: records, and between them what is none."""
    at, lost = 0, 0  # lost: where the bytes that are no record began
    while at < len(data):
        piece = _record_at(data, at)
        if piece is None:
            following = data.find(SYNC, at + 1)
            at = len(data) if following < 0 else following
            continue
        if lost < at:
            yield Piece(lost, at, good=False)
        yield piece
        at = lost = piece.stop
    if lost < at:
        yield Piece(lost, at, good=False)


def _record_at(data: Bytes, at: int) -> Piece | None:
    """The record that begins at `at`, None when none does."""
    head = data[at : at + HEAD_BYTES]
    if len(head) < HEAD_BYTES:
        return None
    sync, version, kind, number, length = _HEAD.unpack_from(head)
    (head_sum,) = _SUM.unpack_from(head, _HEAD.size)
    if sync != SYNC or length > MAX_BODY_BYTES or zlib.crc32(head[: _HEAD.size]) != head_sum:
        return None
    stop = at + HEAD_BYTES + length + _SUM.size
    if stop > len(data):
        return None
    whole = data[at:stop]
    (whole_sum,) = _SUM.unpack_from(whole, len(whole) - _SUM.size)
    if zlib.crc32(whole[: -_SUM.size]) != whole_sum:
        return None
    return Piece(at, stop, True, version, kind, number)
