"""Mutated lines of Signal K through framing, decoding and the gate: nothing may raise, grow or leave its range.

    python tests/campaigns/fuzz_deltas.py --seed 1 --n 1000000

Values, names and structure are changed in the JSON, bytes in the text. Prints one JSON object last; exit 1 if anything
failed, with the first failures.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import random
import sys
from collections import Counter
from pathlib import Path
from typing import Any

if __package__ in (None, ""):  # as a script: the repository is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.messages import Sentence
from assistant.sensing import quality, signalk
from assistant.sensing.quantities import QUANTITIES
from assistant.sensing.signalk_paths import USED
from firmware_bridge.framing import Framer

OWN = "vessels.urn:mrn:signalk:uuid:705f5f1a-efaf-44aa-9cb8-a0fd6305567c"
GOOD: dict[str, object] = {  # one of every path, invented
    **dict.fromkeys(sorted(USED), 1.0),
    "environment.water.temperature": 290.0,
    "navigation.position": {"latitude": 45.0, "longitude": -30.0},
    "environment.current": {"setTrue": 1.0, "drift": 0.2},
    "navigation.datetime": "2026-07-18T12:00:00Z",
    "navigation.log": 12.0,
}
ODD: tuple[object, ...] = (
    *(
        None,
        True,
        "",
        "1.0",
        [],
        {},
        0,
        -0.0,
        1e308,
        -1e308,
        10**400,
        7.0,
        -7.0,
        400.0,
        "NaN",
        "\u0663",
        "$1!",
        "\\",
    ),
    *(
        {"latitude": 0.0, "longitude": 0.0},
        {"latitude": 95.0, "longitude": "x"},
        {"setTrue": None, "drift": 1.0},
    ),
)
NAMES = (
    "updates",
    "values",
    "path",
    "value",
    "timestamp",
    "$source",
    "source",
    "context",
    "self",
    "version",
    "meta",
)
CUTS = (
    b"NaN",
    b"Infinity",
    b"1e999",
    b"{",
    b"}",
    b"[" * 2000,
    b'"',
    b"\\u0000",
    b"\xff",
    b"$",
    b"\n",
    b"9" * 500,
)
LABELS = ("gps.1", "gps.2", "n2k.43", "", "spreadwatch.x", "a b/c#d", "x" * 300)


def whole(rng: random.Random, number: int) -> dict[str, Any]:
    """A good message: mostly a delta, now and then a hello."""
    if rng.random() < 0.05:
        return {"name": "x", "version": "1.8.2", "self": OWN, "roles": ["master", "main"]}
    stamp = f"2026-07-18T12:{number // 60 % 60:02d}:{number % 60:02d}Z"
    chosen = rng.sample(sorted(GOOD), rng.randint(1, 5))
    pairs = [{"path": path, "value": GOOD[path]} for path in chosen]
    context = {"context": rng.choice((OWN, "vessels.self", "vessels.urn:mrn:imo:mmsi:230099999"))}
    update = {"$source": rng.choice(LABELS), "timestamp": stamp, "values": pairs}
    return {**(context if rng.random() < 0.7 else {}), "updates": [update]}


def places(node: Any) -> list[tuple[Any, Any]]:
    """Every (container, key or index) of a message."""
    keys = list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    return [place for key in keys for place in [(node, key), *places(node[key])]]


def mutated(message: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """A few values, names or branches changed."""
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        found = places(message)
        if not found:
            break
        node, key = rng.choice(found)
        match rng.randrange(5):
            case 0:
                node[key] = copy.deepcopy(rng.choice(ODD))
            case 1 if isinstance(node, dict):
                node[rng.choice(NAMES)] = node.pop(key)
            case 2:
                del node[key]
            case 3:
                node[key] = rng.uniform(-10.0, 400.0)
            case _:
                node[key] = copy.deepcopy(rng.choice(found)[0])
    return message


def line_of(rng: random.Random, number: int) -> bytes:
    """One line, a third of them also changed as bytes."""
    line = json.dumps(mutated(copy.deepcopy(whole(rng, number)), rng)).encode()
    if rng.random() < 0.33:
        at = rng.randrange(len(line) + 1)
        line = line[:at] + rng.choice(CUTS) + line[at + rng.randrange(3) :]
    return line + b"\r\n"


def campaign(seed: int, n: int) -> dict[str, object]:
    """Run `n` lines; the summary, with at most 20 failures."""
    rng = random.Random(seed)
    framer, gate, tally = Framer(), quality.GateState(), Counter[str]()
    streams: signalk.Streams = {}
    failures: list[str] = []
    for number in range(n):
        line = line_of(rng, number)
        try:
            for text in framer.feed(line):
                if not signalk.is_signalk(text):
                    continue
                streams, said = signalk.heard(streams, Sentence(float(number), "fuzz", text))
                tally.update(said.rejects)
                tally["readings"] += len(said.readings)
                tally["unused"] += said.unused
                failures += [f"reason {one}" for one in said.rejects if one[6:] not in signalk.REASONS]
                for reading in said.readings:
                    limits = QUANTITIES[reading.quantity]
                    if not (math.isfinite(reading.value) and limits.low <= reading.value <= limits.high):
                        failures.append(f"{line!r}: {reading.quantity} {reading.value}")
                    gate, good, _ = quality.gate(gate, reading)
                    tally["accepted"] += good is not None
        except Exception as error:  # noqa: BLE001  # any exception at all is the finding
            failures.append(f"{line!r}: {type(error).__name__}: {error}")
    kept = sum(len(stream.sources) for stream in streams.values())
    if kept > signalk.SOURCES_MOST:
        failures.append(f"{kept} sources kept")
    return {
        "campaign": "fuzz_deltas",
        "seed": seed,
        "n": n,
        "failures": len(failures),
        "first": failures[:20],
        "framing": framer.counts,
        "sources": kept,
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
