"""Every type of the configuration, as config.py validates it and all else reads it. Frozen, SI units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from assistant.messages import RodState, Side


@dataclass(frozen=True, slots=True)
class Coefficient:
    """A physical number, its honest band (10 % and 90 % quantiles) and where it comes from."""

    value: float
    low: float
    high: float
    source: str


@dataclass(frozen=True, slots=True)
class LineType:
    """A kind of line, one file of configs/lines/."""

    name: str  # the file's stem
    about: str
    coefficients: Mapping[str, Coefficient]  # by name, those of config_keys.LINE_COEFFICIENTS
    family: str = ""  # what others are made like it; "": none


@dataclass(frozen=True, slots=True)
class BodyType:
    """A thing tied into a line, one file of configs/bodies/; `kind` chooses its force law in lines/bodies.py."""

    name: str  # the file's stem
    kind: str  # "planer", "sphere", "lure" or "diver"
    about: str
    coefficients: Mapping[str, Coefficient]
    setting_min: float | None = None  # dial range, planers only
    setting_max: float | None = None
    settings: Mapping[str, float] | None = None  # label on the dial -> roll [deg], instead of a dial range
    slides: bool = False  # once tripped the planer slides down the line to the next body
    family: str = ""  # what others are made like it; "": none


@dataclass(frozen=True, slots=True)
class RigPart:
    """One part of a rig, from the reel to the hook: either a line or a body.

    The first line part is the main line (or backing): it is as long as the line out, less the counted parts below it.
    """

    line: str | None = None
    length_m: float | None = None
    body: str | None = None
    setting: float | str | None = None  # planers: a number on the dial, or a label of the body's settings
    counted: bool = False  # its length is part of the line out: a top shot, lead-core, copper below a backing


@dataclass(frozen=True, slots=True)
class Attached:
    """A rod towed from a point of another rod's line: a second release on a cable, a slider."""

    rod: str
    above_m: float | None = None  # above the other line's first body, along it; None: half way up


@dataclass(frozen=True, slots=True)
class Board:
    """A rod towed from a side board: where it runs from the rod tip, and how it sags aft as the line pulls."""

    out_m: float  # to the rod's side
    aft_m: float  # with nothing pulling on it
    sag_m_per_n: Coefficient


UNMARKED = Coefficient(
    1.0, 0.84, 1.07, "spools drawn by their geometry (tests/campaigns/reels.py): unmarked reels read long"
)
"""True line out over the counter's reading of a reel nobody has taped: what it shows, and how far off that can be."""

UNMARKED_CABLE = Coefficient(
    1.0, 0.9, 1.01, "spools drawn by their geometry (tests/campaigns/reels.py): one cable, always wound alike"
)
"""The same of a downrigger."""


@dataclass(frozen=True, slots=True)
class Rod:
    """One rod: where its tip is, what hangs on it, what its counter shows."""

    name: str
    side: Side  # which side a planer set for this rod must run; also orders the page, port to starboard
    about: str
    tip_forward_m: float
    tip_starboard_m: float
    tip_height_m: float
    line_out_m: float  # on the counter, from counter_zero down to the first body
    rig: tuple[RigPart, ...]
    counter_zero: Literal["tip", "surface"] = "tip"  # a downrigger counts from the water
    counter: Coefficient = UNMARKED
    rod_state: RodState = "fishing"
    attached: Attached | None = None
    board: Board | None = None
    rod_length_m: float | None = None
    holder_angle_deg: float | None = None  # of the rod above the horizontal
    spring_n_m: float | None = None  # the rod's spring at its tip
    drag_slip_n: float | None = None  # pull at which the reel gives line


@dataclass(frozen=True, slots=True)
class Transducer:
    """A transducer on or below a rod whose readings come as XDR under a name; its type says what it measures."""

    rod: str
    depth_m: float | None = None  # where it hangs; None: wherever the rod's tackle is
    speed_unit_mps: float = 1.0  # of a generic value (type G): XDR has no type for speed


