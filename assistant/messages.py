"""Every type that crosses a folder. Frozen, SI units, the unit in the name.

Axes of everything people see: x forward, y starboard, z down, origin at the boat's reference point on the
still water surface. Angles [rad] clockwise from true north in [0, 2 pi). `set_rad` is the direction the water
moves TOWARD. `t_s` [s] runs from the first input and strictly increases. None = unknown; never 0.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

State = Literal["ok", "doubtful", "stale", "dead"]
Priority = Literal["alarm", "warning", "caution"]
Mode = Literal["live", "simulated", "replayed"]
RodState = Literal["aboard", "going out", "fishing", "fish on", "coming in", "unknown"]
Side = Literal["port", "starboard", "centre"]
OutlookKind = Literal[
    "straight", "turn", "fish", "speed"
]  # as it goes; turning; stopping for a fish; other speed

STATES: tuple[State, ...] = ("ok", "doubtful", "stale", "dead")
"""From best to worst: the weakest needed input decides."""

BOAT_QUANTITIES: Mapping[str, str] = {
    "stw_mps": "m/s",  # speed through the water
    "heading_rad": "rad",  # true
    "sog_mps": "m/s",
    "cog_rad": "rad",
    "set_rad": "rad",  # the surface layer moves TOWARD this
    "drift_mps": "m/s",
    "water_depth_m": "m",  # below the surface
    "water_temp_c": "degC",
    "rate_of_turn_radps": "rad/s",  # + to starboard
    "lat_deg": "deg",
    "lon_deg": "deg",
}
"""Published name of each boat quantity and its unit."""

LINE_QUANTITIES: Mapping[str, str] = {
    "depth_m": "m",  # lure below the surface
    "swing_m": "m",  # lure from the rod tip, + to starboard
    "setback_m": "m",  # lure from the rod tip, + astern
    "tension_n": "N",  # at the rod tip
    "lure_speed_mps": "m/s",  # lure through the water where the lure is
}
"""Published name of each line quantity and its unit."""

CHECKSUMS_IGNORED = "checksums=ignored"
"""At the end of a source's name: its wrong checksums are accepted, and all it says is doubtful."""

OWN_LABEL = "spreadwatch"
"""First part of the source of every Signal K delta of ours; deltas from it are never taken in."""

OWN_PATHS = "fishing.lines."
"""Begins every Signal K path of a line; a source that says one is us, under whatever name a server gives it."""

Z90 = 1.2815515655446004
"""Standard normal 90 % quantile: low/high of a value with a normal error are value -/+ Z90 sigma."""


# --- inputs: recorded as they came -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sentence:
    """One framed sentence (checksum already verified), without line end."""

    t_s: float
    source: str  # the source's URL as configured, e.g. "udp:10110"
    text: str


@dataclass(frozen=True, slots=True)
class LineSetting:
    """What the operator set on one rod; None leaves a field as it was."""

    t_s: float
    rod: str
    line_out_m: float | None = None  # on the counter
    setting: float | str | None = None  # planer dial: a number, or one of its labels
    rod_state: RodState | None = None
    tripped: bool | None = None
    cleaned: bool | None = None  # True: water fleas were wiped off the line just now


