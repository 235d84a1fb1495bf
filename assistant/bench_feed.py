"""The sentences that `spreadwatch bench` feeds: a boat in easy S-curves at 2.1 mph, fifty sentences a second."""

from __future__ import annotations

import math
from collections.abc import Iterator

from assistant.locate import STEP_S
from assistant.messages import Inputs, Sentence
from firmware_bridge.framing import checksum

RATE_HZ = 10.0  # of each of the five sentences below: 50 a second


def texts_at(t_s: float) -> list[str]:
    """The five sentences of a boat in easy S-curves at 2.1 mph at t_s [s], with their checksums."""
    heading_deg = (200.0 + 25.0 * math.sin(t_s / 20.0)) % 360.0
    clock = f"{int(t_s // 3600) % 24:02d}{int(t_s // 60) % 60:02d}{t_s % 60.0:05.2f}"
    bodies = (
        f"IIHDT,{heading_deg:.1f},T",
        "IIVHW,,T,,M,1.83,N,3.39,K",
        f"GPRMC,{clock},A,4500.0000,N,03000.0000,W,1.90,{heading_deg:.1f},180726,9.0,W,A",
        "SDDPT,38.20,0.30",
        "IIMTW,20.5,C",
    )
    return [f"${body}*{checksum(body.encode()):02X}" for body in bodies]


def feed(duration_s: float) -> Iterator[tuple[float, list[str]]]:
    """(t_s, texts) at RATE_HZ for so long."""
    for index in range(round(duration_s * RATE_HZ)):
        t_s = index / RATE_HZ
        yield t_s, texts_at(t_s)


def on_grid(duration_s: float) -> Iterator[Inputs]:
    """The feed as the Inputs of each step."""
    tick = 0
    batch: list[Sentence] = []
    for t_s, texts in feed(duration_s):
        while tick * STEP_S < t_s:
            yield Inputs(tick * STEP_S, tuple(batch))
            batch, tick = [], tick + 1
        batch += [Sentence(t_s, "bench", text) for text in texts]