@dataclass(frozen=True, slots=True)
class BoatConfig:
    """The boat and its sensors; `variation_deg` (+ east) is used when no sentence brings one."""

    id: str  # [a-z0-9-], the <boat> of the topics
    title: str
    units: Literal["angler", "metric"] = "angler"
    variation_deg: float | None = None
    speed_log_factor: float = 1.0  # true speed = factor x reading
    speed_log_curve: tuple[
        tuple[float, float], ...
    ] = ()  # (reading [m/s], factor), in its place where calibrated
    speed_log_sigma: float | None = None  # of the factor, as a share; None: of a log nobody calibrated
    compass_offset_deg: float = 0.0  # true = reading + offset
    compass_deviation: tuple[
        tuple[float, float], ...
    ] = ()  # (magnetic reading, what to add) [deg], by reading
    compass_sigma_deg: float | None = None  # of both together where calibrated
    course_lag_s: float = 0.0  # how far a course over ground trails the compass; negative: the compass trails
    sounder_measured_m: float | None = (
        None  # what a sounding lacks to the depth, as measured: before all else
    )
    prefer: tuple[str, ...] = ()  # sources, best first: they speak before all others
    sounder_below_surface_m: float = 0.0  # added when DPT brings no offset of its own
    water_density_kg_m3: float = 999.0
    deep_layer_set_deg: float = 0.0  # true direction the deep layer moves TOWARD
    deep_layer_drift_mps: float = 0.0  # how fast, relative to the surface layer; 0: nothing is known of it
    deep_layer_sigma_mps: float = 0.15  # how far it may be off that, per component (1 sigma)
    deep_layer_depth_m: float = 15.0  # where it begins, middle of the transition
    deep_layer_scale_m: float = 3.0  # half width of the transition (tanh)
    gravity_m_s2: float = 9.80665
    fish_speed_mps: float = 0.54  # through the water, to fight a fish at with way on
    transducers: Mapping[str, Transducer] = field(default_factory=dict)  # by XDR name
    fleas_mm_per_hour: Coefficient | None = None  # growth of lines' diameter since cleaned; None: none

    def deep_layer_mps(self) -> tuple[float, float]:
        """North and east velocity [m/s] of the deep layer relative to the surface layer."""
        toward = math.radians(self.deep_layer_set_deg)
        return self.deep_layer_drift_mps * math.cos(toward), self.deep_layer_drift_mps * math.sin(toward)


@dataclass(frozen=True, slots=True)
class ReelMark:
    """One taped mark: what the counter showed and how much line was really out."""

    counter_m: float
    true_m: float
    date: str  # ISO, when it was taped
    sigma_m: float = 0.3  # judgement: a counter read to a foot, a tape along a dock


@dataclass(frozen=True, slots=True)
class Reel:
    """One reel of the register; only marks taped since the line last changed say anything about it."""

    name: str
    line: str  # what is counted off it, a file of lines/
    spooled: str  # ISO dates
    rod: str | None = None  # the rod it is on; None: in the box
    marks: tuple[ReelMark, ...] = ()
    respooled: str | None = None
    cut_back: str | None = None
    turn_m: float | None = None  # what the counter shows for one turn of the spool; None: a usual reel
    width_m: float | None = None  # of the spool between its flanges


@dataclass(frozen=True, slots=True)
class Fact:
    """Something known of a whole rig: a depth, or a ratio of two; it ties the coefficients of the parts together."""

    rod: Rod
    says: Coefficient  # the depth [m], or the depth with what is `instead` over the depth without
    lures: tuple[str, ...]  # what the last body may have been, each as likely
    speed_mps: tuple[float, float]  # the range it is told of
    setting: tuple[float, float] | None = None  # of the dial; None: as rigged
    of: Literal["lure", "planer"] = "lure"  # whose depth: the last body's or the first one's
    instead_lure: str | None = None
    instead_speed_mps: float | None = None


@dataclass(frozen=True, slots=True)
class AlertLimits:
    """What the captain wants; what is None or missing is not judged."""

    lure_slow_mps: float | None = None
    lure_fast_mps: float | None = None
    wanted_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)  # by rod, shallow and deep end
    off_bottom_m: float = 1.5  # what is advised keeps lines so far off the bottom ...
    apart_m: float = 1.0  # ... and off each other
    headings_rad: tuple[tuple[float, float], ...] = ()  # that can be run, from, clockwise to; (): nobody said


@dataclass(frozen=True, slots=True)
class Config:
    """Everything configured, validated."""

    boat: BoatConfig
    rods: tuple[Rod, ...]
    lines: Mapping[str, LineType]
    bodies: Mapping[str, BodyType]
    sources: tuple[str, ...] = ()
    broker: str = "none"
    page_port: int = 8620
    signalk: bool = False  # whether the page's server gives Signal K as well
    signalk_port: int | None = None  # where the same is given as lines over TCP; None: nowhere
    signalk_vessel: str = ""  # our vessel's identity; "": one made from the boat's id
    outings: str = ""  # the folder they are kept in; "": the usual one; "none": not recorded
    speak: bool = False  # alerts are spoken by the boat's own computer
    origin: Mapping[str, str] = field(default_factory=dict)  # where each part was read: {"boat": path, ...}
    reels: tuple[Reel, ...] = ()
    facts: tuple[Fact, ...] = ()
    alerts: AlertLimits = AlertLimits()
