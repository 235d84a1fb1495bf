"""The replay clock: time for the sentences of a raw log, which carry no arrival times. Pure.

All there is are the times written in RMC, ZDA, GGA and GLL. Each new one is a mark; the sentences from one
mark to the next are spread evenly over the time between. A receiver repeats a time within a cycle, and one
with a coarse clock in several cycles running: a repeat is no mark. What file time does, and what t_s does:

    forward by up to 60 s    t_s advances by the same
    forward by more          t_s advances by the same; the sentences further on than two cycles have `gap`
    back                     t_s advances by the usual time of that many sentences
    one time out of line     passed over, if the next of the same talker is back in line
    none before, none after  the usual time of that many sentences
    none in the whole file   one cycle of the commonest sentence is 1 s, and `assumed` is True

`utc` is None before the first mark and while no sentence has said a date.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from assistant.sensing.dates import iso_of_seconds
from assistant.sensing.file_time import GAP_S, steps

SLACK_CYCLES = 2.0  # the end of the cycle before a gap does not belong to it


class Timed(NamedTuple):
    """A sentence with its time. `gap`: no frame belongs between the sentence before and this one.

    All sentences in a gap have it (a receiver may fall silent while others talk), and the one that ends it.
    """

    t_s: float
    utc_s: float | None  # since 1970, where a date is known
    text: str
    gap: bool

    @property
    def utc(self) -> str | None:
        """ISO 8601; worked out only where it is asked for, which is seldom."""
        return None if self.utc_s is None else iso_of_seconds(self.utc_s)


class Mark(NamedTuple):
    """From sentence `at` on, for `span_s` until the next mark; `file_s` [s] since 1970, None if undated."""

    at: int
    span_s: float
    file_s: float | None
    gap: bool
    usual: bool  # the file does not say how long: it took the usual time


@dataclass(frozen=True, slots=True)
class ReplayClock:
    """When each of `texts` came; iterate for `Timed`, t_s strictly increasing from 0."""

    texts: Sequence[str]
    marks: tuple[Mark, ...]
    pace_s: float  # usual time from one sentence to the next
    cycle_s: float  # usual time from one mark to the next
    assumed: bool

    def __iter__(self) -> Iterator[Timed]:
        t_s = 0.0
        resumes = False
        starts = [mark.at for mark in self.marks]
        for mark, end in zip(self.marks, (*starts, len(self.texts))[1:], strict=True):
            count = end - mark.at
            step_s = min(self.pace_s, mark.span_s / count) if mark.gap else mark.span_s / count
            slack_s = SLACK_CYCLES * self.cycle_s if mark.gap else math.inf
            for k in range(count):
                after_s = k * step_s
                utc_s = None if mark.file_s is None else mark.file_s + after_s
                yield Timed(t_s + after_s, utc_s, self.texts[mark.at + k], resumes or after_s > slack_s)
                resumes = False
            t_s += mark.span_s
            resumes = mark.gap

    @property
    def source(self) -> str:
        """Where the time is from: "sentences" or "assumed"."""
        return "assumed" if self.assumed else "sentences"

    @property
    def marked_s(self) -> float:
        """Time [s] the file itself accounts for: without gaps, without what had to take the usual time."""
        return sum(mark.span_s for mark in self.marks if not (mark.gap or mark.usual))


def replay_clock(texts: Sequence[str]) -> ReplayClock:
    """Time the sentences of a log, given in file order."""
    moves = steps(texts)
    forward = [(b.advance_s, b.at - a.at) for a, b in pairwise(moves) if 0.0 < b.advance_s <= GAP_S]
    if not forward:
        return _assumed_clock(texts)
    cycle_s = median(advance_s for advance_s, _ in forward)
    pace_s = sum(advance_s for advance_s, _ in forward) / sum(count for _, count in forward)
    marks = [Mark(0, moves[0].at * pace_s, None, False, True)] if moves[0].at else []
    for a, b in zip(moves, (*moves[1:], None), strict=True):
        usual_s = ((b.at if b else len(texts)) - a.at) * pace_s
        known = b is not None and b.advance_s > 0.0
        span_s = b.advance_s if b is not None and known else usual_s
        marks.append(Mark(a.at, span_s, a.file_s, known and span_s > GAP_S, not known))
    return ReplayClock(texts, tuple(marks), pace_s, cycle_s, assumed=False)


def _assumed_clock(texts: Sequence[str]) -> ReplayClock:
    """No usable time: 1 s from one of the commonest sentence to the next."""
    addresses = [text.partition(",")[0] for text in texts]
    if not addresses:
        return ReplayClock(texts, (), 1.0, 1.0, assumed=True)
    (commonest, count), *_ = Counter(addresses).most_common(1)
    pace_s = count / len(addresses)
    starts = [index for index, address in enumerate(addresses) if address == commonest]
    marks = [Mark(0, starts[0] * pace_s, None, False, True)] if starts[0] else []
    marks += [Mark(index, 1.0, None, False, True) for index in starts[:-1]]
    marks.append(Mark(starts[-1], (len(texts) - starts[-1]) * pace_s, None, False, True))
    return ReplayClock(texts, tuple(marks), pace_s, 1.0, assumed=True)
