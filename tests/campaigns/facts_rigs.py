"""The rigs the facts are about, drawn from the default bands and towed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from assistant.config import load
from assistant.configured import Coefficient, Config, RigPart, Rod
from assistant.lines import spread
from assistant.lines.chain import Towed, Water
from assistant.lines.draws import MEMBERS, at_normal, weibull_quantiles
from assistant.lines.facts import joint
from assistant.lines.fleet import Fleet, marched, regeared, settled
from assistant.lines.gear import Draw, RodSetting, nominal, towed
from assistant.lines.groups import pieces
from assistant.lines.seen import seen_from_boat
from assistant.lines.steady import straight
from assistant.units import FOOT_M, MPH_MPS

Array = NDArray[np.float64]
STILL = np.zeros((0, 3))


@dataclass(frozen=True, slots=True)
class Rig:
    """A rod to tow: parts of its rig with lengths in feet, its line out [ft], by which counter."""

    name: str
    out_ft: float
    parts: tuple[tuple[str, float | None] | str, ...]  # (line, length [ft] or None), or a body
    measured: bool = False  # line out is measured, or counted by colours
    from_surface: bool = False

    def weighted(self, feet: float) -> Rig:
        """With so much of the weighted line below its backing [ft]."""
        backing, (line, _), *rest = self.parts
        return replace(self, parts=(backing, (line, feet), *rest))

    def behind(self, lure: str) -> Rig:
        """With another lure."""
        return replace(self, parts=(*self.parts[:-1], lure))

    def on(self, line: str) -> Rig:
        """On another main line."""
        return replace(self, parts=((line, None), *self.parts[1:]))

    def rod(self) -> Rod:
        """As configured: starboard, tip 1.2 m up."""
        parts = [
            RigPart(body=part) if isinstance(part, str)
            else RigPart(line=part[0], length_m=None if part[1] is None else part[1] * FOOT_M)
            for part in self.parts
        ]  # fmt: skip
        return Rod(
            "X", "starboard", self.name, 0.0, 0.0, 1.2, self.out_ft * FOOT_M, tuple(parts),
            counter_zero="surface" if self.from_surface else "tip",
        )  # fmt: skip


LARGE = Rig("large disc", 150.0, (("wire-40", None), "disc-large", ("mono-30", 8.0), "spoon"))
STANDARD = Rig("standard disc", 140.0, (("braid-65", None), "disc-standard", ("mono-20", 10.0), "spoon"))
BACKING_FT = 25.0
"""Of braid above a weighted line, which is counted where it goes under water (common practice, no source): from a tip
1.2 m up so much reaches the water. Without it a colour hangs in the air, and 5 colours are 4 in the water."""
CORE = Rig(
    "lead-core",
    BACKING_FT,
    (("braid-50", None), ("lead-core-27", 300.0), ("fluorocarbon-25", 12.0), "spoon"),
    measured=True,
)
COPPER = Rig(
    "copper",
    BACKING_FT,
    (("braid-50", None), ("copper-45", 250.0), ("fluorocarbon-25", 12.0), "spoon"),
    measured=True,
)
BALL_80 = Rig(
    "ball",
    80.0,
    (("cable-150", None), "ball-12lb", ("mono-20", 12.0), "spoon"),
    measured=True,
    from_surface=True,
)


def band(values: Array) -> tuple[float, float]:
    """10 % and 90 % quantiles, as the live bands have them."""
    low, high = weibull_quantiles(values)
    return float(low), float(high)


class Draws:
    """n draws of everything, and the nominal case before them: arrays of n + 1."""

    def __init__(self, seed: int, n: int) -> None:
        self.seed = seed
        self._rng = np.random.default_rng([seed, 3])
        self._z: dict[tuple[str, ...], Array] = {}
        self.count = n + 1

    def normal(self, *key: str) -> Array:
        """Standard normal numbers of one unknown, the nominal 0 first."""
        if key not in self._z:
            self._z[key] = np.concatenate([[0.0], self._rng.standard_normal(self.count - 1)])
        return self._z[key]

    def over(self, what: str, ends: tuple[float, float]) -> Array:
        """Evenly spread between two ends, nominal in the middle."""
        share = np.array([0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) for z in self.normal("range", what)])
        return ends[0] + (ends[1] - ends[0]) * share

    def same(self, value: float) -> Array:
        """The same in every draw."""
        return np.full(self.count, value)

    def told(self, config: Config) -> None:
        """From here on draw what hangs together by the facts as the live ensembles of several seeds do."""
        seeds = range(self.seed, self.seed + -(-self.count // MEMBERS))
        known = [joint(config, seed).told for seed in seeds]
        for key in known[0]:
            kind, name = key.split(".")
            self._z[kind, name] = np.concatenate([[0.0], *(one[key] for one in known)])[: self.count]

    def member(self, k: int, alike: Sequence[str] = (), light: bool = False) -> Draw:
        """Draw k of the coefficients; `alike` ones come out the same for all kinds, light: planers of least weight."""
        if k == 0 and not light:
            return nominal

        def draw(kind: str, name: str, coefficient: Coefficient) -> float:
            if light and name == "wet_mass_kg" and kind.startswith("disc"):
                return coefficient.low
            key = (name,) if name in alike else (kind, name)
            return at_normal(coefficient, float(self.normal(*key)[k]))

        return draw


@dataclass(frozen=True, slots=True)
class Towing:
    """Per draw: lure and first body (n, 3) aft, starboard of the tip, below the surface [m]; pull [N]; lean of the top
    [rad].
    """

    lure_m: Array
    planer_m: Array
    pull_n: Array
    lean_rad: Array


class Rigs:
    """Rigs towed with all draws."""

    def __init__(self, draws: Draws, told: bool = False) -> None:
        self.draws = draws
        self.config = load()
        if told:
            draws.told(replace(self.config, rods=(LARGE.rod(), STANDARD.rod())))
        self.water = Water(self.config.boat.water_density_kg_m3, self.config.boat.gravity_m_s2)

    def chain(self, rig: Rig, k: int, setting: float, draw: Draw, tripped: bool = False) -> Towed:
        """What is towed in draw k."""
        rod, z = rig.rod(), float(self.draws.normal("counter")[k])
        factor = 1.0 if rig.measured else at_normal(rod.counter, z)
        now = RodSetting(rod.line_out_m * factor, setting, tripped)
        return towed(self.config, rod, now, self.water, draw)

    def tow(
        self,
        rig: Rig,
        speed_mph: Array,
        setting: Array | None = None,
        alike: Sequence[str] = (),
        light: bool = False,
    ) -> Towing:
        """Straight and steady, a speed and a setting for each draw; alike, light: see Draws.member."""
        rows = []
        for k in range(self.draws.count):
            draw = self.draws.member(k, alike, light)
            chain = self.chain(rig, k, 0.0 if setting is None else float(setting[k]), draw)
            parts = [1] * (len(chain.segments) - 1) + [60]
            shape = straight(pieces(chain, parts), self.water, float(speed_mph[k]) * MPH_MPS)
            points, first = shape.points_m * [-1.0, 1.0, 1.0], shape.points_m[-1] - shape.points_m[-2]
            body = points[len(parts) - 1] if len(parts) > 1 else points[0]
            lean = math.atan2(math.hypot(first[0], first[1]), -first[2])
            rows.append((*points[0], *body, shape.tension_n[-1], lean))
        table = np.array(rows)
        return Towing(table[:, :3], table[:, 3:6], table[:, 6], table[:, 7])

    def trip(self, rig: Rig, speed_mph: float, setting: float, seconds: float) -> tuple[Array, Array]:
        """The numbers of LINE_QUANTITIES (n, 5) before the planer lets go and `seconds` after, marched as live."""
        n, speed = self.draws.count, speed_mph * MPH_MPS
        chains = [self.chain(rig, k, setting, self.draws.member(k)) for k in range(n)]
        tips = np.zeros((6, n))
        tips[2], tips[3] = -1.2, speed
        fleet = settled(chains, [self.water] * n, spread.CUT, tips, STILL, np.zeros((n, 2)))
        before = _seen(fleet, n)
        gone = {k: self.chain(rig, k, setting, self.draws.member(k), True) for k in range(n)}
        fleet = regeared(fleet, gone, self.water)
        mains = np.array([chain.segments[-1].length_m for chain in chains])
        restart = True
        for step in range(round(seconds / 0.25)):
            tips = tips.copy()
            tips[0] = (step + 1) * 0.25 * speed
            fleet, failed, restart = marched(fleet, tips, mains, STILL, 0.25, restart, 1e-4)
            if failed:
                raise ArithmeticError(f"{rig.name}: a tripped line did not converge")
        return before, _seen(fleet, n)


def _seen(fleet: Fleet, n: int) -> Array:
    return seen_from_boat(fleet.works, fleet.cut.total, STILL, 0.0)[:n]
