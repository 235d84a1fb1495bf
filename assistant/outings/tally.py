"""What the report counts: strikes with how they ended, effort and blanks by line, depth, speed and the like. Pure.

Effort is rod-minutes of lines that could take a fish (effort.py), each under the conditions of that minute; a strike
belongs to the minute that was over or running one minute before it. Rates per rod-hour with exact 80 % limits.

Source: exact limits of a Poisson mean, Garwood 1936, Biometrika 28, 437-442.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.messages import Event, Side
from assistant.outings.causes import BEFORE_MIN, NOW_MIN
from assistant.outings.deep_water import EARTH_RADPS, DeepWater
from assistant.outings.effort import Strike, Table, minute_before
from assistant.units import DisplayUnit

FISH_ON = "fish on"
LANDED, LOST, NO_HOOK_UP, OPEN = "landed", "lost", "no hook-up", "not told"
AGAIN = ("back as it was", "rod state", "re-armed", "checked")
"""After one of these at its rod a strike that was neither landed nor lost had no fish on it."""
TAIL = 0.1
LEAST_H = 0.1  # rod-hours; a blank in less says nothing
BISECTIONS = 60
TURNING = 0.5  # share of a minute turned one way: a turn to that side


@dataclass(frozen=True, slots=True)
class Catch:
    """One strike and how it ended."""

    t_s: float
    rod: str | None
    outcome: str


@dataclass(frozen=True, slots=True)
class Share:
    """Effort and strikes under one condition; rates per rod-hour."""

    label: str
    rod_hours: float
    strikes: int
    rate: float
    low: float
    high: float


def catches(told: Sequence[Event]) -> list[Catch]:
    """Every strike in order of time, with its outcome as told afterwards at the same rod."""
    ordered = sorted(told, key=lambda e: e.t_s)
    found = []
    for n, event in enumerate(ordered):
        if event.kind == FISH_ON:
            found.append(Catch(event.t_s, event.rod, _outcome(event, ordered[n + 1 :])))
    return found


def _outcome(strike: Event, later: Sequence[Event]) -> str:
    hooked = False
    for event in later:
        if event.rod != strike.rod:
            continue
        if event.kind in (LANDED, LOST):
            return event.kind
        hooked = hooked or event.kind == "hook-up"
        if event.kind == FISH_ON or event.kind in AGAIN:
            return OPEN if hooked else NO_HOOK_UP
    return OPEN


def poisson_limits(count: int) -> tuple[float, float]:
    """10 % and 90 % limits of a Poisson mean of which `count` came."""
    low = 0.0 if count == 0 else _mean_where(lambda mean: 1.0 - _at_most(count - 1, mean) - TAIL, count)
    return low, _mean_where(lambda mean: TAIL - _at_most(count, mean), count)


def _at_most(count: int, mean: float) -> float:
    return math.fsum(math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(count + 1))


def _mean_where(rising: Callable[[float], float], count: int) -> float:
    low, high = 1e-9, 10.0 + 4.0 * count
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if rising(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high)


def share(label: str, rod_hours: float, strikes: int) -> Share:
    """Effort and strikes with their rate."""
    low, high = poisson_limits(strikes)
    per = 1.0 / rod_hours if rod_hours > 0.0 else math.nan
    return Share(label, rod_hours, strikes, strikes * per, low * per, high * per)


def shares(
    table: Table, caught: Sequence[Catch], labels: NDArray[np.str_], order: Sequence[str]
) -> list[Share]:
    """Effort and strikes by label, in this order; blanks of less than LEAST_H are left out.

    Args:
        labels: (N, R) of each rod-minute; "" belongs nowhere.
    """
    effort = {label: float((table.workable & (labels == label)).sum()) / 60.0 for label in order}
    counts = dict.fromkeys(order, 0)
    for one in caught:
        n = minute_before(table, Strike(one.t_s, one.rod))
        if n < 0 or one.rod not in table.rods:
            continue
        c = table.rods.index(one.rod)
        if table.workable[n, c] and str(labels[n, c]) in counts:
            counts[str(labels[n, c])] += 1
    told = [label for label in order if effort[label] >= LEAST_H or counts[label]]
    return [share(label, effort[label], counts[label]) for label in told]


def by_line(table: Table, caught: Sequence[Catch], order: Sequence[str]) -> list[Share]:
    """Rod by rod."""
    labels = np.broadcast_to(np.array(table.rods), table.workable.shape)
    return shares(table, caught, labels, [rod for rod in order if rod in table.rods])


def by_value(table: Table, caught: Sequence[Catch], name: str, unit: DisplayUnit, step: float) -> list[Share]:
    """By a quantity in steps of the unit it is shown in; nothing where it was never known."""
    track = table.tracks.get(name)
    if track is None:
        return []
    value = np.broadcast_to(track.value.real, table.workable.shape)
    known = np.isfinite(value)
    bins = np.zeros(value.shape, dtype=int)
    bins[known] = [math.floor((v * unit.scale + unit.offset) / step + 1e-9) for v in value[known]]
    texts = {b: _step_label(b, step, unit.label) for b in np.unique(bins[known])}
    labels = np.array(
        [[texts[b] if k else "" for b, k in zip(*row, strict=True)] for row in zip(bins, known, strict=True)]
    )
    return shares(table, caught, labels, [texts[b] for b in sorted(texts)]) if texts else []


def _step_label(number: int, step: float, unit: str) -> str:
    digits = 0 if step >= 1.0 else 1
    return f"{number * step:.{digits}f}-{(number + 1) * step:.{digits}f} {unit}"


def by_turn(table: Table, caught: Sequence[Catch], sides: Mapping[str, Side]) -> list[Share]:
    """Inside and outside lines of turns, and going straight."""
    track = table.tracks.get("turn_side")
    if track is None:
        return []
    turn = track.value[:, 0].real
    labels = np.full(table.workable.shape, "", dtype="U16")
    for c, rod in enumerate(table.rods):
        way = {"starboard": 1.0, "port": -1.0}.get(sides.get(rod, "centre"), 0.0)
        inside, outside = turn * way >= TURNING, turn * way <= -TURNING
        labels[:, c] = np.where(inside, "inside of turns", np.where(outside, "outside of turns", ""))
        labels[np.abs(turn) < TURNING, c] = "straight"
        labels[~np.isfinite(turn), c] = ""
    return shares(table, caught, labels, ["straight", "inside of turns", "outside of turns"])


def by_deep_current(
    table: Table, caught: Sequence[Catch], water: DeepWater | None, lat_deg: float
) -> list[Share]:
    """By the heading against the deep current, as it is known at the day's end, turned back; nothing while unknown."""
    track = table.tracks.get("heading_rad")
    if track is None or water is None or not water.known:
        return []
    turning = 2.0 * EARTH_RADPS * math.sin(math.radians(lat_deg))
    toward = cmath.phase(water.velocity_mps) - turning * (table.t_s[-1] - table.t_s)
    along = np.cos(np.angle(track.value[:, 0]) - toward)
    words = np.where(along > 0.5, "along with it", np.where(along < -0.5, "against it", "across it"))
    words = np.where(np.isfinite(along), words, "")
    labels = np.broadcast_to(words[:, None], table.workable.shape)
    return shares(table, caught, labels, ["against it", "across it", "along with it"])


