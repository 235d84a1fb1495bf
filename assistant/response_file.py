"""What was learned of a boat's answer to the helm, kept between outings: one small JSON file beside them."""

from __future__ import annotations

import contextlib
import json
import math
import os
from pathlib import Path

from assistant.ahead.learning import PRIOR_SIGMA_S, Learned

MOST_BYTES = 4096
MOST_LOSS_S = 20.0


def file_of(root: Path, boat: str) -> Path:
    """Where it is; `boat` is the id of the configuration."""
    return root / f"answer-{boat}.json"


def read(file: Path) -> Learned:
    """What is kept there; what anybody begins with where there is nothing, or nothing that makes sense."""
    try:
        with file.open("rb") as stream:
            kept = json.loads(stream.read(MOST_BYTES))
        loss, sigma, turns = float(kept["loss_s"]), float(kept["sigma_s"]), int(kept["turns"])
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return Learned()
    if not (0.0 <= loss <= MOST_LOSS_S and 0.0 < sigma <= PRIOR_SIGMA_S and 0 <= turns < 10**9):
        return Learned()
    return Learned(loss, sigma, turns)


def write(file: Path, known: Learned) -> None:
    """Keep it: whole or not at all, also when the power goes (written beside, synced, renamed).

    Raises:
        OSError: it cannot be kept.
    """
    assert math.isfinite(known.loss_s)
    kept = {"loss_s": round(known.loss_s, 4), "sigma_s": round(known.sigma_s, 4), "turns": known.turns}
    beside = file.with_suffix(".new")
    file.parent.mkdir(parents=True, exist_ok=True)
    with beside.open("wb") as stream:
        stream.write(json.dumps(kept, allow_nan=False).encode("ascii"))
        stream.flush()
        os.fsync(stream.fileno())
    beside.replace(file)
    with contextlib.suppress(OSError):
        folder = os.open(file.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
