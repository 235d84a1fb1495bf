"""What a wire that floods costs the daemon: bytes at ten times the rate of a fast serial line, for `spreadwatch bench`.

A pseudo-terminal is fed at FLOOD_BYTES_S: the five sentences a boat sends anyway, ten times a second, and for the rest
what a broken multiplexer may send: damaged sentences (one in four with its checksum made right again), line noise,
sentences of types nobody uses.
"""

from __future__ import annotations

import os
import pty
import random
import threading
import time
import tty
from dataclasses import dataclass

from assistant.bench_feed import RATE_HZ, texts_at
from firmware_bridge.framing import Framer, checksum

LINE_BYTES_S = 11_520.0  # 115200 baud, 8N1
FLOOD_BYTES_S = 10.0 * LINE_BYTES_S
CHUNK_S = 0.02
SHARES = (("damaged", 0.4), ("noise", 0.3), ("unused", 0.3))
POOL = 4000  # pieces of garbage made beforehand


def garbage(seed: int) -> list[bytes]:
    """Lines of what a broken multiplexer sends."""
    rng = random.Random(seed)
    kinds, shares = [name for name, _ in SHARES], [share for _, share in SHARES]
    return [_piece(rng, kind) for kind in rng.choices(kinds, shares, k=POOL)]


def _piece(rng: random.Random, kind: str) -> bytes:
    if kind == "noise":
        return bytes(rng.randrange(256) for _ in range(rng.randrange(10, 90))) + b"\r\n"
    if kind == "unused":
        body = b"GPGSV,3,1,11," + b",".join(b"%02d" % rng.randrange(99) for _ in range(16))
        return b"$%s*%02X\r\n" % (body, checksum(body))
    hurt = bytearray(rng.choice(texts_at(rng.uniform(0.0, 3600.0))).encode()[1:-3])
    for _ in range(rng.randrange(1, 6)):
        hurt[rng.randrange(len(hurt))] = rng.randrange(0x20, 0x7F)
    right = checksum(bytes(hurt)) if rng.random() < 0.25 else rng.randrange(256)
    return b"$%s*%02X\r\n" % (bytes(hurt), right)


@dataclass(slots=True)
class Fed:
    """What was fed so far."""

    sent_bytes: int = 0
    good: int = 0  # sentences whose checksum is right
    wanted: int = 0  # of them those of the boat
    worst_behind_s: float = 0.0  # how long a byte waited for the port, at worst


class Flood:
    """Feeds a pseudo-terminal from a thread; `name` is what to open."""

    def __init__(self, seed: int = 1, bytes_s: float = FLOOD_BYTES_S) -> None:
        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.name = os.ttyname(self._theirs)
        self.fed = Fed()
        self._pool, self._bytes_s, self._stop = garbage(seed), bytes_s, threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def halt(self) -> None:
        """Feed no more; the terminal stays open."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5.0)

    def stop(self) -> None:
        """End, and close the terminal."""
        self.halt()
        for descriptor in (self._ours, self._theirs):
            os.close(descriptor)

    def _run(self) -> None:
        """One chunk after the other, each when it is due."""
        rng, framer, begin_s, sent = random.Random(2), Framer(), time.monotonic(), 0
        chunks = 0
        while not self._stop.is_set():
            due_s = begin_s + chunks * CHUNK_S
            time.sleep(max(0.0, due_s - time.monotonic()))
            data = self._chunk(rng, chunks * CHUNK_S)
            self.fed.good += len(framer.feed(data))
            self._write(data)
            sent += len(data)
            self.fed.sent_bytes = sent
            late_s = time.monotonic() - due_s - CHUNK_S
            self.fed.worst_behind_s = max(self.fed.worst_behind_s, late_s)
            chunks += 1

    def _chunk(self, rng: random.Random, t_s: float) -> bytes:
        parts: list[bytes] = []
        if round(t_s / CHUNK_S) % round(1.0 / (RATE_HZ * CHUNK_S)) == 0:
            parts = [f"{text}\r\n".encode() for text in texts_at(t_s)]
            self.fed.wanted += len(parts)
        size = sum(map(len, parts))
        while size < self._bytes_s * CHUNK_S:
            parts.append(rng.choice(self._pool))
            size += len(parts[-1])
        rng.shuffle(parts)
        return b"".join(parts)

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view and not self._stop.is_set():
            view = view[os.write(self._ours, view) :]
