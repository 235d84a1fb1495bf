"""A wire that floods and a serial port that is pulled out and put back.

No newline: so many MB of noise without a line end through the framer of a source; memory must not grow by 10 MB.
Re-plug: a pseudo-terminal behind a name that stays, taken away and put back; how long until sentences come again,
and how many file descriptors are open after it.

    python tests/campaigns/flood.py --seed 1 --n 100 --megabytes 300
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import pty
import random
import resource
import sys
import tempfile
import time
import tty
from contextlib import aclosing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from firmware_bridge.framing import Framer
from firmware_bridge.instruments import open_source

GOOD = b"$IIMTW,17.9,C*1C\r\n"
CHUNK = 1 << 20
ALLOWED_MB = 10.0
REOPEN_S = 5.0


def no_newline(rng: random.Random, megabytes: int) -> dict[str, float]:
    """Memory [MB] gained by noise without a line end, and whether a good sentence after it is still heard."""
    framer, heard = Framer(), 0
    noise = bytes(rng.choice(b"0123456789,.ABCDEF") for _ in range(CHUNK))
    heard += len(framer.feed(noise))
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(megabytes):
        heard += len(framer.feed(noise))
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
    return {
        "grown_mb": grown_kb / 1024.0,
        "heard_in_noise": heard,
        "heard_after": len(framer.feed(b"\n" + GOOD)),
    }


def descriptors() -> int:
    """How many file descriptors this process has open."""
    return len(list(Path("/proc/self/fd").iterdir()))


async def replugged(count: int) -> dict[str, float]:
    """Pull and put back `count` times; times [s] from putting back to the first sentence."""
    with tempfile.TemporaryDirectory() as folder:
        name = Path(folder) / "port"
        source = open_source(f"serial:{name}?baud=4800", time.monotonic)
        came = asyncio.Event()

        async def listen() -> None:
            async with aclosing(source.sentences()) as sentences:
                async for _ in sentences:
                    came.set()

        task = asyncio.create_task(listen())
        waits, before = [], 0
        for k in range(count + 1):
            ours, theirs = pty.openpty()
            tty.setraw(theirs)
            name.symlink_to(os.ttyname(theirs))
            came.clear()
            start = time.monotonic()
            while not came.is_set() and time.monotonic() - start < 3.0 * REOPEN_S:
                os.write(ours, GOOD)
                await asyncio.sleep(0.05)
            waits.append(time.monotonic() - start)
            if k == 0:
                before = descriptors()
            after = descriptors()
            name.unlink()
            os.close(theirs)
            os.close(ours)
            await asyncio.sleep(0.05)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
    late = sum(wait > REOPEN_S for wait in waits[1:])
    return {"replugs": count, "worst_s": max(waits[1:]), "late": late, "descriptors_more": after - before}


def main() -> None:
    """Run both and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=100)
    parser.add_argument("--megabytes", type=int, default=300)
    asked = parser.parse_args()
    noise = no_newline(random.Random(asked.seed), asked.megabytes)
    plugs = asyncio.run(replugged(asked.n))
    print(json.dumps({"no_newline": noise, "serial": plugs}))


if __name__ == "__main__":
    main()
