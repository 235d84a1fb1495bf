"""Records and entries: what goes in comes out; any cut, flip or foreign byte costs only what it hit.

CRC-32 against its check value of the published parameters (ISO 3309: "123456789" -> CBF43926).
"""

from __future__ import annotations

import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outing_tools import CONFIG, OPENING, inputs_at

from assistant.configured import Config
from assistant.messages import Event, Inputs, LineSetting, Note, Sentence
from assistant.outings import records
from assistant.outings.entries import KINDS, Closing, Entry, Mark, Opening, Step, Told, decoded, encoded
from assistant.outings.plain import from_plain, to_plain

BODIES = st.lists(st.binary(max_size=60), min_size=1, max_size=8)


def joined(bodies: list[bytes]) -> bytes:
    """Records numbered from 1."""
    return b"".join(records.framed(2, number, body) for number, body in enumerate(bodies, 1))


def found(data: bytes) -> list[tuple[int, bytes]]:
    """Number and body of every record, after a check that the pieces cover every byte once."""
    pieces = list(records.scan(data))
    assert [p.start for p in pieces] == [0, *(p.stop for p in pieces)][: len(pieces)]
    assert sum(p.stop - p.start for p in pieces) == len(data)
    return [(p.number, records.body_of(data, p)) for p in pieces if p.good]


def test_checksum_is_the_published_one() -> None:
    assert zlib.crc32(b"123456789") == 0xCBF43926
    whole = records.framed(2, 7, b"abc")
    assert struct.unpack("<I", whole[-4:])[0] == zlib.crc32(whole[:-4])


@given(BODIES)
def test_every_record_comes_back(bodies: list[bytes]) -> None:
    assert found(joined(bodies)) == list(enumerate(bodies, 1))


@given(BODIES, st.data())
def test_cut_anywhere_leaves_what_is_whole(bodies: list[bytes], data: st.DataObject) -> None:
    whole = joined(bodies)
    cut = data.draw(st.integers(0, len(whole)))
    sizes = [len(records.framed(2, 1, body)) for body in bodies]
    kept = max(n for n in range(len(bodies) + 1) if sum(sizes[:n]) <= cut)
    assert found(whole[:cut]) == list(enumerate(bodies[:kept], 1))


@given(BODIES, st.data())
def test_a_flipped_bit_costs_the_record_it_is_in(bodies: list[bytes], data: st.DataObject) -> None:
    whole = bytearray(joined(bodies))
    bit = data.draw(st.integers(0, 8 * len(whole) - 1))
    whole[bit // 8] ^= 1 << bit % 8
    stops = [sum(len(records.framed(2, 1, b)) for b in bodies[: n + 1]) for n in range(len(bodies))]
    hit = next(n for n, stop in enumerate(stops) if bit // 8 < stop)
    assert found(bytes(whole)) == [one for n, one in enumerate(enumerate(bodies, 1)) if n != hit]


@given(BODIES, st.binary(max_size=40), st.data())
def test_foreign_bytes_between_records_are_passed_over(
    bodies: list[bytes], foreign: bytes, data: st.DataObject
) -> None:
    """Also half a record, or one that says it is longer than all that follows."""
    place = data.draw(st.integers(0, len(bodies)))
    stuff = data.draw(
        st.sampled_from([foreign, joined([foreign])[:-1], records.framed(2, 1, bytes(900))[:-1]])
    )
    parts = [records.framed(2, n, body) for n, body in enumerate(bodies, 1)]
    mixed = b"".join([*parts[:place], stuff, *parts[place:]])
    assert found(mixed) == list(enumerate(bodies, 1))


@given(st.binary(max_size=300))
def test_noise_is_no_record(noise: bytes) -> None:
    assert found(noise) == []
    assert found(records.SYNC * 40 + noise) == []


@pytest.mark.parametrize(
    ("kind", "number", "size"), [(256, 0, 0), (1, -1, 0), (1, 2**32, 0), (1, 1, (4 << 20) + 1)]
)
def test_what_does_not_fit_is_refused(kind: int, number: int, size: int) -> None:
    with pytest.raises(ValueError, match="no record"):
        records.framed(kind, number, bytes(size))


# --- entries -----------------------------------------------------------------------------------

TIMES = st.floats(0.0, 1e6)
TEXTS = st.text(max_size=90)
SETTINGS = st.builds(
    LineSetting,
    t_s=TIMES,
    rod=TEXTS,
    line_out_m=st.none() | TIMES,
    setting=st.none() | st.floats() | TEXTS,
    rod_state=st.none() | st.sampled_from(["aboard", "fishing", "fish on"]),
    tripped=st.none() | st.booleans(),
)
NOTES = st.builds(
    Note, t_s=TIMES, rod=TEXTS, kind=TEXTS, value=st.floats() | TEXTS, source=TEXTS, sigma=st.floats()
)
INPUTS = st.builds(
    Inputs,
    t_s=TIMES,
    sentences=st.lists(st.builds(Sentence, TIMES, TEXTS, TEXTS), max_size=4).map(tuple),
    settings=st.lists(SETTINGS, max_size=2).map(tuple),
    notes=st.lists(NOTES, max_size=2).map(tuple),
    utc=st.none() | TEXTS,
    settle=st.booleans(),
)


def again(entry: Entry, number: int = 0) -> Entry | None:
    """An entry, written and read."""
    data = encoded(entry, number)
    (piece,) = records.scan(data)
    assert piece.number == number
    return decoded(piece.version, piece.kind, records.body_of(data, piece))


@settings(max_examples=60)
@given(INPUTS, st.booleans())
def test_inputs_of_any_kind_come_back_to_the_last_bit(inputs: Inputs, framed: bool) -> None:
    """repr tells NaN from a number and -0.0 from 0.0."""
    assert repr(again(Step(inputs, framed), 9)) == repr(Step(inputs, framed))


def test_the_whole_configuration_comes_back() -> None:
    assert from_plain(Config, to_plain(CONFIG)) == CONFIG
    opening = Opening("20260718-1", "1.0", "live", 3, CONFIG, "2026-07-18T09:00:00Z")
    assert again(opening) == opening
    assert len(encoded(opening)) < 20_000


def test_marks_and_closing_come_back() -> None:
    told = Told(Event(9.0, "touch", "R1", "bottom"), {"depth_m": 20.5})
    for entry in (told, Mark(12, 3), Closing(1.5, 0), OPENING, Step(inputs_at(3), True)):
        assert again(entry) == entry


@given(st.sampled_from(sorted(KINDS)), st.binary(max_size=80), st.integers(0, 255))
def test_bodies_of_noise_never_raise(kind: int, body: bytes, version: int) -> None:
    assert decoded(version, kind, body) is None
    deflate = zlib.compressobj(6, zlib.DEFLATED, -15)
    assert decoded(1, kind, deflate.compress(body) + deflate.flush()) is None


@pytest.mark.parametrize("text", ["{}", "[]", "1", '{"inputs":{"t_s":"x"},"framed":true}', "[" * 100_000])
def test_json_that_is_no_entry_is_none(text: str) -> None:
    deflate = zlib.compressobj(6, zlib.DEFLATED, -15)
    assert decoded(1, 2, deflate.compress(text.encode()) + deflate.flush()) is None


def test_a_body_that_inflates_without_end_is_none() -> None:
    deflate = zlib.compressobj(9, zlib.DEFLATED, -15)
    bomb = deflate.compress(b" " * (64 << 20)) + deflate.flush()
    assert decoded(1, 2, bomb) is None
