"""Facts of whole rigs tie the coefficients together: the ensemble's draws given those facts. Pure.

The prior of each coefficient is its own band; a fact (configs/facts.toml) says what a rig made of several does. By
Bayes' rule: DRAWS draws of everything the facts' rigs are made of, each with the weight of the facts' likelihood
(importance sampling, in the line model itself: steady, straight, still water). A fact's lure, dial and speed are drawn
over what it is told of, its counter from the band of an unmarked one; they are no one's afterwards.
The MEMBERS draws of the ensemble, for what is on the boat's rods, are MEMBERS of those draws, whole: whatever hangs
together in them does so in the members, lift and drag, bent or straight. Which ones is chosen such that each
coefficient's quantiles are evenly covered (a conditioned Latin hypercube: Minasny & McBratney 2006, Comput. Geosci. 32,
1378). What no fact and no family speaks of keeps the draws it has without them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from assistant.configured import BodyType, Coefficient, Config, Fact, LineType, RigPart, Rod
from assistant.lines.chain import Water
from assistant.lines.draws import MEMBERS, at_normals, normal_draws, normals_of, seeded
from assistant.lines.many import Draws, depths_m
from assistant.lines.prior import DRAWS, Prior

Array = NDArray[np.float64]

LEAST = 64.0  # effective draws: where facts leave fewer they contradict the files (or each other), and say nothing
CONTRADICTION = "facts that contradict the coefficients or each other"  # fits on a line of the terminal
NEVER = 1e-300  # the weight of a draw without a shape
NEGLIGIBLE = 1e-3  # of the greatest weight: such draws are looked at no further
CANDIDATES, SWAPS = 1024, 2000  # see _chosen; twice as many swaps bring the quantiles nearer by 2 %


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
    aboard: frozenset[str]  # names of what is on the rods
    seed: int


def joint(config: Config, seed: int) -> Joint:
    """The ensemble's draws of what the facts of a configuration speak of; the same for the same seed."""
    if not config.facts:
        return Joint({})
    kinds = sorted(_kinds(config).items())
    numbers = tuple((name, kind.family, tuple(sorted(kind.coefficients.items()))) for name, kind in kinds)
    aboard = frozenset(name for rod in config.rods for part in rod.rig if (name := part.line or part.body))
    boat = config.boat
    key = (config.facts, numbers, boat.water_density_kg_m3, boat.gravity_m_s2)
    return _joint(_Case(key, config, aboard, seed))


def _kinds(config: Config) -> dict[str, LineType | BodyType]:
    return {**config.lines, **config.bodies}


@lru_cache(maxsize=8)
def _joint(case: _Case) -> Joint:
    kinds = _kinds(case.config)
    prior = Prior(case.seed, {name: kind.family for name, kind in kinds.items()})
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
    for kind in sorted(case.aboard):
        prior.meet(kind, kinds[kind].coefficients)
    return Joint(_chosen(prior.of_gear(case.aboard), weights, case.seed), effective)


def _likelihood(config: Config, fact: Fact, prior: Prior, key: str) -> Array:
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


def _on_dial(fact: Fact, prior: Prior, key: str) -> Draws:
    """Draws of the coefficients, the planer's roll as the dial is drawn: so much for each mark."""
    if fact.setting is None:
        return prior.coefficient
    rigged = next(part.setting for part in fact.rod.rig if part.setting is not None)
    marks = prior.between(f"{key} dial", fact.setting) / float(rigged)

    def draw(kind: str, name: str, coefficient: Coefficient) -> Array:
        value = prior.coefficient(kind, name, coefficient)
        return marks * value if name == "roll_per_setting_deg" else value

    return draw


def _chosen(gear: Mapping[str, Array], weights: Array, seed: int) -> dict[str, Array]:
    """(MEMBERS,) of each coefficient: MEMBERS of the weighted draws, whole, that cover every coefficient evenly.

    CANDIDATES of like weight, of which MEMBERS are swapped one by one as long as their quantiles come nearer to evenly
    spaced ones.
    """
    if not gear:
        return {}
    rng = seeded(seed, "facts/chosen")
    levels = (np.arange(CANDIDATES) + rng.uniform()) / CANDIDATES
    rows = np.searchsorted(np.cumsum(weights), levels).clip(0, len(weights) - 1)
    drawn = np.stack([z[rows] for z in gear.values()])
    level = (drawn.argsort(axis=1).argsort(axis=1) + 0.5) / CANDIDATES
    even = (np.arange(MEMBERS) + 0.5) / MEMBERS

    def off(these: NDArray[np.intp]) -> float:
        return float(((np.sort(level[:, these], axis=1) - even) ** 2).sum())

    chosen = rng.permutation(CANDIDATES)[:MEMBERS]
    best = off(chosen)
    for place, other in zip(
        rng.integers(MEMBERS, size=SWAPS), rng.integers(CANDIDATES, size=SWAPS), strict=True
    ):
        swapped = chosen.copy()
        swapped[place] = other
        if (cost := off(swapped)) < best:
            chosen, best = swapped, cost
    return {key: z[rows[chosen]] for key, z in gear.items()}
