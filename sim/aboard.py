"""What is aboard besides the instruments: load cells at rods, and a crew that tells what happens.

loads = [{ rod = "P1", name = "LOADP1" }]                              # an XDR sentence a second, in newtons
told = [{ at_s = 9480, rod = "P1", kind = "bend", value = "soft" }]    # as it would be typed
touches = ["W"]                                                        # told when this line is on the bottom
untold = ["bend"]                                                      # kinds that nobody tells, for a variant
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.checked import CheckError, Number, known_keys, number
from sim.instruments import framed

AT = Number("at_s", 0.0, 1e6)
SIGMA = Number("sigma_n", 0.0, 100.0, 1.0)
TOLD = ("rod", "kind", "value")
NOTICED_AGAIN_S = 1200.0
"""A line that drags over the same hump is one touch [s]; judgement."""


@dataclass(frozen=True, slots=True)
class LoadCell:
    """A load cell on one rod: what its transducer is called, and its noise."""

    rod: str
    name: str
    sigma_n: float


@dataclass(frozen=True, slots=True)
class Aboard:
    """Load cells, what is told when (by time), and rods whose touch is noticed."""

    loads: tuple[LoadCell, ...] = ()
    told: tuple[tuple[float, Mapping[str, object]], ...] = ()
    touches: tuple[str, ...] = ()

    @property
    def rods(self) -> frozenset[str]:
        """Rods whose line must be followed for it."""
        return frozenset([*(load.rod for load in self.loads), *self.touches])


def read_aboard(raw: Mapping[str, Any]) -> Aboard:
    """The keys above of a scenario.

    Raises:
        CheckError: with key, value, allowed.
    """
    untold = _texts(raw, "untold")
    loads = []
    for i, row in enumerate(_tables(raw, "loads")):
        known_keys(row, ("rod", "name", SIGMA.key), f"loads[{i}].")
        loads.append(
            LoadCell(_text(row, "rod", f"loads[{i}]."), _text(row, "name", f"loads[{i}]."), _sigma(row, i))
        )
    told = []
    for i, row in enumerate(_tables(raw, "told")):
        known_keys(row, (AT.key, *TOLD), f"told[{i}].")
        said = {key: row[key] for key in TOLD if key in row}
        if _text(row, "kind", f"told[{i}].") not in untold:
            told.append((number(row.get(AT.key), AT, f"told[{i}]."), said))
    return Aboard(tuple(loads), tuple(sorted(told, key=lambda one: one[0])), _texts(raw, "touches"))


def _sigma(row: Mapping[str, Any], i: int) -> float:
    return number(row.get(SIGMA.key), SIGMA, f"loads[{i}].")


def _text(row: Mapping[str, Any], key: str, where: str) -> str:
    if not isinstance(row.get(key), str):
        raise CheckError(f"{where}{key}: {row.get(key)!r}; allowed: a text")
    return str(row[key])


def _texts(raw: Mapping[str, Any], key: str) -> tuple[str, ...]:
    found = raw.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
        raise CheckError(f"{key}: {found!r}; allowed: a list of texts")
    return tuple(found)


def _tables(raw: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    found = raw.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise CheckError(f"{key}: {found!r:.60}; allowed: a list of tables")
    return found


class Crew:
    """Load cells read and words told as the day goes on.

    Args:
        aboard: who and what there is.
        seed: of the cells' noise.
    """

    def __init__(self, aboard: Aboard, seed: int) -> None:
        self._aboard, self._waiting = aboard, list(aboard.told)
        self._noise = np.random.default_rng([seed, 31])
        self._touched_s: dict[str, float] = {}

    def read(self, pull_n: Callable[[str], float]) -> Iterator[str]:
        """One sentence of each load cell, as it shows the true pulls."""
        for load in self._aboard.loads:
            shown = max(0.0, pull_n(load.rod) + load.sigma_n * float(self._noise.standard_normal()))
            yield framed(f"IIXDR,N,{shown:.1f},N,{load.name}")

    def tell(self, t_s: float, touches: Callable[[str], bool]) -> Iterator[str]:
        """What is told up to a time, as JSON."""
        while self._waiting and self._waiting[0][0] <= t_s + 1e-9:
            yield json.dumps(self._waiting.pop(0)[1])
        for rod in self._aboard.touches:
            again = t_s - self._touched_s.get(rod, -NOTICED_AGAIN_S) >= NOTICED_AGAIN_S
            if again and touches(rod):
                self._touched_s[rod] = t_s
                yield json.dumps({"rod": rod, "kind": "touch", "value": "bottom"})
