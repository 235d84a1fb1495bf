"""The values of one Signal K update -> readings in SI. Pure; never raises on any value. See signalk.py."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from assistant.messages import OWN_PATHS, Reading
from assistant.sensing import dates
from assistant.sensing.nmea import gated
from assistant.sensing.quantities import QUANTITIES, TAU
from assistant.sensing.signalk_paths import (
    BELOW_KEEL,
    BELOW_TRANSDUCER,
    DATETIME,
    OBJECTS,
    PATHS,
    TRANSDUCER_TO_KEEL,
    USED,
)

KIND = "delta"
"""What stands where the type of a sentence stands in a reading's source."""

KEEL_MOST_M = 10.0
NUMBER_MOST = 1e9
ANGLE_SLACK_RAD = 0.001  # a full turn as somebody rounds it
STAMP_LONGEST = 40  # characters


class Heard(NamedTuple):
    """What is remembered of one source within a stream."""

    last: Mapping[str, tuple[str, object]] = {}  # path -> timestamp and value
    keel_m: float | None = None  # from the transducer down to the keel
    ours: bool = False  # it is us, relayed under another name
    below_transducer: bool = False  # it says so itself: its depth below the keel is the same once more


@dataclass(slots=True)
class Said:
    """What one line says. `utc` by a satellite receiver, `stamp` by the clock of whoever made the delta."""

    readings: list[Reading] = field(default_factory=list)
    utc: str | None = None  # ISO 8601 with Z
    stamp: str | None = None  # likewise, the latest
    rejects: list[str] = field(default_factory=list)
    unused: int = 0  # values of paths that nobody uses; a line that is neither delta nor hello is one

    def refuse(self, reason: str) -> None:
        """Count a value or an update that is not taken."""
        self.rejects.append(f"{KIND} {reason}")


def moment_s(raw: object) -> float | None:
    """Seconds since 1970 of a timestamp, RFC 3339 in UTC; None if it is none."""
    return dates.seconds_of_iso(raw) if isinstance(raw, str) and len(raw) <= STAMP_LONGEST else None


def is_read(path: object) -> bool:
    """Whether a path is one of those that are read."""
    return isinstance(path, str) and path in USED


def is_ours(path: object) -> bool:
    """Whether only we say such a path."""
    return isinstance(path, str) and path.startswith(OWN_PATHS)


def objects(raw: object, said: Said) -> Iterator[dict[str, object]]:
    """The objects of a list; all else in it is refused."""
    if not isinstance(raw, list):
        said.refuse("form")
        return
    for item in raw:
        if isinstance(item, dict):
            yield item
        else:
            said.refuse("form")


@dataclass(slots=True)
class Update:
    """One update on its way through; lives within `signalk.decode` only."""

    t_s: float
    source: str
    stamp: str
    memory: Heard
    said: Said

    def take(self, path: object, value: object) -> None:
        """One pair of path and value."""
        if not isinstance(path, str):
            self.said.refuse("form")
        elif not is_read(path):
            self.said.unused += 1
        elif value is not None and self._is_news(path, value):
            self._read(path, value)

    def _is_news(self, path: str, value: object) -> bool:
        """Whether it is more than what was said before; without a timestamp everything is."""
        new = (self.stamp, value)
        if self.stamp and self.memory.last.get(path) == new:
            self.said.refuse("repeat")
            return False
        self.memory = self.memory._replace(last={**self.memory.last, path: new})
        return True

    def _read(self, path: str, value: object) -> None:
        if path == DATETIME:
            if isinstance(value, str) and moment_s(value) is not None:
                self.said.utc = value
            else:
                self.said.refuse("time")
        elif path in OBJECTS:
            self._read_object(path, value)
        elif (number := self._number(value)) is not None:
            self._read_number(path, number)

    def _read_number(self, path: str, number: float) -> None:
        memory = self.memory
        if path == TRANSDUCER_TO_KEEL:
            keel_m = number if 0.0 <= number <= KEEL_MOST_M else None
            self.memory = memory._replace(keel_m=keel_m)
            if keel_m is None:
                self.said.refuse("range")
        elif path == BELOW_KEEL:
            if memory.keel_m is None:
                self.said.refuse("keel")  # nobody says how far the keel is down
            elif not memory.below_transducer:
                self._emit({"depth_below_transducer_m": number + memory.keel_m})
        else:
            if path == BELOW_TRANSDUCER:
                self.memory = memory._replace(below_transducer=True)
            quantity, add = PATHS[path]
            self._emit({quantity: number + add})

    def _read_object(self, path: str, value: object) -> None:
        if not isinstance(value, dict):
            self.said.refuse("form")
            return
        members = {quantity: value.get(name) for name, quantity in OBJECTS[path].items()}
        if any(member is None for member in members.values()):
            return  # half a position is none
        numbers = {quantity: self._number(member) for quantity, member in members.items()}
        if numbers.get("lat_deg") == 0.0 and numbers.get("lon_deg") == 0.0:
            self.said.refuse("null position")
        elif (known := {q: n for q, n in numbers.items() if n is not None}) and len(known) == len(numbers):
            self._emit(known)

    def _number(self, value: object) -> float | None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.said.refuse("number")
            return None
        if (
            not -NUMBER_MOST <= value <= NUMBER_MOST
        ):  # also no NaN; a whole number may be too long for a float
            self.said.refuse("number")
            return None
        return float(value)

    def _emit(self, values: Mapping[str, float]) -> None:
        """Readings of values that belong together: all of them, or none."""
        made: list[Reading] = []
        for quantity, value in values.items():
            limits = QUANTITIES[quantity]
            if limits.turn and -TAU / 2.0 <= value <= TAU + ANGLE_SLACK_RAD:
                value %= TAU
            good, reason = gated(limits, value)
            if good is None:
                self.said.refuse(reason)
                return
            made.append(Reading(self.t_s, quantity, good, self.source))
        self.said.readings += made
