"""What a step of the calibration comes to: numbers to write with date and evidence, or what is missing. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from assistant.errors import OptionError

Value = float | str | list[list[float]]
Table = Mapping[str, Value]


class Thin(OptionError):
    """The evidence does not carry a result; `missing` says what would."""

    def __init__(self, step: str, missing: list[str], seen: list[str] | None = None) -> None:
        self.missing = tuple(missing)
        head = f"{step}: not enough to go by; nothing was changed."
        lines = [head, *(f"  seen    {one}" for one in seen or []), *(f"  missing {one}" for one in missing)]
        super().__init__("\n".join(lines))


@dataclass(frozen=True, slots=True)
class Outcome:
    """One step done."""

    step: str  # name of the table in calibration.toml
    evidence: str
    table: Table  # what is written besides date and evidence
    changes: tuple[tuple[str, str, str], ...]  # what, before, after, in words
    residuals: tuple[str, ...]  # one line each
    words: tuple[str, ...] = field(default=())  # what else the captain should know