@dataclass(frozen=True, slots=True)
class Note:
    """What a sensor on or below one rod measured, or the crew saw there; `kind` is one of sensing.below.KINDS."""

    t_s: float
    rod: str
    kind: str
    value: float | str  # SI, or one of the kind's words
    source: str  # "typed", "mqtt"
    sigma: float | None = None  # in the unit of the value; None: the usual one of its kind
    depth_m: float | None = None  # where it holds, below the surface; None: wherever the rod's tackle is


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened, as the crew said it; `kind` is one of outings.happenings.KINDS."""

    t_s: float
    kind: str
    rod: str | None = None  # None: nobody said which
    value: float | str | None = None
    source: str = "typed"  # "typed", "mqtt", "page"
    corrects: int | None = None  # number in the outing of the event that this one replaces
    number: int | None = None  # its own number in the outing; None: not recorded


@dataclass(frozen=True, slots=True)
class AlertAction:
    """What the crew did about an alert; without a key, about all of them."""

    t_s: float
    kind: Literal["acknowledge", "mute", "shelve"]
    key: str | None = None
    seconds: float = 900.0  # of a shelved one


@dataclass(frozen=True, slots=True)
class Reading:
    """One decoded value in SI. `quantity` is one of sensing.nmea.QUANTITIES."""

    t_s: float
    quantity: str
    value: float
    source: str  # "<source>/<sentence>", e.g. "udp:10110/VHW"


@dataclass(frozen=True, slots=True)
class Accepted:
    """A Reading that passed the gate of its quantity, with what the gate knows of its channel."""

    reading: Reading
    stale_after_s: float
    dead_after_s: float
    unproven: int = 0  # good readings still wanted after a fault; 0 = trusted
    doubt: str = ""  # why it is doubted although it passed, in words


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything that arrived up to and including `t_s`, the next instant of the 4 Hz grid."""

    t_s: float
    sentences: tuple[Sentence, ...] = ()
    settings: tuple[LineSetting, ...] = ()
    notes: tuple[Note, ...] = ()
    actions: tuple[AlertAction, ...] = ()
    events: tuple[Event, ...] = ()  # recorded each on its own, not with the step
    utc: str | None = None  # ISO 8601 of this instant when a replay clock knows it better
    settle: bool = False  # after a gap of more than 60 s: lines settle anew
    outlook: Outlook | None = None  # the newest forecast, in the step after it was made


# --- what is foreseen: made beside the flow, recorded like any input ---------------------------

Banded = tuple[float | None, ...]
"""Value, 10 % and 90 % quantile at one instant after the other, 3 K numbers; None where nothing is known."""


@dataclass(frozen=True, slots=True)
class Extreme:
    """The most or least of something over the time ahead, with its band, and when [s from the Outlook's t_s]."""

    value: float | None
    low: float | None
    high: float | None
    at_s: float | None


@dataclass(frozen=True, slots=True)
class RodOutlook:
    """One rod's line over the time ahead; see ahead.outlook.LineAhead."""

    rod: str
    firm: bool  # fishing: its state is known and still
    depth_m: Banded
    lure_speed_mps: Banded
    rise_m: Extreme
    sink_m: Extreme
    slowest_mps: Extreme
    fastest_mps: Extreme
    pull_n: Extreme  # the peak, at the rod tip
    bottom_gap_m: Banded | None = None  # None: there are no soundings at all
    bottom_least_m: Extreme | None = None
    bottom_known: float = 0.0
    bottom_cause: str = ""


@dataclass(frozen=True, slots=True)
class PairOutlook:
    """Two lines where they come closest, and the place then: forward, starboard, down of the boat."""

    rods: tuple[str, str]
    gap_m: Extreme
    place_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast as it is recorded: fewer instants, numbers rounded. Its age at t is t - t_s."""

    t_s: float  # of the lines and the boat it starts from
    kind: OutlookKind
    about: str  # the manoeuvre in words
    times_s: tuple[float, ...]  # (K,) from t_s, the first 0
    state: State = "ok"  # of the weakest input it rests on
    cause: str = ""  # why that is not ok
    stops: tuple[tuple[float, float], ...] = ()  # of a turn: (angle [rad, + to starboard], weight) each
    rate_radps: float = 0.0  # of a turn
    under_way: bool = False  # the boat turns at that rate already
    speed_mps: float | None = None  # through the water, to change to; None: as it is
    rods: tuple[RodOutlook, ...] = ()
    pairs: tuple[PairOutlook, ...] = ()  # those that come near each other, the closest first
    lost: Mapping[str, str] = field(default_factory=dict)  # rods of which nothing is said, and why


# --- estimates ---------------------------------------------------------------------------------


class Estimate(NamedTuple):
    """A number with its worth. DEAD carries value None. `cause` says why it is not ok."""

    value: float | None = None
    sigma: float | None = None
    state: State = "dead"
    age_s: float | None = None
    source: str = "none"
    cause: str = ""


UNKNOWN = Estimate()


@dataclass(frozen=True, slots=True)
class Misfit:
    """An instrument whose calibration no longer fits what GPS says, over many headings."""

    what: str  # "speed log" or "compass"
    off: float  # speed log: true over shown, less 1; compass [rad]: what the heading lacks
    sigma: float  # of that
    limit: float  # beyond which it is said


@dataclass(frozen=True, slots=True)
class BoatState:
    """The boat at one instant; one Estimate per name of BOAT_QUANTITIES."""

    t_s: float
    utc: str | None = None
    stw_mps: Estimate = UNKNOWN
    heading_rad: Estimate = UNKNOWN
    sog_mps: Estimate = UNKNOWN
    cog_rad: Estimate = UNKNOWN
    set_rad: Estimate = UNKNOWN
    drift_mps: Estimate = UNKNOWN
    water_depth_m: Estimate = UNKNOWN
    water_temp_c: Estimate = UNKNOWN
    rate_of_turn_radps: Estimate = UNKNOWN
    lat_deg: Estimate = UNKNOWN
    lon_deg: Estimate = UNKNOWN
    misfits: tuple[Misfit, ...] = ()  # calibrations that no longer fit
    stw_extremes_mps: tuple[float, float] | None = None  # least and most that the log read in the last waves


class Q(NamedTuple):
    """A published number: SI value with its 10 % and 90 % quantiles, state, age [s] and source."""

    value: float | None
    low: float | None
    high: float | None
    unit: str
    state: State
    age_s: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest word on one kind at one rod. What is said in words has its place in their order as value."""

    q: Q
    word: str | None = None
    depth_m: float | None = None  # where it holds, below the surface; None: wherever the rod's tackle is


