"""When to speak of what the rules find: delays, one alert per situation, acknowledge, mute, shelve. Pure.

Practice of alarm management (IEC 62682:2014, ISA-18.2-2016; OPC UA part 9, B.1.5 for the delays; from memory): a
situation stands only after its on-delay and goes only after its off-delay, so that nothing chatters; it is told once,
and again no sooner than REALARM_S after the last time; silence by hand is temporary and ends by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from assistant.messages import Alert, AlertAction, Priority

REALARM_S = 300.0
"""The same situation makes no second sound before this (but a higher priority does)."""
MUTE_S = 30.0
SHELVE_MAX_S = 3600.0
GONE_S = 10.0
"""So long the frames say that an alert is gone, for screens that missed one."""
UNSURE = "not sure"
"""Why a finding is shown without a sound until it is surer; one that was told aloud does not fall back to that."""
RANKS: tuple[Priority, ...] = ("caution", "warning", "alarm")


@dataclass(frozen=True, slots=True)
class Finding:
    """One situation a rule sees now; `key` is the same for as long as it is the same situation."""

    key: str
    priority: Priority
    text: str  # what, where, what to do
    on_s: float  # it must last so long
    off_s: float  # and be gone so long
    rods: tuple[str, ...] = ()
    evidence: Mapping[str, float | str | None] = field(
        default_factory=dict
    )  # value, limit, unit, age_s, source ...
    silent: str = ""  # why it makes no sound though it is shown: "fish on"
    said: str = ""  # as spoken: the rod first, in few words
    under: tuple[str, ...] = ()  # what follows from it, in words
    same: tuple[str, ...] = ()  # keys of the same cause: what was heard of them was heard of this


@dataclass(frozen=True, slots=True)
class Standing:
    """A situation the engine follows."""

    finding: Finding  # the latest
    since_s: float  # of this run of being seen
    seen_s: float  # last seen
    raised_s: float | None = None  # told since; None: its on-delay still runs
    acknowledged: bool = False
    gone_s: float | None = None


@dataclass(frozen=True, slots=True)
class AlertState:
    """What the engine remembers. Never changed in place."""

    standing: Mapping[str, Standing] = field(default_factory=dict)
    sounded: Mapping[str, tuple[float, Priority]] = field(default_factory=dict)  # by key: when, how urgent
    muted_until_s: float = float("-inf")
    shelved: Mapping[str, float] = field(default_factory=dict)  # by key: until when [s]


def judge(
    state: AlertState, findings: Sequence[Finding], t_s: float, actions: Sequence[AlertAction] = ()
) -> tuple[AlertState, tuple[Alert, ...]]:
    """One more look.

    Args:
        findings: what the rules see at t_s [s], later than the last look; one per key.
        actions: what the crew did about alerts since the last look.
    Returns:
        The new state; every alert that stands or has just gone, most urgent first.
    """
    for action in actions:
        state = _take(state, action)
    now = {finding.key: finding for finding in findings}
    standing, sounded = {}, dict(state.sounded)
    for key in {**state.standing, **now}:
        after = _follow(state.standing.get(key), now.get(key), t_s)
        if after is None:
            continue
        if after.raised_s is None and t_s - after.since_s >= after.finding.on_s and after.seen_s == t_s:
            after = replace(after, raised_s=t_s)
        before = state.standing.get(key)
        if after.raised_s is not None and not after.acknowledged and _begins(before, after, t_s):
            if _may_sound(sounded, after.finding, t_s):
                sounded[key] = (t_s, after.finding.priority)
            else:
                after = replace(after, acknowledged=True)
        standing[key] = after
    shelved = {key: until_s for key, until_s in state.shelved.items() if until_s > t_s}
    state = AlertState(standing, sounded, state.muted_until_s, shelved)
    told = [_alert(state, key, one, t_s) for key, one in standing.items() if one.raised_s is not None]
    return state, tuple(sorted(told, key=lambda a: (-RANKS.index(a.priority), a.t_s, a.key)))


def _follow(old: Standing | None, found: Finding | None, t_s: float) -> Standing | None:
    """The situation after one more look; None: forgotten."""
    if found is not None:
        if old is None or old.gone_s is not None:
            return Standing(found, t_s, t_s)
        worse = RANKS.index(found.priority) > _rank(old.finding)
        if old.raised_s is not None and not worse:  # never less urgent: else heard each time it is more so
            unsure = found.silent == UNSURE and found.priority != old.finding.priority
            found = replace(found, priority=old.finding.priority, silent="" if unsure else found.silent)
        return replace(old, finding=found, seen_s=t_s, acknowledged=old.acknowledged and not worse)
    assert old is not None
    if old.raised_s is None:
        return None  # the on-delay wants it seen without a break
    if old.gone_s is None and t_s - old.seen_s >= old.finding.off_s:
        return replace(old, gone_s=t_s)
    return None if old.gone_s is not None and t_s - old.gone_s > GONE_S else old


def _rank(finding: Finding) -> int:
    return RANKS.index(finding.priority)


def _begins(before: Standing | None, after: Standing, t_s: float) -> bool:
    """Whether it has come to stand just now, or has become more urgent."""
    return after.raised_s == t_s or (before is not None and _rank(before.finding) < _rank(after.finding))


def _may_sound(sounded: Mapping[str, tuple[float, Priority]], finding: Finding, t_s: float) -> bool:
    """Whether it may be told aloud: nothing as urgent was, of it or of the same cause, within REALARM_S."""
    lately = [sounded[key] for key in (finding.key, *finding.same) if key in sounded]
    return all(t_s - at_s >= REALARM_S or RANKS.index(rank) < _rank(finding) for at_s, rank in lately)


def _take(state: AlertState, action: AlertAction) -> AlertState:
    if action.kind == "mute":
        return replace(state, muted_until_s=action.t_s + MUTE_S)
    one = state.standing.get(action.key or "")
    if one is None:  # gone meanwhile
        return state
    standing = {**state.standing, one.finding.key: replace(one, acknowledged=True)}
    if action.kind == "acknowledge":
        return replace(state, standing=standing)
    until_s = action.t_s + min(max(action.seconds, 0.0), SHELVE_MAX_S)
    return replace(state, standing=standing, shelved={**state.shelved, one.finding.key: until_s})


def _alert(state: AlertState, key: str, one: Standing, t_s: float) -> Alert:
    found = one.finding
    assert one.raised_s is not None
    phase = "gone" if one.gone_s is not None else "acknowledged" if one.acknowledged else "active"
    quiet = t_s < state.muted_until_s or key in state.shelved or found.silent != ""
    rod = found.rods[0] if len(found.rods) == 1 else None
    return Alert(
        one.raised_s, key, rod, found.priority, found.text, phase,
        rods=found.rods, evidence=found.evidence, audible=phase == "active" and not quiet, silent=found.silent,
        said=found.said, under=found.under,
    )  # fmt: skip
