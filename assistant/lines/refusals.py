"""What of an operator's input cannot be used: one function per field, one row of CHECKS each. Pure.

The page refuses such input at its own edge; a recording made with another configuration may still hold some.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import get_args

from assistant.configured import BodyType, Config, Rod
from assistant.messages import LineSetting, RodState

LONGEST_M = 600.0  # on a counter: more than a reel of this trade holds
FAR = 1e9  # no number anyone sets; NaN is not below it either


def refusal(config: Config, change: LineSetting) -> str | None:
    """Why the change cannot be used, as a reason to count ("setting not on the dial"); None: it can."""
    rod = next((rod for rod in config.rods if rod.name == change.rod), None)
    if rod is None:
        return "rod not rigged"
    for name, (fits, reason) in CHECKS.items():
        value = getattr(change, name)
        if value is not None and not fits(config, rod, value):
            return reason
    return None


def _line_out(_config: Config, _rod: Rod, value: object) -> bool:
    return _is_number(value) and 0.0 <= float(value) <= LONGEST_M  # type: ignore[arg-type]  # a number


def _setting(config: Config, rod: Rod, value: object) -> bool:
    """On the dial of every planer of the rod that has one; a rod without a dial takes none."""
    tied = [config.bodies[part.body] for part in rod.rig if part.body is not None]
    dials = [body for body in tied if body.settings is not None or body.setting_min is not None]
    return bool(dials) and all(_on_dial(body, value) for body in dials)


def _on_dial(body: BodyType, value: object) -> bool:
    if body.settings is not None:
        return dial_label(value) in body.settings
    low, high = body.setting_min, body.setting_max
    assert low is not None and high is not None
    return _is_number(value) and low <= float(value) <= high  # type: ignore[arg-type]  # a number


def dial_label(setting: object) -> str:
    """A setting as the label it is: 1 and 1.0 are the label "1"."""
    return f"{setting:g}" if _is_number(setting) else str(setting)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < FAR


def _state(_config: Config, _rod: Rod, value: object) -> bool:
    return value in get_args(RodState)


def _yes_or_no(_config: Config, _rod: Rod, value: object) -> bool:
    return isinstance(value, bool)


CHECKS: Mapping[str, tuple[Callable[[Config, Rod, object], bool], str]] = {
    "line_out_m": (_line_out, "line out not on the counter"),
    "setting": (_setting, "setting not on the dial"),
    "rod_state": (_state, "rod state unknown"),
    "tripped": (_yes_or_no, "tripped neither yes nor no"),
    "cleaned": (_yes_or_no, "cleaned neither yes nor no"),
}
"""By field of a LineSetting: whether a value fits, and the reason counted when it does not."""
