"""What is wrong now: one row of RULES each. Pure; a row's function gives the situations it sees in a Look.

Priorities by what is to be done: alarm = act now; warning = will go wrong if nothing is done; caution = be aware.
On- and off-delays 3 s and 10 s, deadbands 10 % or 1 ft (judgement, after common alarm practice).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

from assistant.alerts.engine import Finding
from assistant.configured import Config, Rod
from assistant.messages import BoatState, Estimate, LineState, Priority, Q
from assistant.units import DISPLAY_UNITS, FOOT_M

TURNING_RADPS = math.radians(0.5)
AFTER_TURN_S = 90.0
"""A turn moves every line, and the captain knows: depth and lure speed are judged again this long after it."""

STOPPED_MPS = 0.26
"""Half a knot through the water: the boat has stopped, and no lure is meant to run."""

STRAIGHT_FOR_SIDE_S = 60.0
DEADBAND = 0.1


@dataclass(frozen=True, slots=True)
class Look:
    """What the rules see."""

    config: Config
    boat: BoatState
    lines: Mapping[str, LineState]
    held: Collection[str]  # keys of situations that stand: the deadband applies
    straight_s: float  # since the last turn ended
    known: Collection[str]  # boat quantities that were ok at some time

    def firm(self) -> Iterator[tuple[Rod, LineState]]:
        """Rods whose line fishes and whose numbers are known."""
        for rod in self.config.rods:
            line = self.lines[rod.name]
            if line.rod_state == "fishing" and line.depth_m.state in ("ok", "doubtful"):
                yield rod, line

    def listed(self, rods: Collection[str]) -> str:
        """ "P2, P1", or "all lines" where all that fish are meant."""
        return "all lines" if len(rods) > 2 and len(rods) == sum(1 for _ in self.firm()) else ", ".join(rods)

    def trolling(self) -> bool:
        """Under way, and long enough after a turn."""
        stw = self.boat.stw_mps.value
        return self.straight_s >= AFTER_TURN_S and stw is not None and stw >= STOPPED_MPS

    def shown(self, value: float, unit: str) -> str:
        """A value with its unit as the crew reads it."""
        row = DISPLAY_UNITS[self.config.boat.units][unit]
        return f"{value * row.scale + row.offset:.{row.digits}f} {row.label}"


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of RULES."""

    name: str
    priority: Priority
    see: Callable[[Look, Rule], Iterator[Finding]]
    on_s: float = 3.0
    off_s: float = 10.0

    def finding(
        self, text: str, rods: tuple[str, ...] = (), key: str | None = None, **evidence: float | str | None
    ) -> Finding:
        """A situation of this rule."""
        return Finding(key or self.name, self.priority, text, self.on_s, self.off_s, rods, evidence)


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument, the quantities it gives, and what its loss means."""

    name: str
    quantities: tuple[str, ...]
    means: str


INSTRUMENTS: tuple[Instrument, ...] = (
    Instrument("GPS", ("sog_mps", "lat_deg"), "no ground speed, current or place"),
    Instrument("speed log", ("stw_mps",), "lines by ground speed, bands wider"),
    Instrument("heading", ("heading_rad",), "lines by course over ground"),
    Instrument("sounder", ("water_depth_m",), "bottom not known"),
    Instrument("thermometer", ("water_temp_c",), "temperature not known"),
)
"""A quantity that nothing ever brought is no loss: README.md says what works without it."""

MANY = 3
"""So many instruments lost at once have one cause."""


def lost_instruments(look: Look, rule: Rule) -> Iterator[Finding]:
    """Instruments that were good once and are not now; many at once is one situation (a plug, a fuse, a gateway)."""
    lost = [(one, worst) for one in INSTRUMENTS if (worst := _worst(look, one)) is not None]
    if len(lost) >= MANY:
        names = ", ".join(one.name for one, _ in lost)
        yield rule.finding(f"instruments lost: {names}", key="instruments", cause=lost[0][1].cause)
        return
    for one, worst in lost:
        yield rule.finding(
            f"{one.name} {worst.state}: {one.means}", key=f"{rule.name} {one.name}",
            cause=worst.cause, age_s=worst.age_s, source=worst.source,
        )  # fmt: skip


def _worst(look: Look, one: Instrument) -> Estimate | None:
    for name in one.quantities:
        estimate: Estimate = getattr(look.boat, name)
        if name in look.known and estimate.state != "ok":
            return estimate
    return None


def lure_speed(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lures slower or faster than wanted, on all rods one situation; not in a turn, not with the boat stopped."""
    if not look.trolling():
        return
    limits = look.config.alerts
    slow = rule.name == "lure slow"
    limit = limits.lure_slow_mps if slow else limits.lure_fast_mps
    if limit is None:
        return
    sign = -1.0 if slow else 1.0
    bound = limit - sign * 0.5 * DEADBAND * limit * (rule.name in look.held)
    speeds = [(rod.name, line.lure_speed_mps.value) for rod, line in look.firm()]
    off = [(name, value) for name, value in speeds if value is not None and sign * (value - bound) > 0.0]
    if not off:
        return
    rods = tuple(name for name, _ in off)
    worst = sign * max(sign * value for _, value in off)
    side = "below" if slow else "above"
    text = f"{look.listed(rods)}: lure {look.shown(worst, 'm/s')}, {side} {look.shown(limit, 'm/s')}"
    yield rule.finding(text, rods, value=worst, limit=limit, unit="m/s")


