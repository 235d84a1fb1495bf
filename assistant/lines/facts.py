"""Facts of whole rigs tie the coefficients together: the ensemble's draws given those facts. Pure.

The prior of each coefficient is its own band; a fact (configs/facts.toml) says what a rig made of several does. By
Bayes' rule: DRAWS draws of everything the facts' rigs are made of, each with the weight of the facts' likelihood
(importance sampling, in the line model itself: steady, straight, still water). A fact's lure, dial and speed are drawn
over what it is told of, its counter from the band of an unmarked one; they are no one's afterwards.
The MEMBERS draws of the ensemble then take the MEMBERS quantiles of each coefficient's weighted draws, in an order
that has the weighted draws' rank correlations (Iman & Conover 1982, Commun. Stat. B 11, 311): the Latin hypercube of
draws.py stays one. What the facts say nothing of, as far as DRAWS can tell, keeps the draws it has without them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from assistant.configured import Coefficient, Config, Fact, RigPart, Rod
from assistant.lines.chain import Water
from assistant.lines.draws import MEMBERS, at_normals, normal_draws, normals_of, seeded
from assistant.lines.many import Draws, depths_m

Array = NDArray[np.float64]

DRAWS = 4096
_LEVELS = np.linspace(0.0005, 0.9995, 1000)
_SCORES = np.array([NormalDist().inv_cdf(float(level)) for level in _LEVELS])
LEAST = 64.0  # effective draws: where facts leave fewer they contradict the files (or each other), and say nothing
MOST_TIED = MEMBERS // 2  # coefficients in one correlation: more cannot be told apart with MEMBERS draws
CONTRADICTION = "facts that contradict the coefficients or each other"
SURE = 3.0  # standard errors by which a weighted draw must differ from its prior to count as told
NEVER = 1e-300  # the weight of a draw without a shape
NEGLIGIBLE = 1e-3  # of the greatest weight: such draws are looked at no further


@dataclass(frozen=True, slots=True)
class Joint:
    """Draws given the facts: (MEMBERS,) standard normal numbers by key "type.coefficient", and how many effective draws
    they rest on (None: no facts; below LEAST: not used).
    """

    told: Mapping[str, Array]
    effective: float | None = None

    def agrees(self) -> bool:
        """Whether the facts and the coefficients' own bands can be true together."""
        return self.effective is None or self.effective >= LEAST

    def draws(self, seed: int, key: str) -> Array:
        """(MEMBERS,) of any key: as told, else its own."""
        return self.told[key] if key in self.told else normal_draws(seed, key)


@dataclass(frozen=True, slots=True)
class _Case:
    """What the answer depends on, as a key to remember it by."""

    key: tuple[object, ...]
    config: Config = field(compare=False)
    seed: int


def joint(config: Config, seed: int) -> Joint:
    """The ensemble's draws of what the facts of a configuration speak of; the same for the same seed."""
    if not config.facts:
        return Joint({})
    files = {kind.name: kind.coefficients for kind in config.lines.values()}
    files |= {kind.name: kind.coefficients for kind in config.bodies.values()}
    numbers = tuple((name, tuple(sorted(values.items()))) for name, values in sorted(files.items()))
    boat = config.boat
    return _joint(_Case((config.facts, numbers, boat.water_density_kg_m3, boat.gravity_m_s2), config, seed))


@lru_cache(maxsize=8)
def _joint(case: _Case) -> Joint:
    prior = _Prior(case.seed)
    weights = np.ones(DRAWS)
    for number, fact in enumerate(case.config.facts):
        weights = weights * _likelihood(case.config, fact, prior, f"fact {number}")
        if not weights.max() > NEVER:
            return Joint({}, 0.0)
        keep = np.flatnonzero(weights > NEGLIGIBLE * weights.max())
        weights = weights[keep]
        prior.keep(keep)
    weights = weights / weights.sum()
    effective = 1.0 / float((weights**2).sum())
    if effective < LEAST:
        return Joint({}, effective)
    return Joint(_tied(prior.of_gear(), weights, effective, case.seed), effective)


