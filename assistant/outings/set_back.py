"""What every rod was set to before each event, so that one that did not happen is undone on its rod as well. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from assistant.configured import Rod
from assistant.messages import LineSetting

FIELDS = ("line_out_m", "setting", "rod_state", "tripped")
"""Of a LineSetting; that a line was wiped clean cannot be undone."""


class SetBack:
    """Fed with every setting and the number of the event that made it."""

    def __init__(self, rods: Iterable[Rod]) -> None:
        self._now: dict[str, dict[str, object]] = {rod.name: _at_start(rod) for rod in rods}
        self._made: dict[str, list[int | None]] = {rod: [] for rod in self._now}  # events by rod, in order
        self._before: dict[int, LineSetting] = {}

    def took(self, setting: LineSetting, number: int | None) -> None:
        """A setting was made by the event of this number; None: by something that has none."""
        now = self._now[setting.rod]
        fields = [name for name in FIELDS if getattr(setting, name) is not None]
        self._made[setting.rod].append(number)
        if number is not None:
            before = {name: now[name] for name in fields}
            self._before[number] = replace(LineSetting(setting.t_s, setting.rod), **before)  # type: ignore[arg-type]
        now.update({name: getattr(setting, name) for name in fields})

    def undone(self, number: int, t_s: float) -> LineSetting | None:
        """What to set at `t_s` [s] once an event did not happen; None if its rod was set anew since, or it set none."""
        before = self._before.pop(number, None)
        if before is None:
            return None
        made = self._made[before.rod]
        last = made[-1] == number
        made.remove(number)
        if not last:
            return None
        back = replace(before, t_s=t_s)
        self._now[back.rod].update({n: getattr(back, n) for n in FIELDS if getattr(back, n) is not None})
        return back if any(getattr(back, name) is not None for name in FIELDS) else None


def _at_start(rod: Rod) -> dict[str, object]:
    dial = next((part.setting for part in rod.rig if part.setting is not None), None)
    return {"line_out_m": rod.line_out_m, "setting": dial, "rod_state": rod.rod_state, "tripped": False}
