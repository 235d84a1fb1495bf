"""Frames to the quiet-spell judge's table: one Minute for each minute of them, live, replayed or read back. Pure.

What the captain has not said he wants is not held against a line: without a wanted band of depth every depth is at its
band. What is wanted and not known stays unknown.
"""

from __future__ import annotations

import cmath
import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby

from assistant.configured import AlertLimits
from assistant.messages import Z90, Frame, Q
from assistant.outings.effort import MINUTE_S, Minute, Observed, Origin, RodMinute

USABLE = ("ok", "doubtful")
ENTERED = ("typed", "mqtt", "page")
"""Sources of what a person said."""

NOTED: Mapping[str, str] = {
    "pull_n": "pull_n",
    "ball_speed_mps": "ball_speed_mps",
    "ball_temp_c": "lure_temp_c",
    "logged_depth_m": "logged_depth_m",
    "lean_rad": "cable_lean_rad",
    "lean": "cable_lean_word",
    "bend": "rod_bend",
}
"""Kind of Frame.seen -> quantity of the judge."""
OF_LINES = ("depth_m", "lure_speed_mps")
OF_BOAT: Mapping[str, str] = {
    "water_temp_c": "water_temp_c",
    "water_depth_m": "bottom_depth_m",
    "stw_mps": "water_speed_mps",
}
WORD_SIGMA = 0.4  # of a word of three: judgement

NOTHING: Mapping[str, float] = {}
CLEAN_SIGMA_MIN = 2.0  # of a moment that somebody told: judgement

TOUCH = "touch"
TOUCH_SIGMA_M = 1.0  # of the bottom where the line is, from the bottom under the boat: judgement

TURNING_RADPS = math.radians(0.5)  # slower is called straight: judgement
TURN_SIGMA = 0.3  # of the share of a minute turned one way: judgement
NOT_WORKING = ("not digging", "line folding")
"""Conditions of a line that cannot take a fish; "tripped" has its own place."""


def minutes_of(
    frames: Iterable[Frame], limits: AlertLimits, weighted: Collection[str] = ()
) -> Iterator[Minute]:
    """The table of minutes of frames in order of time.

    Args:
        limits: the wanted band of depth by rod and the wanted lure speeds.
        weighted: rods whose line runs the deeper the slower it is towed; a touch says something of those only.
    """
    for _, group in groupby(frames, key=lambda frame: minute_number(frame.t_s)):
        yield minute_of(list(group), limits, weighted)


def minute_number(t_s: float) -> int:
    """Which minute of the outing it is."""
    return math.floor(t_s / MINUTE_S)


def minute_of(
    frames: Sequence[Frame],
    limits: AlertLimits,
    weighted: Collection[str] = (),
    clean_s: Mapping[str, float] = NOTHING,
) -> Minute:
    """The row of frames that lie in one minute; there is at least one.

    Args:
        limits, weighted: see `minutes_of`; clean_s: when a rod's line was last clean [s], where anybody told.
    """
    rods = dict.fromkeys(rod for frame in frames for rod in frame.lines)
    rows = [_rod_minute(frames, rod, limits, rod in weighted) for rod in rods]
    return Minute(
        minute_number(frames[0].t_s) * MINUTE_S,
        tuple(_with_fouling(row, frames[-1].t_s, clean_s.get(row.rod)) for row in rows),
        _of_boat(frames),
    )


def _with_fouling(row: RodMinute, now_s: float, clean_s: float | None) -> RodMinute:
    """A row with the minutes since the line was clean; as it is where nobody told."""
    if clean_s is None:
        return row
    fouling = Observed(
        max(now_s - clean_s, 0.0) / MINUTE_S, CLEAN_SIGMA_MIN, "entered", "cleaned or aboard, as told"
    )
    return replace(row, seen={**row.seen, "fouling_min": fouling})


def _rod_minute(frames: Sequence[Frame], rod: str, limits: AlertLimits, weighted: bool) -> RodMinute:
    """One rod's minute; its state is the one it was in longest."""
    lines = [frame.lines[rod] for frame in frames if rod in frame.lines]
    conditions = Counter(text for line in lines for text in line.conditions)
    worked_out = {
        name: observed
        for name in OF_LINES
        if (observed := _mean([getattr(line, name) for line in lines], "worked out")) is not None
    }
    depth, speed = worked_out.get("depth_m"), worked_out.get("lure_speed_mps")
    slow, fast = limits.lure_slow_mps, limits.lure_fast_mps
    most = 0.5 * len(lines)
    noted = _noted(frames, rod)
    if "pull_n" in noted and (pull := _mean([line.tension_n for line in lines], "worked out")) is not None:
        noted["worked_pull_n"] = pull
    if weighted and depth is not None and (touch := _touch(frames, rod, depth)) is not None:
        noted["touch_m"] = touch
    return RodMinute(
        rod=rod,
        rod_state=Counter(line.rod_state for line in lines).most_common(1)[0][0],
        at_band=_within(depth, *limits.wanted_m.get(rod, (None, None))),
        at_speed=_within(speed, slow, fast),
        fouled=any(conditions[text] > most for text in NOT_WORKING),
        tripped=conditions["tripped"] > most,
        seen=worked_out | noted,
    )