class _Prior:
    """Draws of each coefficient and each side condition, made when asked for; Latin hypercube like draws.py.

    DRAWS at first, n once some are no longer looked at.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
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
            self._gear[key] = self._all(key)
        return at_normals(coefficient, self._gear[key][self._rows])

    def of_gear(self) -> dict[str, Array]:
        """(n,) standard normal numbers of every coefficient asked for."""
        return {key: z[self._rows] for key, z in self._gear.items()}


def _likelihood(config: Config, fact: Fact, prior: _Prior, key: str) -> Array:
    """(n,) how well each draw agrees with a fact, 1 at best; the mean over the lures it may be told of."""
    rod, boat = fact.rod, config.boat
    water = Water(boat.water_density_kg_m3, boat.gravity_m_s2)
    out_m = rod.line_out_m * at_normals(rod.counter, prior.normal(f"{key} counter"))
    speed = prior.between(f"{key} speed", fact.speed_mps)
    draw = _on_dial(fact, prior, key)

    def depth(lure: str, speed_mps: Array) -> Array:
        rig = (*rod.rig[:-1], RigPart(body=lure))
        of_lure, of_first = depths_m(config, _with(fact, rig), water, draw, out_m, speed_mps)
        return of_lure if fact.of == "lure" else of_first

    likelihood = np.zeros(prior.count())
    for lure in fact.lures:
        number = depth(lure, speed)
        if fact.instead_lure is not None:
            number = depth(fact.instead_lure, speed) / number
        elif fact.instead_speed_mps is not None:
            number = depth(lure, np.full(prior.count(), fact.instead_speed_mps)) / number
        off = normals_of(fact.says, np.where(number > 0.0, number, NEVER))
        likelihood += np.exp(-0.5 * off**2) / len(fact.lures)
    return likelihood


def _with(fact: Fact, rig: tuple[RigPart, ...]) -> Rod:
    return replace(fact.rod, rig=rig)


def _on_dial(fact: Fact, prior: _Prior, key: str) -> Draws:
    """Draws of the coefficients, the planer's roll as the dial is drawn: so much for each mark."""
    if fact.setting is None:
        return prior.coefficient
    rigged = next(part.setting for part in fact.rod.rig if part.setting is not None)
    marks = prior.between(f"{key} dial", fact.setting) / float(rigged)

    def draw(kind: str, name: str, coefficient: Coefficient) -> Array:
        value = prior.coefficient(kind, name, coefficient)
        return marks * value if name == "roll_per_setting_deg" else value

    return draw


def _tied(gear: Mapping[str, Array], weights: Array, effective: float, seed: int) -> dict[str, Array]:
    """MEMBERS draws of every coefficient of which the weighted draws tell more than its own band does."""
    keys = sorted(gear)
    told = [_told(gear[key], weights) for key in keys]
    scores = np.array([score for score, _ in told])
    root = scores * np.sqrt(weights)
    ranks = root @ root.T
    ranks /= np.sqrt(np.outer(np.diag(ranks), np.diag(ranks)))
    shifts = np.array([_shift(gear[key], weights) for key in keys])
    strength = np.maximum(np.abs(ranks - np.eye(len(keys))).max(axis=1), shifts)
    strongest = np.argsort(-strength, kind="stable")[:MOST_TIED]
    chosen = sorted(int(k) for k in strongest if strength[k] > SURE / math.sqrt(effective))
    if not chosen:
        return {}
    plain = np.array([normal_draws(seed, keys[k]) for k in chosen])
    order = _correlated(plain, ranks[np.ix_(chosen, chosen)]).argsort(axis=1).argsort(axis=1)
    return {keys[k]: told[k][1][order[row]] for row, k in enumerate(chosen)}


def _told(z: Array, weights: Array) -> tuple[Array, Array]:
    """(n,) normal scores of weighted draws, and their (MEMBERS,) quantiles, rising."""
    order = np.argsort(z)
    level = np.cumsum(weights[order]) - 0.5 * weights[order]
    quantiles = np.interp((np.arange(MEMBERS) + 0.5) / MEMBERS, level, z[order])
    scores = np.empty_like(z)
    scores[order] = np.interp(level, _LEVELS, _SCORES)
    return scores, quantiles


def _shift(z: Array, weights: Array) -> float:
    """How far the weighted draws' mean and width are from the standard normal ones [about standard errors times the
    root of the effective number].
    """
    mean = float(weights @ z)
    width = math.sqrt(float(weights @ (z - mean) ** 2))
    return max(abs(mean), abs(width - 1.0) * math.sqrt(2.0))


def _correlated(plain: Array, wanted: Array) -> Array:
    """Rows (K, MEMBERS) turned from the correlation they have into the one wanted; the ranks of them are used."""
    size = 1e-9 * np.eye(len(plain))
    has = np.linalg.cholesky(np.atleast_2d(np.corrcoef(plain)) + size)
    return np.asarray(np.linalg.cholesky(wanted + size) @ np.linalg.solve(has, plain))
