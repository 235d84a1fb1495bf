"""Which unknown makes a line's numbers most uncertain, in words.

Each unknown of the ensemble has one standard normal number per member (draws.py); its share of an output's variance
is the squared correlation of the two over the members, less the 1/31 that two unrelated columns of 32 show on average.
The largest share of a group of unknowns ("lure drag") is named, unless it is as small as chance alone makes some.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.lines.draws import MEMBERS, normal_draws
from assistant.messages import LINE_QUANTITIES, Config, Rod

Array = NDArray[np.float64]

CHANCE = 0.25  # the largest of some twenty unrelated columns of 32 comes this high in one case of ten
ON_AVERAGE = 1.0 / (MEMBERS - 1)

LINE_WORDS: Mapping[str, str] = {
    "diameter_m": "line thickness",
    "mass_kg_m": "line weight",
    "normal_drag": "line drag",
    "strumming": "line drag",
    "tangential_drag": "line drag",
    "stiffness_n": "line stretch",
}
BODY_WORDS: Mapping[str, Mapping[str, str]] = {
    "planer": {
        "plate_area_m2": "planer size",
        "lift_coefficient": "planer lift",
        "lift_to_drag": "planer drag",
        "roll_per_setting_deg": "planer angle",
        "roll_factor": "planer angle",
        "wet_mass_kg": "planer weight",
        "tripped_drag_coefficient": "planer drag",
    },
    "sphere": {"mass_kg": "weight", "density_kg_m3": "weight", "drag_coefficient": "ball drag"},
}
LURE_WORDS: Mapping[str, str] = {
    "drag_area_m2": "lure drag",
    "down_area_m2": "lure dive",
    "wet_mass_kg": "lure weight",
}
DEEP, COUNTER, SPEED = "deep current", "counter", "speed"
BOARD, FLEAS = "board sag", "water fleas"


@dataclass(frozen=True, slots=True)
class Suspects:
    """Unknowns as columns: their words, and which of them touch which rod."""

    words: tuple[str, ...]  # (K,) one per column
    z: Array  # (MEMBERS, K), standardised
    touches: NDArray[np.bool_]  # (R, K)

    def worst(self, members: Array) -> list[dict[str, str]]:
        """Per rod the word that limits each quantity most, where one stands out.

        Args:
            members: (R, MEMBERS, 5) ordered as LINE_QUANTITIES.
        """
        spread = members - members.mean(axis=1, keepdims=True)
        size = np.sqrt((spread**2).sum(axis=1, keepdims=True))
        unit = np.divide(spread, size, out=np.zeros_like(spread), where=size > 1e-9)
        share = ((unit.transpose(0, 2, 1) @ self.z) ** 2 - ON_AVERAGE) * self.touches[:, None, :]
        groups = sorted(set(self.words))
        member_of = np.array([[word == group for group in groups] for word in self.words], dtype=float)
        summed = share @ member_of  # (R, 5, groups)
        best = summed.argmax(axis=2)
        return [
            {
                name: groups[int(best[r, q])]
                for q, name in enumerate(LINE_QUANTITIES)
                if summed[r, q, best[r, q]] > CHANCE
            }
            for r in range(len(best))
        ]


def suspects(config: Config, seed: int) -> Suspects:
    """All unknowns of a config, with the numbers the ensemble draws for them."""
    columns: dict[str, str] = {}  # key of the draw -> word
    touched: dict[str, set[int]] = {}

    def add(key: str, word: str, rods: Sequence[int]) -> None:
        columns.setdefault(key, word)
        touched.setdefault(key, set()).update(rods)

    everyone = range(len(config.rods))
    for number, rod in enumerate(config.rods):
        for key, word in _of_rig(config, rod):
            add(key, word, [number])
        add(rod.name, COUNTER, [number])
        if rod.board is not None:
            add(f"{rod.name}.sag", BOARD, [number])
    if config.boat.fleas_mm_per_hour is not None:
        add("boat.fleas_mm_per_hour", FLEAS, everyone)
    add("speed", SPEED, everyone)
    add("deep north", DEEP, everyone)
    add("deep east", DEEP, everyone)
    z = np.stack([normal_draws(seed, key) for key in columns], axis=1)
    z = (z - z.mean(axis=0)) / np.sqrt(((z - z.mean(axis=0)) ** 2).sum(axis=0))
    touches = np.array([[r in touched[key] for key in columns] for r in everyone])
    return Suspects(tuple(columns.values()), z, touches)


def _of_rig(config: Config, rod: Rod) -> list[tuple[str, str]]:
    """(key of the draw, word) of every coefficient on a rod."""
    found = []
    for part in rod.rig:
        if part.line is not None:
            names = config.lines[part.line].coefficients
            found += [(f"{part.line}.{name}", LINE_WORDS[name]) for name in names if name in LINE_WORDS]
        elif part.body is not None:
            body = config.bodies[part.body]
            words = BODY_WORDS.get(body.kind, LURE_WORDS)
            found += [(f"{part.body}.{n}", words[n]) for n in body.coefficients if n in words]
    return found
