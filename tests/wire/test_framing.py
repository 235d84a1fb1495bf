"""Framing against counts made by another implementation of its rule, for any chunks, on hostile bytes."""

from __future__ import annotations

import json
import re
import tracemalloc
from functools import reduce
from operator import xor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_bridge.framing import LONGEST, LONGEST_DELTA, PENDING_CAP, REASONS, Framer, checksum

LOGS = (
    "bay-2013-07-31-badsums.nmea",
    "bay-2013-08-01.nmea",
    "coast-plaka-vhw-hdt-vtg.log",
    "gn-gps-only-2024.nmea",
    "harbour-merrimac.log",
    "lake-2007-12-01-stuck-wheel.nmea",
    "lake-2008-05-21-noise.nmea",
    "lake-2008-06-18.nmea",
    "lake-2008-08-20.nmea",
    "lake-2014-06-18.nmea",
    "lake-nl-multitalker-2018.log",
    "ocean-2010-11-21-relogged.nmea",
    "race33-2014-08-21.nmea",
    "small-sounder-gps.log",
)


def whole(data: bytes) -> tuple[list[str], dict[str, int]]:
    """All of it in one feed."""
    framer = Framer()
    return framer.feed(data) + framer.flush(), framer.counts


def by_the_rule(data: bytes) -> dict[str, int]:
    """The rule of the recorded logs' README, word by word, slowly, sharing no code with the framer.

    Deltas, of which the README knows nothing, are by the rule at the head of framing.py.
    """
    counts = dict.fromkeys(REASONS, 0)
    for piece in re.split(rb"[\r\n]", data):
        delta = piece[:1] == b"{" and (piece[-1:] == b"}" or len(piece) > 16384)
        for part in [piece] if delta else re.findall(rb"[$!][^$!]*|^[^$!]+", piece):
            if part[:1] == b"{" and (part[-1:] == b"}" or delta):
                counts[_of_delta(part)] += 1
                continue
            if part[:1] not in (b"$", b"!") or any(byte < 0x20 or byte > 0x7E for byte in part):
                counts["noise"] += 1
                continue
            form = re.match(rb"^.([A-Z0-9]{3,8})(,.*)?\*([0-9A-Fa-f]{1,2})$", part)
            if len(part) > 120:
                counts["too_long"] += 1
            elif not form:
                counts["no_sum"] += 1
            elif f"{reduce(xor, part[1 : part.rindex(b'*')], 0):02X}".encode() == form[3].upper():
                counts["good"] += 1
            else:
                counts["bad_sum"] += 1
    return counts


def _of_delta(part: bytes) -> str:
    if len(part) > 16384:
        return "too_long"
    text = part.decode("utf-8", "replace")
    odd = any(ord(letter) < 0x20 or ord(letter) == 0x7F for letter in text)
    return "noise" if odd or text.encode() != part else "good"


def test_every_log_has_a_case(shared: Path) -> None:
    """A log added to the folder must be added here."""
    assert set(json.loads((shared / "nmea" / "counts.json").read_text())) == set(LOGS)


@pytest.mark.parametrize("log", LOGS)
def test_counts_equal_those_of_the_recorded_logs(shared: Path, log: str) -> None:
    """Source: nmea/counts.json of the shared folder, counted by another implementation."""
    expected = json.loads((shared / "nmea" / "counts.json").read_text())[log]
    data = (shared / "nmea" / log).read_bytes()
    assert whole(data)[1] == expected
    framer = Framer()
    for start in range(0, len(data), 997):
        framer.feed(data[start : start + 997])
    framer.flush()
    assert framer.counts == expected


SENTENCE = "$SDDPT,12.3,0.4*63"
DELTA = '{"updates":[{"$source":"möwe!","values":[{"path":"a","value":"$1"}]}]}'
LINE_BITS = st.one_of(
    st.sampled_from(
        [
            SENTENCE.encode(),
            b"\r\n",
            b"\n",
            b"$",
            b"!",
            b"*",
            b"*6",
            b"$SDDPT,12.3*00",
            b"!AIVDM,1*2C",
            b"# note",
            b"\\s:x*11\\",
            b"x" * 130,
            b"y" * (PENDING_CAP + 1),
            DELTA.encode(),
            b"{",
            b"}",
            b'{"a":"\xf6"}',
            b'{"' + b"z" * (LONGEST_DELTA - 4) + b'"}',
        ]
    ),
    st.binary(max_size=6),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(LINE_BITS, max_size=25).map(b"".join), st.data())
