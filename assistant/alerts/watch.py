"""One look a Frame: what the rules see, what the state of the boat makes of it, what the engine tells. Pure."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from assistant.ahead.outlook import Forecast
from assistant.alerts import engine, felt, rules
from assistant.alerts.engine import AlertState, Finding
from assistant.alerts.felt import Felt
from assistant.alerts.look import TURNING_RADPS, Look
from assistant.configured import Config
from assistant.messages import BOAT_QUANTITIES, Alert, AlertAction, BoatState, LineState, Seen


@dataclass(frozen=True, slots=True)
class Watch:
    """What is remembered between two looks."""

    alerts: AlertState = field(default_factory=AlertState)
    known: frozenset[str] = frozenset()  # boat quantities that were ok at some time
    turned_s: float = -math.inf  # when the boat last turned
    waiting: tuple[AlertAction, ...] = ()  # of steps without a Frame
    t_s: float = 0.0  # of the last look
    felt: Mapping[str, Felt] = field(default_factory=dict)  # by rod, where there is a pull input


def heard(watch: Watch, actions: Sequence[AlertAction]) -> Watch:
    """Keep what the crew did until the next look."""
    return replace(watch, waiting=(*watch.waiting, *actions)) if actions else watch


def look(
    watch: Watch,
    config: Config,
    boat: BoatState,
    lines: Mapping[str, LineState],
    t_s: float,
    outlook: Forecast | None = None,
    seen: Mapping[str, Mapping[str, Seen]] = MappingProxyType({}),
    fish: bool = False,
) -> tuple[Watch, tuple[Alert, ...]]:
    """Judge one instant.

    Args:
        boat, lines, seen: those of the Frame at t_s [s], later than the last look.
        outlook: the newest forecast; None: there is none, and nothing is said of what will be.
        fish: there is one on, nobody has said on which rod.
    """
    good = {name for name in BOAT_QUANTITIES if getattr(boat, name).state == "ok"}
    known = watch.known | good
    rate = boat.rate_of_turn_radps.value
    turned_s = t_s if rate is not None and abs(rate) > TURNING_RADPS else watch.turned_s
    held = {key for key, one in watch.alerts.standing.items() if one.gone_s is None}
    pulls = felt.felt(watch.felt, lines, seen, t_s - watch.t_s)
    found = rules.findings(Look(config, boat, lines, held, t_s - turned_s, known, outlook, seen, t_s, pulls))
    fish = fish or any(line.rod_state == "fish on" for line in lines.values())
    found = [_silenced(one, _why_silent(one, held, fish)) for one in _under_their_causes(found)]
    alerts, told = engine.judge(watch.alerts, found, t_s, watch.waiting)
    return Watch(alerts, frozenset(known), turned_s, t_s=t_s, felt=pulls), told


def _silenced(finding: Finding, why: str) -> Finding:
    return replace(finding, silent=why) if why != finding.silent else finding


def _under_their_causes(found: Sequence[Finding]) -> list[Finding]:
    """One situation for each cause: what follows from another that is seen now is told under it."""
    keys = {one.key for one in found}
    causes = {one.key: _cause(one, keys) for one in found}
    out = []
    for one in found:
        if causes[one.key] is None:
            under = tuple(other.text for other in found if causes[other.key] == one.key)
            out.append(replace(one, under=under) if under != one.under else one)
    return out


def _cause(finding: Finding, keys: Collection[str]) -> str | None:
    """The key among these from which a situation follows, if there is one."""
    for cause, follows in rules.FOLLOWS:
        if finding.key.startswith(follows) and cause in keys:
            return cause
    return None


def _why_silent(finding: Finding, standing: Collection[str], fish: bool) -> str:
    """Why a situation is shown without a sound; empty: it may sound."""
    if fish and not finding.key.startswith(rules.WITH_A_FISH):
        return "fish on"
    cause = _cause(finding, standing)
    return f"follows from {cause}" if cause is not None else finding.silent
