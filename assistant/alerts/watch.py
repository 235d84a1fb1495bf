"""One look a Frame: what the rules see, what the state of the boat makes of it, what the engine tells. Pure."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from assistant.alerts import engine, rules
from assistant.alerts.engine import AlertState, Finding
from assistant.alerts.rules import TURNING_RADPS, Look
from assistant.configured import Config
from assistant.messages import BOAT_QUANTITIES, Alert, AlertAction, BoatState, LineState


@dataclass(frozen=True, slots=True)
class Watch:
    """What is remembered between two looks."""

    alerts: AlertState = field(default_factory=AlertState)
    known: frozenset[str] = frozenset()  # boat quantities that were ok at some time
    turned_s: float = -math.inf  # when the boat last turned
    waiting: tuple[AlertAction, ...] = ()  # of steps without a Frame


def heard(watch: Watch, actions: Sequence[AlertAction]) -> Watch:
    """Keep what the crew did until the next look."""
    return replace(watch, waiting=(*watch.waiting, *actions)) if actions else watch


def look(
    watch: Watch, config: Config, boat: BoatState, lines: Mapping[str, LineState], t_s: float
) -> tuple[Watch, tuple[Alert, ...]]:
    """Judge one instant; `boat` and `lines` are those of the Frame at t_s [s], later than the last look."""
    good = {name for name in BOAT_QUANTITIES if getattr(boat, name).state == "ok"}
    known = watch.known | good
    rate = boat.rate_of_turn_radps.value
    turned_s = t_s if rate is not None and abs(rate) > TURNING_RADPS else watch.turned_s
    held = {key for key, one in watch.alerts.standing.items() if one.gone_s is None}
    found = rules.findings(Look(config, boat, lines, held, t_s - turned_s, known))
    found = [replace(one, silent=_why_silent(one, held.union(other.key for other in found), lines)) for one in found]
    alerts, told = engine.judge(watch.alerts, found, t_s, watch.waiting)
    return Watch(alerts, frozenset(known), turned_s), told


def _why_silent(finding: Finding, keys: Collection[str], lines: Mapping[str, LineState]) -> str:
    """Why a situation is shown without a sound; empty: it may sound."""
    if finding.priority == "caution" and any(line.rod_state == "fish on" for line in lines.values()):
        return "fish on"
    causes = [cause for cause, follows in rules.FOLLOWS.items() if cause in keys and finding.key.startswith(follows)]
    return f"follows from {causes[0]}" if causes else ""