@dataclass(frozen=True, slots=True)
class LineState:
    """One rod's line at one instant: a Q per name of LINE_QUANTITIES, what is odd about it, and its curve."""

    t_s: float
    rod: str
    depth_m: Q
    swing_m: Q
    setback_m: Q
    tension_n: Q
    lure_speed_mps: Q
    conditions: tuple[str, ...] = ()  # "tripped", "line folding", "not digging", "outside tested range" ...
    rod_state: RodState = "unknown"
    shape_m: tuple[tuple[float, float, float], ...] = ()  # (N, 3) boat axes, rod tip first, lure last
    limited_by: Mapping[str, str] = field(default_factory=dict)  # per quantity: what widens its band most


@dataclass(frozen=True, slots=True)
class Alert:
    """One situation to tell; `phase` is "active", "acknowledged" or "gone"."""

    t_s: float  # since when it stands
    key: str
    rod: str | None  # where it is about one rod only
    priority: Priority
    text: str
    phase: str
    rods: tuple[str, ...] = ()
    evidence: Mapping[str, float | str | None] = field(
        default_factory=dict
    )  # value, limit, low, high, unit, age_s
    audible: bool = True
    silent: str = ""  # why it makes no sound, where the state of the boat decides that
    said: str = ""  # as spoken: the rod first, eight words at most; empty: nothing is spoken
    under: tuple[str, ...] = ()  # what follows from it, in words


@dataclass(frozen=True, slots=True)
class Quiet:
    """What the judge of quiet spells last said; no figures: those are for the report."""

    t_s: float  # when it was judged
    word: str  # "usual", "unusual", "rare", "cannot tell"
    strike_s: float | None  # t_s of the last strike
    reason: str  # what is likely, or "cannot tell"
    trial: str  # the cheapest test
    differs: tuple[str, ...] = ()  # what physically differs at the lures, largest first
    suspects: tuple[str, ...] = ()  # lines that may be fouled, dragging or tripped


@dataclass(frozen=True, slots=True)
class Frame:
    """The one thing published, shown and compared."""

    t_s: float
    utc: str | None
    seq: int
    mode: Mode
    boat: Mapping[str, Q]
    lines: Mapping[str, LineState]
    alerts: tuple[Alert, ...] = ()
    seen: Mapping[str, Mapping[str, Seen]] = field(default_factory=dict)  # by rod and kind
    degraded: tuple[str, ...] = ()  # names of the modes in which something stands in, or nothing does
    quiet: Quiet | None = None  # None before the first strike that anybody told
    stw_extremes_mps: tuple[float, float] | None = None  # as in BoatState