def off_depth(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lures above, or below, the depth wanted for their rod; not in a turn, not with the boat stopped."""
    if not look.trolling():
        return
    for word in ("above", "below"):
        key = f"{rule.name} {word}"
        off = [one for rod, line in look.firm() if (one := _off(look, rod, line, word, key in look.held)) is not None]
        if not off:
            continue
        rods = tuple(rod.name for rod, *_ in off)
        rod, depth, wanted = max(off, key=lambda one: abs(one[1] - one[2][word == "below"]))
        band = " to ".join(look.shown(end, "m") for end in wanted)
        text = f"{rod.name} at {look.shown(depth, 'm')}, {word} its {band}"
        if others := [name for name in rods if name != rod.name]:
            text += f"; {', '.join(others)} too"
        limit = wanted[word == "below"]
        yield rule.finding(text, rods, key, value=depth, limit=limit, unit="m", **_band(look.lines[rod.name].depth_m))


def _off(
    look: Look, rod: Rod, line: LineState, word: str, held: bool
) -> tuple[Rod, float, tuple[float, float]] | None:
    """A rod whose lure is above, or below, what is wanted; once told, until it is well inside again."""
    wanted, depth = look.config.alerts.wanted_m.get(rod.name), line.depth_m.value
    if wanted is None or depth is None:
        return None
    inside = max(FOOT_M, DEADBAND * (wanted[1] - wanted[0])) if held else 0.0
    out = depth < wanted[0] + inside if word == "above" else depth > wanted[1] - inside
    return (rod, depth, wanted) if out else None


def wrong_side(look: Look, rule: Rule) -> Iterator[Finding]:
    """A planer that swings to the other side of the boat than its rod's, on a straight course."""
    if look.straight_s < STRAIGHT_FOR_SIDE_S:
        return
    for rod, line in look.firm():
        low, high = line.swing_m.low, line.swing_m.high
        if rod.side == "centre" or low is None or high is None or not _planer(look, rod):
            continue
        if (rod.side == "port" and low > 0.0) or (rod.side == "starboard" and high < 0.0):
            yield rule.finding(
                f"{rod.name} planer pulls to the wrong side: check its setting", (rod.name,), f"{rule.name} {rod.name}",
                value=line.swing_m.value, unit="m", **_band(line.swing_m),
            )  # fmt: skip


def said(condition: str, in_turns: bool) -> Callable[[Look, Rule], Iterator[Finding]]:
    """A rule that sees one of the conditions a line is in, on all rods one situation."""

    def see(look: Look, rule: Rule) -> Iterator[Finding]:
        if not in_turns and not look.trolling():
            return
        rods = tuple(rod.name for rod, line in look.firm() if condition in line.conditions)
        if rods:
            yield rule.finding(f"{look.listed(rods)}: {rule.name}", rods)

    return see


RULES: tuple[Rule, ...] = (
    Rule("lost", "caution", lost_instruments),
    Rule("lure slow", "warning", lure_speed),
    Rule("lure fast", "warning", lure_speed),
    Rule("off depth", "warning", off_depth, on_s=10.0),
    Rule("line folding, depth in doubt", "warning", said("line folding", in_turns=True)),
    Rule("planer not digging", "caution", said("not digging", in_turns=False), on_s=10.0),
    Rule("wrong side", "caution", wrong_side, on_s=30.0),
)

FOLLOWS: Mapping[str, str] = {"lure slow": "off depth", "lure fast": "off depth", "instruments": "lost"}
"""By key, what keys begin with that follow from it: a lure too slow is off its depth for that. These make no sound."""


def findings(look: Look) -> list[Finding]:
    """All situations there are now."""
    return [found for rule in RULES for found in rule.see(look, rule)]


def _band(q: Q) -> dict[str, float | str | None]:
    return {"low": q.low, "high": q.high, "age_s": q.age_s, "source": q.source}


def _planer(look: Look, rod: Rod) -> bool:
    kinds = [look.config.bodies[part.body].kind for part in rod.rig if part.body is not None]
    return "planer" in kinds

