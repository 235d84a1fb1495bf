"""UTC of a live run: what the sentences said, carried on by t_s. Pure; no clock is asked."""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.sensing.dates import DAY_S, iso_of_seconds, seconds_of_iso

TOLERANCE_S = 2.0  # a sentence about the last second may come this late


@dataclass(frozen=True, slots=True)
class UtcTracker:
    """UTC of a live run from the latest sentence that says it, plus what has passed since on t_s.

    A sentence arrives late, never early: within TOLERANCE_S the one furthest ahead holds. Beyond it a second
    one must agree. Dates before `not_before` are not believed: receivers start with old ones or roll over.
    What a satellite receiver says is firm; the clock of a computer on board counts until there is such a word.
    """

    not_before: str | None = None  # ISO date
    base: tuple[float, float] | None = None  # (t_s, UTC [s] since 1970)
    doubted: tuple[float, float] | None = None
    firm: bool = False

    def observe(
        self, t_s: float, utc: str | None, time_of_day_s: float | None = None, firm: bool = True
    ) -> UtcTracker:
        """Take what a sentence that arrived at t_s [s] says; a time of day alone needs an earlier date."""
        said_s = self._said_s(t_s, utc, time_of_day_s)
        if said_s is None or (self.firm and not firm):
            return self
        new = (t_s, said_s)
        if self.base is None or (firm and not self.firm and utc is not None):
            return replace(self, base=new, doubted=None, firm=firm)
        ahead_s = said_s - _carried(self.base, t_s)
        if abs(ahead_s) <= TOLERANCE_S:
            return replace(self, base=new if ahead_s > 0.0 else self.base, doubted=None)
        if self.doubted and abs(said_s - _carried(self.doubted, t_s)) <= TOLERANCE_S:
            return replace(self, base=new, doubted=None)
        return replace(self, doubted=new)

    def at(self, t_s: float) -> str | None:
        """UTC at t_s [s], ISO 8601 with Z; None until a sentence has said a date."""
        return None if self.base is None else iso_of_seconds(_carried(self.base, t_s))

    def _said_s(self, t_s: float, utc: str | None, time_of_day_s: float | None) -> float | None:
        if utc is not None:
            said_s = seconds_of_iso(utc)
            earliest_s = seconds_of_iso(self.not_before) if self.not_before else None
            return None if said_s is None or (earliest_s is not None and said_s < earliest_s) else said_s
        if time_of_day_s is None or self.base is None:
            return None
        carried_s = _carried(self.base, t_s)
        return carried_s + (time_of_day_s - carried_s + DAY_S / 2.0) % DAY_S - DAY_S / 2.0


def _carried(base: tuple[float, float], t_s: float) -> float:
    return base[1] + t_s - base[0]
