"""Which unknown makes a line's numbers most uncertain, in words.

Each unknown of the ensemble has one standard normal number per member (draws.py, facts.py). What the band would lose of
an output's variance if a group of unknowns ("lure drag") were known is the share that a straight line through the
group's numbers explains: the squared multiple correlation over the members, less the 1/31 for each unknown that
unrelated columns of 32 show on average. It takes correlated unknowns as they are: lift and drag that the facts tie
together have the share of what they tell together. The largest group is named, unless chance alone makes some as large.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Config, Rod
from assistant.lines.draws import MEMBERS
from assistant.lines.facts import joint
from assistant.messages import LINE_QUANTITIES

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
    """Unknowns of each rod as columns, those of one word at right angles to each other, and the words."""

    words: tuple[str, ...]  # rising, each once
    axes: tuple[tuple[Array, Array], ...]  # by rod: (MEMBERS, K) unit columns, (K, words) whose word each is

    def of_rod(self, k: int) -> Suspects:
        """The same for one rod alone."""
        return Suspects(self.words, self.axes[k : k + 1])

    def worst(self, members: Array) -> list[dict[str, str]]:
        """Per rod the word that limits each quantity most, where one stands out.

        Args:
            members: (R, MEMBERS, 5) ordered as LINE_QUANTITIES.
        """
        spread = members - members.mean(axis=1, keepdims=True)
        size = np.sqrt((spread**2).sum(axis=1, keepdims=True))
        unit = np.divide(spread, size, out=np.zeros_like(spread), where=size > 1e-9)
        found = []
        for of_rod, (columns, whose) in zip(unit, self.axes, strict=True):
            share = ((of_rod.T @ columns) ** 2 - ON_AVERAGE) @ whose  # (5, words)
            best = share.argmax(axis=1)
            found.append(
                {
                    name: self.words[int(best[q])]
                    for q, name in enumerate(LINE_QUANTITIES)
                    if share[q, best[q]] > CHANCE
                }
            )
        return found


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
    known, words = joint(config, seed), tuple(sorted(set(columns.values())))
    z = {key: known.draws(seed, key) for key in columns}
    axes = []
    for r in everyone:
        mine = {word: [z[k] for k, w in columns.items() if w == word and r in touched[k]] for word in words}
        axes.append(_axes([mine[word] for word in words]))
    return Suspects(words, tuple(axes))


def _axes(groups: Sequence[Sequence[Array]]) -> tuple[Array, Array]:
    """(MEMBERS, K) unit columns with mean 0 that span the draws of each group, and (K, groups) whose each is."""
    columns, whose = [], []
    for number, draws in enumerate(groups):
        if not draws:
            continue
        z = np.stack(draws, axis=1)
        columns.append(np.linalg.qr(z - z.mean(axis=0))[0])
        whose += [number] * len(draws)
    return np.concatenate(columns, axis=1), np.eye(len(groups))[whose]


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
