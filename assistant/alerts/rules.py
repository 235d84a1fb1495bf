"""The table of what is told: one row of RULES each; a row's function gives the situations it sees in a Look. Pure.

Priorities by what is to be done: alarm = act now; warning = will go wrong if nothing is done; caution = be aware.
On- and off-delays 3 s and 10 s, deadbands 10 % or 1 ft (judgement, after common alarm practice).
"""

from __future__ import annotations

from assistant.alerts.engine import Finding
from assistant.alerts.foreseen import SLOWED, bottom, cross, slowed
from assistant.alerts.look import Look, Rule
from assistant.alerts.now import lost_instruments, lure_speed, off_depth, said, wrong_side
from assistant.alerts.passing import lifted, will_run
from assistant.alerts.pulls import deep_water, pull_changed, trip_margin
from assistant.alerts.upkeep import misfit

RULES: tuple[Rule, ...] = (
    Rule("bottom", "warning", bottom, on_s=5.0),
    Rule(SLOWED, "warning", slowed, on_s=0.0),
    Rule("cross", "warning", cross, on_s=5.0),
    Rule("will be off depth", "warning", lifted),
    Rule("will be slow", "warning", will_run),
    Rule("will be fast", "warning", will_run),
    Rule("pull fell", "warning", pull_changed, on_s=5.0),
    Rule("pull rose", "warning", pull_changed, on_s=10.0),
    Rule("may trip", "caution", trip_margin),
    Rule("deep water", "caution", deep_water, on_s=10.0),
    Rule("lost", "caution", lost_instruments),
    Rule("lure slow", "warning", lure_speed),
    Rule("lure fast", "warning", lure_speed),
    Rule("off depth", "warning", off_depth, on_s=10.0),
    Rule("line folding, depth in doubt", "warning", said("line folding", in_turns=True)),
    Rule("planer not digging", "caution", said("not digging", in_turns=False), on_s=10.0),
    Rule("wrong side", "caution", wrong_side, on_s=30.0),
    Rule("calibration", "caution", misfit, on_s=60.0, off_s=60.0),
)

FOLLOWS: tuple[tuple[str, str], ...] = (
    ("lure slow", "off depth"),
    ("lure fast", "off depth"),
    ("instruments", "lost"),
    ("deep water", "off depth"),
    ("will be slow", "will be off depth"),
    ("will be fast", "will be off depth"),
)
"""Key of a cause, what keys begin with that follow from it: a lure too slow is off its depth for that. While the cause
is seen they are told under it; while it stands they make no sound."""

WITH_A_FISH = ("bottom", "cross", SLOWED)
"""What keys begin with that speak with a fish on: bottom and crossing, and what slowing down for it does."""


def findings(look: Look) -> list[Finding]:
    """All situations there are now."""
    return [found for rule in RULES for found in rule.see(look, rule)]
