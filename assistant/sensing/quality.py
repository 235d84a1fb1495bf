"""The gate every decoded value passes: one table row per quantity, one channel per quantity and source.

A checksum is not enough (one damaged line in several hundred passes it by luck), so a value must also lie
in its range and be reachable from the last accepted one; after a jump the new level must be confirmed by
further readings that agree among themselves. After a fault (silence or a confirmed jump) a channel is
unproven until RECOVERY good readings have come. The first data of a channel need the same
confirmation, no more.

A live sensor's numbers flicker, each one as often as its resolution and the waves make it. A run of one and the
same number that would be a miracle at the rate the channel usually repeats itself is called FROZEN; whether that
matters (a boat at rest has a constant heading) is for the estimate to say.

Ranges and rates are common practice, no source: generous for a boat under 30 kn, tight enough that a
single wrong digit in a sentence seldom passes. Stale and dead times: a few missed sentences of an instrument
that sends once a second, then 15 s (temperature 5 min).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from assistant.messages import CHECKSUMS_IGNORED, Accepted, Reading

RECOVERY = 10
"""Good readings wanted after a fault before a channel is trusted again."""

RATE_HORIZON_S = 5.0  # a silence longer than this widens the allowed change no further
MEDIAN_OF = 9  # intervals kept per channel
MEDIAN_MIN = 5  # fewer say nothing about a source's own rhythm
SLOWEST_S = 10.0  # a source slower than this is not waited for
REFUSED_GAIN = 0.03  # the share of refused readings is averaged over the last 30 or so
REFUSED_LIMIT = 0.5  # above it most readings contradict the held value: it is not to be trusted
# A sounder that has lost the bottom says anything, and again and again for some seconds what a shoal or the thermocline
# sends back: where one reading in five was refused lately, none is to be trusted
LOST_BOTTOM = 0.2
STALE_INTERVALS = 3.0
DEAD_INTERVALS = 5.0

SAME_ODDS = 1e-9  # a run of equal numbers less likely than this is no measurement any more
SAME_S = 2.5  # and it has lasted this long
SAME_GAIN = 1.0 / 60.0  # the share of repeats is averaged over the last 60 readings or so
SAME_LEARNED = 60  # the longest run that is learned from: a calm becomes usual, not a frozen hour
FROZEN = "frozen: the same number again and again"
UNCHECKED = "from a source whose checksums are ignored"


@dataclass(frozen=True, slots=True)
class Gate:
    """What is believable of one quantity, in its SI unit."""

    low: float
    high: float
    step: float  # change believable between two readings however close
    rate: float  # [1/s] change believable per second on top of it
    stale_s: float
    dead_s: float = 15.0
    relative: float = 0.0  # change believable as a share of the value, on top of it
    confirm: int = 2  # readings that must agree, out of one more, after a jump
    refused_limit: float = REFUSED_LIMIT
    confirm_first: int = 2  # the same before the first value
    period: float | None = None  # of a quantity that wraps
    same_above: float = math.inf  # a number above this that never changes is suspicious
    same_share: float = (
        0.45  # how often it repeats itself at least, however lively it was: the waves may lie down
    )


DEG = math.pi / 180.0

# a small boat spins at up to 30 deg/s and yaws several degrees in waves
HEADING = Gate(
    low=0.0,
    high=math.tau,
    step=12 * DEG,
    rate=30 * DEG,
    stale_s=3.0,
    period=math.tau,
    same_above=-math.inf,
)

# 0.0 is how a sounder says "no bottom"; slopes to 45 degrees at trolling speed
SOUNDING = Gate(
    low=0.15, high=1500.0, step=1.0, rate=1.5, relative=0.1, stale_s=5.0, confirm=3, refused_limit=LOST_BOTTOM
)

TABLE: Mapping[str, Gate] = MappingProxyType(
    {
        # a wheel freed of weed jumps by the whole trolling speed in one reading
        "stw_mps": Gate(low=0.0, high=15.0, step=1.0, rate=1.0, stale_s=3.0, same_above=0.05),
        "heading_true_rad": HEADING,
        "heading_magnetic_rad": HEADING,
        # within the extremes met away from the magnetic poles; rounded to a degree by some sources
        "variation_rad": Gate(
            low=-60 * DEG, high=60 * DEG, step=1.5 * DEG, rate=0.0, stale_s=60.0, dead_s=600.0
        ),
        "sog_mps": Gate(low=0.0, high=30.0, step=1.0, rate=1.5, stale_s=4.0, same_above=0.3, same_share=0.6),
        # the course of a boat at rest is noise: its jumps are judged as a velocity, in estimate/ground.py
        "cog_rad": Gate(
            low=0.0,
            high=math.tau,
            step=math.pi,
            rate=0.0,
            stale_s=4.0,
            period=math.tau,
            same_above=-math.inf,
            same_share=0.15,
        ),
        "rate_of_turn_radps": Gate(low=-45 * DEG, high=45 * DEG, step=15 * DEG, rate=10 * DEG, stale_s=3.0),
        "depth_below_transducer_m": SOUNDING,
        "depth_below_surface_m": SOUNDING,
        "transducer_offset_m": Gate(low=-10.0, high=10.0, step=20.0, rate=0.0, stale_s=60.0, dead_s=600.0),
        # real logs hold single sentences of 0.0, and one in four 2.5 degrees low for an hour on end
        "water_temp_c": Gate(
            low=-2.0, high=40.0, step=0.8, rate=0.1, stale_s=30.0, dead_s=300.0, confirm=10, confirm_first=3
        ),
        "lat_deg": Gate(
            low=-90.0, high=90.0, step=0.0005, rate=0.0003, stale_s=4.0, same_above=-math.inf, same_share=0.1
        ),
        # a degree of longitude is shorter than one of latitude, so a boat crosses more of them
        "lon_deg": Gate(
            low=-180.0,
            high=180.0,
            step=0.001,
            rate=0.0006,
            stale_s=4.0,
            period=360.0,
            same_above=-math.inf,
            same_share=0.1,
        ),
        # on or below a rod: see below.py. A ball surges with the boat; a rod's pull follows every wave
        "ball_speed_mps": Gate(low=0.0, high=5.0, step=1.0, rate=0.5, stale_s=15.0, dead_s=120.0),
        "ball_temp_c": Gate(low=-2.0, high=40.0, step=2.0, rate=0.5, stale_s=30.0, dead_s=300.0, confirm=3),
        "pull_n": Gate(low=0.0, high=2000.0, step=200.0, rate=200.0, stale_s=5.0, relative=0.5),
        # line runs out at up to 3 m/s under a falling ball
        "logged_depth_m": Gate(low=0.0, high=600.0, step=2.0, rate=3.0, stale_s=30.0, dead_s=300.0),
        "lean_rad": Gate(low=0.0, high=90 * DEG, step=30 * DEG, rate=30 * DEG, stale_s=5.0),
    }
)
"""Gate by quantity; a quantity without a row is never accepted."""


class Channel(NamedTuple):
    """What the gate remembers of one quantity from one source."""

    arrived_s: float  # last reading, good or not
    accepted_s: float = -math.inf
    value: float | None = None
    pending: tuple[tuple[float, float], ...] = ()  # (t_s, value) waiting for others that agree
    unproven: int = 0
    refused: float = 0.0  # share of the latest readings
    intervals_s: tuple[float, ...] = ()
    same: int = 0  # readings equal to the held value, without a break
    same_since_s: float = math.inf
    same_share: float = 0.5  # of all readings, how many repeat the one before
    frozen: bool = False


@dataclass(frozen=True, slots=True)
class GateState:
    """All channels, and how many readings were refused by (quantity, reason). Never changed in place."""

    channels: Mapping[tuple[str, str], Channel] = field(default_factory=dict)
    rejects: Mapping[tuple[str, str], int] = field(default_factory=dict)


def gate(state: GateState, reading: Reading) -> tuple[GateState, Accepted | None, str | None]:
    """Judge one reading.

    Args:
        state: as left by the last reading; stays valid.
        reading: in order of arrival within its source.

    Returns:
        The new state; the reading with its channel's limits, or None; the reason of a refusal, or None:
        "unused" (a quantity without a row; not counted), "not finite", "out of range", "late",
        "jump" (from the held value), "unconfirmed" (no held value to compare with).
    """
    row = TABLE.get(reading.quantity)
    if row is None:
        return state, None, "unused"
    if not (math.isfinite(reading.value) and math.isfinite(reading.t_s)):
        return _refuse(state, reading, "not finite")
    if not row.low <= reading.value <= row.high:
        return _refuse(state, reading, "out of range")
    key = (reading.quantity, reading.source)
    channel = state.channels.get(key) or Channel(reading.t_s)
    if reading.t_s < channel.arrived_s:
        return _refuse(state, reading, "late")
    intervals_s = _rhythm(channel, reading.t_s)
    limits = limits_s(row, intervals_s)
    channel, reason = _judge(row, channel, reading.t_s, reading.value, intervals_s, limits)
    state = GateState({**state.channels, key: channel}, state.rejects)
    if reason is not None:
        return _refuse(state, reading, reason)
    doubt = UNCHECKED if CHECKSUMS_IGNORED in reading.source else FROZEN if channel.frozen else ""
    return state, Accepted(reading, *limits, channel.unproven, doubt), None


def limits_s(row: Gate, intervals_s: tuple[float, ...]) -> tuple[float, float]:
    """Stale-after and dead-after [s]: the row's, or a multiple of a slow source's own median interval."""
    if len(intervals_s) < MEDIAN_MIN:
        return row.stale_s, row.dead_s
    median_s = min(sorted(intervals_s)[len(intervals_s) // 2], SLOWEST_S)
    return max(row.stale_s, STALE_INTERVALS * median_s), max(row.dead_s, DEAD_INTERVALS * median_s)


def _judge(
    row: Gate,
    old: Channel,
    t_s: float,
    value: float,
    intervals_s: tuple[float, ...],
    limits: tuple[float, float],
) -> tuple[Channel, str | None]:
    """Accept, or keep the reading as a witness for the next ones and say why it was refused."""
    silent_s = t_s - old.accepted_s
    stale_s, dead_s = limits
    held = old.value if silent_s <= dead_s else None
    share = old.refused
    if held is not None and _reachable(row, held, value, silent_s):
        unproven = RECOVERY - 1 if silent_s > stale_s else max(0, old.unproven - 1)
        return _compare(row, old, _hold(row, t_s, value, unproven, share, intervals_s)), None
    witnesses = sum(_reachable(row, v, value, t_s - t) for t, v in old.pending)
    first_ever = old.value is None
    needed = row.confirm_first if first_ever else row.confirm
    if witnesses + 1 >= needed:
        return _hold(row, t_s, value, 0 if first_ever else RECOVERY - 1, share, intervals_s), None
    pending = (*old.pending, (t_s, value))[-needed:]
    reason = "unconfirmed" if held is None else "jump"
    if held is not None:
        share += REFUSED_GAIN * (1.0 - share)
    kept = old._replace(
        arrived_s=t_s, pending=pending, refused=share, intervals_s=intervals_s, same=0, same_since_s=math.inf
    )
    return kept, reason


def _compare(row: Gate, old: Channel, new: Channel) -> Channel:
    """Count how long the channel has said the same; judge it by how often it usually repeats itself."""
    if new.value != old.value:
        alike = min(old.same, SAME_LEARNED)
        share = (1.0 - (1.0 - old.same_share) * (1.0 - SAME_GAIN) ** alike) * (1.0 - SAME_GAIN)
        unproven = RECOVERY - 1 if old.frozen else new.unproven
        return new._replace(same_share=share, unproven=unproven)
    same = old.same + 1
    since_s = min(old.same_since_s, old.accepted_s)
    long = new.accepted_s - since_s >= SAME_S and old.value is not None and old.value > row.same_above
    odds = max(row.same_share, old.same_share) ** same
    return new._replace(
        same=same,
        same_since_s=since_s,
        same_share=old.same_share,
        frozen=long and odds < SAME_ODDS,
    )


def _hold(
    row: Gate, t_s: float, value: float, unproven: int, refused: float, intervals_s: tuple[float, ...]
) -> Channel:
    refused *= 1.0 - REFUSED_GAIN
    if refused > row.refused_limit:
        unproven = max(1, unproven)
    return Channel(t_s, t_s, value, (), unproven, refused, intervals_s)


def _reachable(row: Gate, old: float, new: float, dt_s: float) -> bool:
    change = abs(new - old)
    if row.period is not None:
        change = min(change % row.period, -change % row.period)
    return change <= row.step + row.rate * min(dt_s, RATE_HORIZON_S) + row.relative * abs(old)


def _rhythm(channel: Channel, t_s: float) -> tuple[float, ...]:
    """The source's latest intervals [s]; two values of one instant are one beat."""
    interval_s = t_s - channel.arrived_s
    if interval_s < 0.02:
        return channel.intervals_s
    return (*channel.intervals_s, interval_s)[-MEDIAN_OF:]


def _refuse(state: GateState, reading: Reading, reason: str) -> tuple[GateState, None, str]:
    key = (reading.quantity, reason)
    rejects = {**state.rejects, key: state.rejects.get(key, 0) + 1}
    return GateState(state.channels, rejects), None, reason
