"""What is known of coefficients and side conditions before any fact: many draws of each. Pure.

What is made alike (`family` in the files) has most of its unknowns in common: a fact of one size says something of the
others.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Coefficient
from assistant.lines.draws import at_normals, seeded

Array = NDArray[np.float64]

DRAWS = 4096
OF_FAMILY = frozenset(
    {
        "normal_drag", "strumming", "tangential_drag", "lift_coefficient", "lift_to_drag",
        "roll_per_setting_deg", "roll_factor",
    }
)  # fmt: skip
"""What goes by shape and surface, not by size: plates of one shape have the same coefficients at any Reynolds number of
trolling, braid of one weave drags and hums like braid a size thicker. Sizes, weights and stiffness are each its own."""
ALIKE = 0.8
"""Correlation of those within a family. Judgement: nearly one for two sizes of one make, much less for two makes, and
the files do not say which it is."""


class Prior:
    """Draws of each coefficient and each side condition, made when asked for; Latin hypercube like draws.py.

    DRAWS at first, n once some are no longer looked at.
    """

    def __init__(self, seed: int, families: Mapping[str, str]) -> None:
        self._seed = seed
        self._families = families
        self._levels = np.array([NormalDist().inv_cdf((k + 0.5) / DRAWS) for k in range(DRAWS)])
        self._gear: dict[str, Array] = {}
        self._rows = np.arange(DRAWS)

    def keep(self, which: NDArray[np.intp]) -> None:
        """Look on at these draws only, of those there are."""
        self._rows = self._rows[which]

    def count(self) -> int:
        """n: how many draws are looked at."""
        return len(self._rows)

    def normal(self, key: str) -> Array:
        """(n,) standard normal numbers."""
        return np.asarray(self._all(key)[self._rows])

    def _all(self, key: str) -> Array:
        return np.asarray(seeded(self._seed, f"facts/{key}").permutation(self._levels))

    def between(self, key: str, ends: tuple[float, float]) -> Array:
        """(n,) evenly spread between two ends."""
        place = seeded(self._seed, f"facts/{key}").permutation(DRAWS)[self._rows]
        return np.asarray(ends[0] + (ends[1] - ends[0]) * (place + 0.5) / DRAWS)

    def coefficient(self, kind: str, name: str, coefficient: Coefficient) -> Array:
        """(n,) values of a coefficient."""
        key = f"{kind}.{name}"
        if key not in self._gear:
            family = self._family(key)
            self._gear[key] = self._all(key)
            if family:
                both = math.sqrt(ALIKE) * self._all(family) + math.sqrt(1.0 - ALIKE) * self._gear[key]
                self._gear[key] = both
        return at_normals(coefficient, self._gear[key][self._rows])

    def _family(self, key: str) -> str:
        """What a coefficient has in common with others: a name, or nothing."""
        kind, name = key.split(".")
        family = self._families[kind] if name in OF_FAMILY else ""
        return family and f"family {family}.{name}"

    def meet(self, kind: str, coefficients: Mapping[str, Coefficient]) -> None:
        """Ask for what something has in common with what was asked for before."""
        known = {self._family(key) for key in self._gear}
        for name, coefficient in coefficients.items():
            if (family := self._family(f"{kind}.{name}")) and family in known:
                self.coefficient(kind, name, coefficient)

    def of_gear(self, aboard: Collection[str]) -> dict[str, Array]:
        """(n,) standard normal numbers of every coefficient asked for of what is aboard."""
        return {key: z[self._rows] for key, z in self._gear.items() if key.split(".")[0] in aboard}