@dataclass(frozen=True, slots=True)
class Along:
    """The deep current along the boat [m/s], + with it: before the strikes and in the last minutes."""

    then_mps: float
    now_mps: float
    sigma_mps: float  # of their difference


def along_boat(
    table: Table, strikes: Sequence[Strike], water: DeepWater | None, lat_deg: float
) -> Along | None:
    """What the boat's headings made of the deep current as it is known at the table's end; None while unknown."""
    track = table.tracks.get("heading_rad")
    if track is None or water is None or not water.known:
        return None
    turning = 2.0 * EARTH_RADPS * math.sin(math.radians(lat_deg))
    ways = track.value[:, 0] * np.exp(
        1j * turning * (table.t_s[-1] - table.t_s)
    )  # as if the current stood still
    ends = [minute_before(table, strike) + 1 for strike in strikes]
    before = np.concatenate([ways[max(0, end - BEFORE_MIN) : end] for end in ends] or [ways[:0]])
    before, last = before[np.isfinite(before)], ways[-NOW_MIN:][np.isfinite(ways[-NOW_MIN:])]
    if not len(before) or not len(last):
        return None
    then, now = complex(before.mean()), complex(last.mean())
    change = np.array([(now - then).real, (now - then).imag])
    sigma = math.sqrt(max(0.0, float(change @ np.array(water.covariance) @ change)))
    along = [(way.conjugate() * water.velocity_mps).real for way in (then, now)]
    return Along(along[0], along[1], sigma)
