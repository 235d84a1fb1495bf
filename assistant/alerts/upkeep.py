"""Rules on what is to be seen to some time: nothing is wrong with a line now. Shown, without a sound. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from assistant.alerts.engine import Finding
from assistant.alerts.look import Look, Rule
from assistant.messages import Misfit

STEPS = {"speed log": "speed", "compass": "compass"}
"""Which step of `spreadwatch calibrate` mends it."""


def misfit(look: Look, rule: Rule) -> Iterator[Finding]:
    """A speed log or compass that no longer fits GPS over the headings of the last hour."""
    for one in look.boat.misfits:
        finding = rule.finding(
            advice(one),
            key=f"{rule.name} {one.what}",
            evidence={
                "value": one.off,
                "limit": one.limit,
                "sigma": one.sigma,
                "source": "GPS over many headings",
            },
        )
        yield replace(finding, silent="no hurry")


def advice(one: Misfit) -> str:
    """What is off, and what mends it."""
    return f"{one.what} {_words(one)} against GPS: spreadwatch calibrate {STEPS[one.what]}"


def _words(one: Misfit) -> str:
    if one.what == "compass":
        return f"{abs(math.degrees(one.off)):.0f} degrees {'low' if one.off > 0.0 else 'high'}"
    reads = 1.0 / (1.0 + one.off) - 1.0
    return f"reads {abs(100.0 * reads):.0f} % {'low' if reads < 0.0 else 'high'}"
