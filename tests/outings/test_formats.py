"""Every version of the format stays readable: records as they were once written, byte for byte. Never edit one."""

from __future__ import annotations

import pytest

from assistant.messages import Event, Inputs, LineSetting, Note, Sentence
from assistant.outings.entries import Closing, Entry, Mark, Step, Told, decoded
from assistant.outings.records import body_of, scan

STEP = Step(
    Inputs(
        12.25,
        (Sentence(12.1, "udp:1", "$SDDPT,38.2,0.3*42"),),
        (LineSetting(12.2, "P1", line_out_m=50.5, setting="A"),),
        (Note(12.2, "R1", "touch", "bottom", "typed"),),
    ),
    True,
)

WRITTEN: list[tuple[int, int, Entry, str]] = [
    (
        1, 1, STEP,
        "f5c9010201000000ac00000005a83c77758ecd0ac2301084df65f12421b4a905c94df0018a7a1329b55d35d82625dd8852faee6e3cf873"
        "f0b4333b3b1f3b82b17da001f40854f2489554b980012da1ad9137fb4f9272e082af113484a6d7290820bc13dbd976bd2e76225b4a2512"
        "99cd170aa643e410197bfec52801de355c2a22a035164b17a8ec40e789ccdf253e58bd20d611fe216c22e16a6cd4e4427d617babda103f"
        "3c3a22d7c1d7cff4e8b161e424e0e4ab8eb5261f707a029172b95b",
    ),
    (
        1, 2, Told(Event(12.3, "fish on", "S2", corrects=1), {"depth_m": 20.5}),
        "f5c901050200000051000000550cdee9ab564a2d4bcd2b51b2aa562a892f56b23234d233d651cacecc4b51b2524acb2cce50c8cf53d251"
        "2aca07f1838d80cce4fca2a2d4e41290da5a1da59cccbc5490e694d482928cf85c252b23033dd3da5a00c111c172",
    ),
    (1, 0, Mark(1, 0), "f5c901030000000016000000261222deab562a4e2c4b4d51b232d4514a29ca2f2800b10d6a013c89e51f"),
    (
        1, 3, Closing(13.0, 2),
        "f5c90104030000001a000000b4c71a7eab562a892f56b23234d633d0514a29ca2f28484d51b232aa0500caa2af5a",
    ),
]  # fmt: skip
"""Version, number, what it says, its bytes."""


@pytest.mark.parametrize(("version", "number", "entry", "written"), WRITTEN)
def test_what_was_once_written_is_read(version: int, number: int, entry: Entry, written: str) -> None:
    data = bytes.fromhex(written)
    (piece,) = scan(data)
    assert (piece.version, piece.number) == (version, number)
    assert decoded(piece.version, piece.kind, body_of(data, piece)) == entry


def test_a_newer_version_is_passed_over() -> None:
    data = bytes.fromhex(WRITTEN[2][3])
    (piece,) = scan(data)
    assert decoded(99, piece.kind, body_of(data, piece)) is None
    assert decoded(1, 200, body_of(data, piece)) is None
