"""Rules on what is wrong now, by the lines and the boat as they are. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from assistant.alerts.engine import Finding
from assistant.alerts.look import DEADBAND, STRAIGHT_FOR_SIDE_S, Evidence, Look, Rule, band_of
from assistant.configured import Rod
from assistant.messages import Estimate, LineState
from assistant.units import FOOT_M


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
        yield rule.finding(
            f"instruments lost: {names}",
            key="instruments",
            said="Several instruments lost",
            evidence={"cause": lost[0][1].cause, "age_s": lost[0][1].age_s},
        )
        return
    for one, worst in lost:
        evidence: Evidence = {"cause": worst.cause, "age_s": worst.age_s, "source": worst.source}
        yield rule.finding(
            f"{one.name} {worst.state}: {one.means}",
            key=f"{rule.name} {one.name}",
            said=f"{one.name} {'lost' if worst.value is None else 'in doubt'}",
            evidence=evidence,
        )


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
    yield rule.finding(
        text,
        rods,
        said=f"{look.called(rods)} too {'slow' if slow else 'fast'}",
        evidence={
            "value": worst,
            "limit": limit,
            "unit": "m/s",
            **band_of(look.lines[rods[0]].lure_speed_mps),
        },
    )


def off_depth(look: Look, rule: Rule) -> Iterator[Finding]:
    """Lures above, or below, the depth wanted for their rod; not in a turn, not with the boat stopped."""
    if not look.trolling():
        return
    for word in ("above", "below"):
        key = f"{rule.name} {word}"
        off = [
            one
            for rod, line in look.firm()
            if (one := _off(look, rod, line, word, key in look.held)) is not None
        ]
        if not off:
            continue
        rods = tuple(rod.name for rod, *_ in off)
        rod, depth, wanted = max(off, key=lambda one: abs(one[1] - one[2][word == "below"]))
        band = " to ".join(look.shown(end, "m") for end in wanted)
        text = f"{rod.name} at {look.shown(depth, 'm')}, {word} its {band}"
        others = [name for name in rods if name != rod.name]
        if others:
            text += f"; {', '.join(others)} too"
        limit = wanted[word == "below"]
        evidence = {"value": depth, "limit": limit, "unit": "m", **band_of(look.lines[rod.name].depth_m)}
        said = f"{look.called((rod.name, *others))} {word} its depth"
        yield rule.finding(text, rods, key, said=said, evidence=evidence)


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
        if rod.side == "centre" or low is None or high is None or not has_planer(look, rod):
            continue
        if (rod.side == "port" and low > 0.0) or (rod.side == "starboard" and high < 0.0):
            yield rule.finding(
                f"{rod.name} planer pulls to the wrong side: check its setting",
                (rod.name,),
                f"{rule.name} {rod.name}",
                said=f"{rod.name} planer on the wrong side",
                evidence={"value": line.swing_m.value, "limit": 0.0, "unit": "m", **band_of(line.swing_m)},
            )


def said(condition: str, in_turns: bool) -> Callable[[Look, Rule], Iterator[Finding]]:
    """A rule that sees one of the conditions a line is in, on all rods one situation."""

    def see(look: Look, rule: Rule) -> Iterator[Finding]:
        if not in_turns and not look.trolling():
            return
        rods = tuple(rod.name for rod, line in look.firm() if condition in line.conditions)
        if rods:
            depth = look.lines[rods[0]].depth_m
            yield rule.finding(
                f"{look.listed(rods)}: {rule.name}",
                rods,
                said=f"{look.called(rods)} {condition}",
                evidence={"value": depth.value, "limit": condition, "unit": depth.unit, **band_of(depth)},
            )

    return see


def has_planer(look: Look, rod: Rod) -> bool:
    """Whether a planer is tied into a rod's rig."""
    kinds = [look.config.bodies[part.body].kind for part in rod.rig if part.body is not None]
    return "planer" in kinds
