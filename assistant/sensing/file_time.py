"""The times written in a log, in file order, as the steps by which file time moves. Pure.

Several talkers may say the time in one cycle, some a second late: a time that lags behind another talker's is
a repeat, one that falls behind what the same talker said before is a step back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from assistant.sensing import signalk
from assistant.sensing.dates import DAY_S
from assistant.sensing.nmea import moment_of

GAP_S = 60.0  # file time that passes over in silence is a gap from here on


class _Stamp(NamedTuple):
    at: int
    address: str
    day: int | None
    time_of_day_s: float


class Step(NamedTuple):
    """An accepted time: how far file time went to get here (< 0: back); `file_s` [s] if a date is known."""

    at: int
    advance_s: float
    file_s: float | None


def steps(texts: Sequence[str]) -> list[Step]:
    """The stamps that move file time, in order."""
    stamps = _stamps(texts)
    moves: list[Step] = []
    now = _FileTime()
    own: dict[str, float] = {}  # file time each address said last
    for stamp, following in zip(stamps, _following(stamps), strict=True):
        file_s = now.place(stamp)
        advance_s = file_s - now.file_s if moves else 0.0
        repeats = moves and (advance_s == 0.0 or (advance_s < 0.0 <= file_s - own.get(stamp.address, file_s)))
        if not repeats:
            if moves and _out_of_line(now, file_s, following):
                continue
            if advance_s < 0.0:
                own.clear()
            now.file_s = file_s
            moves.append(Step(stamp.at, advance_s, file_s if now.dated else None))
        own[stamp.address] = file_s
        shift_s = now.learn_day(stamp, file_s)
        if shift_s is not None:
            own = {address: said_s + shift_s for address, said_s in own.items()}
            moves[-1] = moves[-1]._replace(file_s=now.file_s)
    return moves


def _stamps(texts: Sequence[str]) -> list[_Stamp]:
    found = ((index, _said(text)) for index, text in enumerate(texts))
    return [_Stamp(index, *said) for index, said in found if said is not None]


def _said(text: str) -> tuple[str, int | None, float] | None:
    """Who says it is when, None if it says no time: a talker's sentence, or a source within a stream of Signal K."""
    if signalk.is_signalk(text):
        return signalk.moment_of(text)
    moment = moment_of(text)
    return None if moment is None else (text[:6], *moment)


def _following(stamps: list[_Stamp]) -> list[_Stamp | None]:
    """For each stamp the next one of the same address."""
    after: dict[str, _Stamp] = {}
    following: list[_Stamp | None] = []
    for stamp in reversed(stamps):
        following.append(after.get(stamp.address))
        after[stamp.address] = stamp
    following.reverse()
    return following


@dataclass(slots=True)
class _FileTime:
    """Where file time stands [s]: since 1970 when `dated`, else since some midnight."""

    file_s: float = 0.0
    dated: bool = False
    started: bool = False

    def place(self, stamp: _Stamp) -> float:
        """File time [s] of a stamp; one without a date is taken as the nearest such time of day."""
        if stamp.day is not None and (self.dated or not self.started):
            return stamp.day * DAY_S + stamp.time_of_day_s
        if not self.started:
            return stamp.time_of_day_s
        ahead_s = (stamp.time_of_day_s - self.file_s) % DAY_S
        return self.file_s + (ahead_s if ahead_s < DAY_S / 2.0 else ahead_s - DAY_S)

    def learn_day(self, stamp: _Stamp, file_s: float) -> float | None:
        """Take the first date said; the shift [s] it brings to times placed before, None if it is no news."""
        self.started = True
        if stamp.day is None or self.dated:
            return None
        self.dated = True
        shift_s = stamp.day * DAY_S + stamp.time_of_day_s - file_s
        self.file_s += shift_s
        return shift_s


def _out_of_line(now: _FileTime, file_s: float, following: _Stamp | None) -> bool:
    """Whether a jump is one wrong stamp: the next of its address goes on from before it, not from it."""
    if 0.0 < file_s - now.file_s <= GAP_S or following is None:
        return False
    next_s = now.place(following)
    return 0.0 <= next_s - now.file_s <= GAP_S and not 0.0 <= next_s - file_s <= GAP_S