def _touch(frames: Sequence[Frame], rod: str, depth: Observed) -> Observed | None:
    """How far above the bottom it touched a line was worked out to be; only in the minute of a new touch."""
    said = [frame.seen[rod][TOUCH].q for frame in frames if TOUCH in frame.seen.get(rod, {})]
    fresh = any(q.value is not None and q.age_s is not None and q.age_s < MINUTE_S for q in said)
    bottom = _mean(
        [frame.boat["water_depth_m"] for frame in frames if "water_depth_m" in frame.boat], "measured"
    )
    if not fresh or bottom is None:
        return None
    sigma = math.hypot(depth.sigma, bottom.sigma, TOUCH_SIGMA_M)
    return Observed(depth.value - bottom.value, sigma, "entered", f"touch, {said[-1].source}")


def _within(value: Observed | None, low: float | None, high: float | None) -> bool | None:
    """Whether a value is within what is wanted; None: wanted, and not known."""
    if low is None and high is None:
        return True
    if value is None:
        return None
    return (low is None or value.value >= low) and (high is None or value.value <= high)


def _noted(frames: Sequence[Frame], rod: str) -> dict[str, Observed]:
    """What sensors at the rod and the crew said."""
    found = {}
    for kind, quantity in NOTED.items():
        said = [frame.seen[rod][kind] for frame in frames if kind in frame.seen.get(rod, {})]
        if not said:
            continue
        source = said[-1].q.source
        origin: Origin = "entered" if source in ENTERED else "measured"
        observed = _mean([seen.q for seen in said], origin, WORD_SIGMA if said[-1].word is not None else None)
        if observed is not None:
            found[quantity] = observed
    return found


def _of_boat(frames: Sequence[Frame]) -> dict[str, Observed]:
    """What is the same for all rods."""
    found = {}
    for name, quantity in OF_BOAT.items():
        found[quantity] = _mean([frame.boat[name] for frame in frames if name in frame.boat], "measured")
    found["heading_rad"] = _direction(
        [frame.boat["heading_rad"] for frame in frames if "heading_rad" in frame.boat]
    )
    found["surface_current"] = _current(frames)
    rates = [q for frame in frames if (q := _usable(frame, "rate_of_turn_radps")) is not None]
    if rates:
        turned = [math.copysign(1.0, r) if abs(r) > TURNING_RADPS else 0.0 for r, _ in rates]
        found["turn_side"] = Observed(sum(turned) / len(turned), TURN_SIGMA, "measured", rates[-1][1])
    return {name: observed for name, observed in found.items() if observed is not None}


def _usable(frame: Frame, name: str) -> tuple[float, str] | None:
    """A boat quantity's value and source, if it may be used."""
    q = frame.boat.get(name)
    return (q.value, q.source) if q is not None and q.value is not None and q.state in USABLE else None


def _sigma(q: Q) -> float | None:
    """1 sigma of a published number from its band."""
    return (q.high - q.low) / (2.0 * Z90) if q.low is not None and q.high is not None else None


def _mean(qs: Sequence[Q], origin: Origin, sigma: float | None = None) -> Observed | None:
    """Mean of what is usable, with the mean of its sigmas: errors of one minute go together. None: nothing is."""
    good = [(q.value, sigma or _sigma(q)) for q in qs if q.value is not None and q.state in USABLE]
    sized = [(value, error) for value, error in good if error]
    if not sized:
        return None
    value, error = (sum(column) / len(sized) for column in zip(*sized, strict=True))
    return Observed(value, error, origin, qs[-1].source)


def _direction(qs: Sequence[Q]) -> Observed | None:
    """The same of directions [rad]."""
    spread = _mean(qs, "measured")
    if spread is None:
        return None
    total = sum(cmath.rect(1.0, q.value) for q in qs if q.value is not None and q.state in USABLE)
    return Observed(cmath.phase(total), spread.sigma, "measured", spread.where)


def _current(frames: Sequence[Frame]) -> Observed | None:
    """The current of the surface layer as drift [m/s] and set [rad], north and east averaged apart."""
    pairs = [(_usable(frame, "drift_mps"), _usable(frame, "set_rad")) for frame in frames]
    known = [cmath.rect(drift[0], toward[0]) for drift, toward in pairs if drift and toward]
    spread = _mean([frame.boat["drift_mps"] for frame in frames if "drift_mps" in frame.boat], "worked out")
    if not known or spread is None:
        return None
    mean = sum(known) / len(known)
    return Observed(abs(mean), spread.sigma, "worked out", spread.where, cmath.phase(mean))
