"""What is felt at the rods, followed: measured pull over the pull of the model, as usual and now. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from assistant.messages import LineState, Seen

NOW_S = 8.0  # two or three waves
USUAL_S = 300.0
LEARNED_S = 120.0  # of fishing, before anything is said
LEARNS = (0.8, 1.25)  # a change outside is a change, not what is usual


@dataclass(frozen=True, slots=True)
class Felt:
    """Pull measured over pull of the model: as usual, and now; the most this rod has held [N], its waves [N]."""

    usual: float
    now: float
    fished_s: float = 0.0
    held_n: float = 0.0
    wave_n: float = 0.0

    @property
    def change(self) -> float:
        """Now over usual."""
        return self.now / self.usual

    @property
    def known(self) -> bool:
        """Whether what is usual is known."""
        return self.fished_s >= LEARNED_S


def felt(
    old: Mapping[str, Felt], lines: Mapping[str, LineState], seen: Mapping[str, Mapping[str, Seen]], dt: float
) -> dict[str, Felt]:
    """Every rod with a pull input, dt [s] later; begins anew where its line does not fish."""
    out = {}
    for rod, line in lines.items():
        pull, model = seen.get(rod, {}).get("pull_n"), line.tension_n.value
        if (
            line.rod_state != "fishing"
            or "tripped" in line.conditions
            or pull is None
            or pull.q.state != "ok"
        ):
            continue
        if (
            pull.q.value is None
            or model is None
            or model <= 0.0
            or pull.q.value <= 0.0
            or not 0.0 < dt < 10.0
        ):
            if rod in old:
                out[rod] = old[rod]
            continue
        out[rod] = _after(old.get(rod), pull.q.value, model, dt)
    return out


def _after(old: Felt | None, pull_n: float, model_n: float, dt: float) -> Felt:
    ratio = pull_n / model_n
    if old is None:
        return Felt(ratio, ratio)
    now = old.now + (ratio - old.now) * -math.expm1(-dt / NOW_S)
    usual, settled = old.usual, not old.known
    if settled or LEARNS[0] < now / old.usual < LEARNS[1]:
        usual += (ratio - usual) * -math.expm1(-dt / min(USUAL_S, max(old.fished_s, dt)))
    wave = max(pull_n - now * model_n, old.wave_n * math.exp(-dt / USUAL_S))
    return replace(
        old, usual=usual, now=now, fished_s=old.fished_s + dt, held_n=max(old.held_n, pull_n), wave_n=wave
    )
