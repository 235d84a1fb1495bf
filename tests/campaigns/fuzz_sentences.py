"""Mutated sentences through framing, decoding and the replay clock: nothing may raise or leave its range.

    python tests/campaigns/fuzz_sentences.py --seed 1 --n 1000000

Half of the mutated lines get a right checksum again, so that the decoder sees them; of the others a few pass
by luck, which is counted. Prints one JSON object last; exit 1 if anything failed, with the first failures.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
from collections import Counter
from functools import reduce
from itertools import pairwise
from operator import xor
from pathlib import Path

if __package__ in (None, ""):  # as a script: the repository is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.messages import Sentence
from assistant.sensing.clock import replay_clock
from assistant.sensing.nmea import QUANTITIES, REJECT_REASONS, Decoded, decode
from firmware_bridge.framing import Framer

BODIES = (  # one of every type, invented
    b"GPRMC,120000.50,A,4500.000,N,03000.000,W,1.8,200.0,180726,9.0,W,A",
    b"GPGGA,120000,4500.000,N,03000.000,W,1,10,0.9,75.0,M,40.0,M,,",
    b"GPGLL,4500.000,N,03000.000,W,120000,A,A",
    b"GPZDA,120000.00,18,07,2026,-2,00",
    b"GPVTG,200.0,T,209.0,M,1.8,N,3.3,K,A",
    b"GPVTG,200.0,209.0,1.8,3.3",
    b"IIVHW,200.0,T,209.0,M,1.8,N,3.3,K",
    b"VDVBW,1.8,0.1,A,1.9,-0.2,A",
    b"HCHDG,209.0,1.0,E,9.0,W",
    b"HEHDT,200.0,T",
    b"HCHDM,209.0,M",
    b"GPTHS,200.0,A",
    b"TIROT,-30.0,A",
    b"SDDPT,40.0,0.4,100",
    b"SDDBT,131.2,f,40.0,M,21.9,F",
    b"YXMTW,69.0,F",
    b"WIMWV,45.0,R,10.0,N,A",
    b"IIVDR,350.0,T,359.0,M,0.5,N",
    b"IIXDR,C,7.1,C,BALL,D,24.5,M,BALL,N,88.0,N,P1",
)
TOKENS = (
    b"nan",
    b"inf",
    b"-inf",
    b"1e999",
    b"1_0",
    b"0.0",
    b"-0",
    b"",
    b"999999.99999999",
    b"235960",
    b"9999.9",
)
TOKENS += (b"\xd9\xa3", b"A", b"V", b"T", b"K", b",", b"*", b"$", b"!", b"\r\n", b"\x00", b"9" * 200)


def mutated(body: bytes, rng: random.Random) -> bytes:
    """A few changes: bytes, fields, order, length."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8))):
        at = rng.randrange(len(body) + 1)
        match rng.randrange(6):
            case 0:
                body = body[:at] + bytes([rng.randrange(256)]) + body[at + 1 :]
            case 1:
                body = body[:at] + body[at + rng.randint(1, 5) :]
            case 2:
                body = body[:at] + rng.choice(TOKENS) + body[at:]
            case 3:
                fields = body.split(b",")
                fields[rng.randrange(len(fields))] = rng.choice(TOKENS)
                body = b",".join(fields)
            case 4:
                fields = body.split(b",")
                rng.shuffle(fields)
                body = b",".join([body[:5], *fields])
            case _:
                body += body[:at]
    return body


def line_of(rng: random.Random) -> tuple[bytes, bool]:
    """A mutated line and whether its checksum was made right again."""
    body = rng.choice(BODIES)
    right = reduce(xor, body, 0)
    changed = mutated(body, rng)
    resummed = rng.random() < 0.5
    return b"$%b*%02X\r\n" % (changed, reduce(xor, changed, 0) if resummed else right), resummed


def faults_of(got: Decoded) -> list[str]:
    """What is wrong with a decoded sentence; nothing should be."""
    faults = [f"reason {reject}" for reject in got.rejects if reject[4:] not in REJECT_REASONS]
    for reading in got.readings:
        gate = QUANTITIES[reading.quantity]
        if not (math.isfinite(reading.value) and gate.low <= reading.value <= gate.high):
            faults.append(f"{reading.quantity} {reading.value}")
    json.dumps([reading.value for reading in got.readings], allow_nan=False)
    return faults


def campaign(seed: int, n: int) -> dict[str, object]:
    """Run `n` lines; the summary, with at most 20 failures."""
    rng = random.Random(seed)
    framer = Framer()
    failures: list[str] = []
    tally: Counter[str] = Counter()
    recent: list[str] = []
    for number in range(n):
        line, resummed = line_of(rng)
        try:
            texts = framer.feed(line)
            tally["lucky"] += 0 if resummed else len(texts)
            for text in texts:
                got = decode(Sentence(float(number), "fuzz", text))
                tally["used"] += got.used
                tally["readings"] += len(got.readings)
                tally["rejects"] += len(got.rejects)
                failures += [f"{text!r}: {fault}" for fault in faults_of(got)]
                recent.append(text)
            if len(recent) >= 500:
                items = list(replay_clock(recent))
                if not all(a.t_s < b.t_s for a, b in pairwise(items)) or len(items) != len(recent):
                    failures.append(f"replay clock: order lost before line {number}")
                recent.clear()
        except Exception as error:  # noqa: BLE001  # any exception at all is the finding
            failures.append(f"{line!r}: {type(error).__name__}: {error}")
    return {
        "campaign": "fuzz_sentences",
        "seed": seed,
        "n": n,
        "failures": len(failures),
        "first": failures[:20],
        "framing": framer.counts,
        **tally,
    }


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=5000)
    given = parser.parse_args()
    summary = campaign(given.seed, given.n)
    print(json.dumps(summary))
    return 1 if summary["failures"] else 0


if __name__ == "__main__":
    sys.exit(main())