def test_any_chunks_give_the_same(data: bytes, draw: st.DataObject) -> None:
    """Counts and sentences depend on the bytes alone, and follow the rule."""
    sentences, counts = whole(data)
    framer, got, rest = Framer(), [], data
    while rest:
        size = draw.draw(st.integers(1, len(rest)))
        got += framer.feed(rest[:size])
        rest = rest[size:]
    got += framer.flush()
    assert (got, framer.counts) == (sentences, counts)
    assert counts == by_the_rule(data)


@given(st.binary(max_size=200))
def test_checksum_is_the_exclusive_or_of_all_bytes(body: bytes) -> None:
    assert checksum(body) == reduce(xor, body, 0)


def test_published_sentences_are_good() -> None:
    """Examples with their checksums from "NMEA Revealed", gpsd project, sections RMC, HDT, MTW, DBT."""
    text = (
        "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B\r\n"
        "$GPHDT,274.07,T*03\r\n$INMTW,17.9,C*1B\r\n$SDDBT,7.8,f,2.4,M,1.3,F*0D\r\n"
    )
    sentences, counts = whole(text.encode())
    assert sentences == text.split()
    assert counts["good"] == 4 == sum(counts.values())


@pytest.mark.parametrize(
    ("part", "reason"),
    [
        (SENTENCE, "good"),
        ("$SDDPT,12.3,0.4*6", "bad_sum"),  # one digit
        ("$SDDPT,12.3,0.4*00", "bad_sum"),
        ("$SDDPT,12.3,0.4", "no_sum"),  # T3: pynmea2 alone takes it for 12.3 m
        ("$SDDPT,12.3,0.4*63 ", "no_sum"),  # not at its end
        ("$sddpt,12.3,0.4*63", "no_sum"),
        ("$SDDPT,\x7f*00", "noise"),
        ("SDDPT,12.3,0.4*63", "noise"),
        ("# a note", "noise"),
        ("$SDDPT," + "1" * LONGEST + "*00", "too_long"),
    ],
)
def test_one_part_one_reason(part: str, reason: str) -> None:
    assert whole(part.encode("latin-1"))[1] == {**dict.fromkeys(REASONS, 0), reason: 1}


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (DELTA, "good"),
        ('{"a":"$GPRMC!"}', "good"),  # neither sign cuts a delta
        ("{" + "1" * LONGEST_DELTA + "}", "too_long"),
        ('{"a":"\t"}', "noise"),
        ('{"a":', "noise"),
    ],
)
def test_one_delta_one_reason(line: str, reason: str) -> None:
    sentences, counts = whole(line.encode() + b"\r\n")
    assert counts == {**dict.fromkeys(REASONS, 0), reason: 1}
    assert sentences == ([line] if reason == "good" else [])


def test_a_broken_delta_costs_no_sentence() -> None:
    """What begins with a brace and is no delta is cut like any line."""
    assert whole(b'{"a":' + SENTENCE.encode() + b"\n" + DELTA.encode() + b"\n") == (
        [SENTENCE, DELTA],
        {**dict.fromkeys(REASONS, 0), "noise": 1, "good": 2},
    )


def test_an_endless_delta_keeps_memory_and_counts_once() -> None:
    framer = Framer()
    tracemalloc.start()
    for _ in range(200):
        framer.feed(b"{" * 65536)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1_000_000
    assert framer.feed(b"\n" + SENTENCE.encode() + b"\n") == [SENTENCE]
    assert framer.counts == {**dict.fromkeys(REASONS, 0), "too_long": 1, "good": 1}


def test_a_tag_block_is_noise_and_its_sentence_good() -> None:
    assert whole(b"\\s:gps,c:1*00\\" + SENTENCE.encode()) == (
        [SENTENCE],
        {**dict.fromkeys(REASONS, 0), "noise": 1, "good": 1},
    )


def test_endless_line_keeps_memory_and_counts_once() -> None:
    """T8: bytes without a line end are held to PENDING_CAP; the next `$` is found again."""
    framer = Framer()
    framer.feed(b"$SDDPT,")
    block = b"1" * 65536
    tracemalloc.start()
    for _ in range(4600):  # 301 MB
        framer.feed(block)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 1_000_000
    assert framer.feed(SENTENCE.encode() + b"\n") == [SENTENCE]
    assert framer.counts == {**dict.fromkeys(REASONS, 0), "too_long": 1, "good": 1}


def test_long_noise_stays_noise() -> None:
    """What an endless part counts as does not change when its bytes are let go."""
    data = b"$SDDPT," + b"1" * 5000 + b"\xff" + b"1" * 5000 + b"\n" + b"z" * 5000 + SENTENCE.encode()
    framer = Framer()
    for start in range(0, len(data), 100):
        framer.feed(data[start : start + 100])
    framer.flush()
    assert framer.counts == by_the_rule(data)
    assert framer.counts["noise"] == 2
