"""What a configuration file may hold: one row per key with its check, its meaning, whether it must be there.

A check takes the raw TOML value and returns it in SI; it raises ValueError with what is allowed. A new key is
one row here and one field of the type in messages.py (and its line in README.md: a test looks).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from assistant.units import parse_length_m

Check = Callable[[object], object]


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its check, what it means, and whether a file without it is refused."""

    name: str
    check: Check
    about: str
    required: bool = False


def number(low: float, high: float, unit: str = "") -> Check:
    """A finite number [unit] within low..high, ends included."""
    allowed = f"a number {low:g}..{high:g} {unit}".rstrip()

    def check(raw: object) -> float:
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            raise ValueError(f"want {allowed}")
        # An integer may be too long for a float: compare before converting.
        if not low <= raw <= high:
            raise ValueError(f"want {allowed}")
        return float(raw)

    return check


def whole(low: int, high: int) -> Check:
    """A whole number within low..high, ends included."""

    def check(raw: object) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int) or not low <= raw <= high:
            raise ValueError(f"want a whole number {low}..{high}")
        return raw

    return check


def length(low_m: float, high_m: float) -> Check:
    """A length with its unit such as "175 ft", within low..high [m]."""
    allowed = f'a length with its unit (ft, m, yd, in), such as "12 ft", {low_m:g}..{high_m:g} m'

    def check(raw: object) -> float:
        if not isinstance(raw, str) or len(raw) > 40:
            raise ValueError(f"want {allowed}")
        try:
            value_m = parse_length_m(raw)
        except ValueError:
            raise ValueError(f"want {allowed}") from None
        if raw.strip()[-1:].isdigit() or not math.isfinite(value_m) or not low_m <= value_m <= high_m:
            raise ValueError(f"want {allowed}")
        return value_m

    return check


def text(pattern: str, words: str) -> Check:
    """A text that matches `pattern` from end to end; `words` says the same to people."""

    def check(raw: object) -> str:
        if not isinstance(raw, str) or not re.fullmatch(pattern, raw):
            raise ValueError(f"want {words}")
        return raw

    return check


def choice(*names: str) -> Check:
    """One of `names`."""

    def check(raw: object) -> str:
        if not isinstance(raw, str) or raw not in names:
            raise ValueError("want one of " + ", ".join(f'"{name}"' for name in names))
        return raw

    return check


def yes_or_no(raw: object) -> bool:
    """True or false."""
    if not isinstance(raw, bool):
        raise ValueError("want true or false")
    return raw


def label(raw: object) -> str:
    """A mark on a dial as its label: 1 and 1.0 are the label "1"."""
    text_of = f"{raw:g}" if isinstance(raw, int | float) and not isinstance(raw, bool) else raw
    if not isinstance(text_of, str) or not re.fullmatch(r"[A-Za-z0-9.+-]{1,8}", text_of):
        raise ValueError("want a label of 1..8 of A-Z a-z 0-9 . + -")
    return text_of


def dial_mark(raw: object) -> float | str:
    """A number on a dial, or a label; which of them fits is for the body to say."""
    if isinstance(raw, str):
        return label(raw)
    return number(-10.0, 10.0)(raw)  # type: ignore[return-value]  # a number gives a float


def angles(raw: object) -> Mapping[str, float]:
    """A table from labels to angles [deg]."""
    if not isinstance(raw, dict) or not 1 <= len(raw) <= 30:
        raise ValueError('want a table of 1..30 labels such as { "0" = 0, "A" = 22 }')
    within = number(0.0, 89.0, "degrees")
    return {label(name): within(value) for name, value in raw.items()}  # type: ignore[misc]  # floats


def texts(pattern: str, words: str) -> Check:
    """A list of at most 16 texts that match `pattern`."""
    one = text(pattern, words)

    def check(raw: object) -> tuple[object, ...]:
        if not isinstance(raw, list) or len(raw) > 16:
            raise ValueError(f"want a list of at most 16, each {words}")
        return tuple(one(item) for item in raw)

    return check


def deviations(raw: object) -> tuple[tuple[float, float], ...]:
    """A compass's table of deviations: pairs of a reading and what to add to it [deg], by reading."""
    if not isinstance(raw, list) or not 2 <= len(raw) <= 72:
        raise ValueError("want 2..72 pairs such as [[0, 1.5], [90, -2.0], [180, -1.0], [270, 1.5]]")
    reading, deviation = number(0.0, 360.0, "degrees"), number(-45.0, 45.0, "degrees")
    pairs = []
    for pair in raw:
        if not isinstance(pair, list) or len(pair) != 2:
            raise ValueError("want pairs [reading, what to add] in degrees")
        pairs.append((reading(pair[0]) % 360.0, deviation(pair[1])))  # type: ignore[operator]  # floats
    if len({at for at, _ in pairs}) != len(pairs):
        raise ValueError("want every reading once; 0 and 360 are the same")
    return tuple(sorted(pairs))  # type: ignore[arg-type]  # floats


LINE_OF_TEXT = text(r"[^\x00-\x1f\x7f]{1,120}", "a text of 1..120 characters on one line")
ROD_NAME = text(r"[A-Za-z0-9_-]{1,12}", "1..12 of A-Z a-z 0-9 _ -")
PART_NAME = text(r"[a-z0-9-]{1,40}", "the name of a file there, without .toml: 1..40 of a-z 0-9 -")

BROKER = text(r"none|embedded(:[0-9]{1,5})?|mqtts?://[!-~]{1,200}", "none, embedded or mqtt(s)://host:port")

VESSEL = text(
    r"urn:mrn:imo:mmsi:[2-7][0-9]{8}"
    r"|urn:mrn:signalk:uuid:[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}",
    "urn:mrn:imo:mmsi: and nine digits, or urn:mrn:signalk:uuid: and a UUID of version 4 in small letters",
)

BOAT_KEYS = (
    Key("id", text(r"[a-z0-9-]{1,40}", "1..40 of a-z 0-9 -"), "the <boat> of the topics", required=True),
    Key("title", LINE_OF_TEXT, "the boat's name as shown", required=True),
    Key("units", choice("angler", "metric"), "ft, mph, lb, F or metric"),
    Key("variation_deg", number(-180.0, 180.0, "degrees"), "+ east; used when no sentence brings one"),
    Key("speed_log_factor", number(0.3, 3.0), "true speed through the water = factor x reading"),
    Key("compass_offset_deg", number(-180.0, 180.0, "degrees"), "true heading = reading + offset"),
    Key("compass_deviation", deviations, "pairs of a magnetic reading and what to add to it, in degrees"),
    Key("prefer", texts(r"[!-~]{1,200}", "a source such as udp:10110"), "sources, best first"),
    Key("sounder_below_surface_m", number(0.0, 10.0, "m"), "added when the sounder sends no offset"),
    Key("water_density_kg_m3", number(990.0, 1050.0, "kg/m3"), "999 fresh, about 1025 in the sea"),
    Key("deep_layer_set_deg", number(-360.0, 360.0, "degrees"), "true direction the deep layer moves toward"),
    Key("deep_layer_drift_mps", number(0.0, 2.0, "m/s"), "how fast, relative to the surface layer"),
    Key("deep_layer_sigma_mps", number(0.0, 1.0, "m/s"), "how far the deep layer may be off that, 1 sigma"),
    Key("deep_layer_depth_m", number(1.0, 200.0, "m"), "where it begins, the middle of the transition"),
    Key("deep_layer_scale_m", number(0.1, 50.0, "m"), "half the thickness of the transition"),
    Key("gravity_m_s2", number(9.7, 9.9, "m/s2"), "acceleration of free fall"),
    Key("fish_speed_mps", number(0.2, 2.0, "m/s"), "through the water, to fight a fish at with way on"),
    Key(
        "fleas_mm_per_hour",
        lambda raw: raw,
        "a table: value, low, high, source of how fast fleas thicken lines",
    ),
    Key(
        "transducers", lambda raw: raw, "a table: XDR name -> { rod, depth, speed_unit } of a sensor at a rod"
    ),
    Key("sources", texts(r"[!-~]{1,200}", "a source such as udp:10110"), "when no --source is given"),
    Key("broker", BROKER, "when no --broker is given"),
    Key("signalk", yes_or_no, "true: Signal K for others on board, under the page's address"),
    Key("signalk_port", whole(1, 65535), "the same as lines over TCP; wants signalk"),
    Key("signalk_vessel", VESSEL, "the boat's identity in Signal K"),
    Key("outings", text(r"[^\x00-\x1f\x7f]{1,200}", "a folder, or none"), "where outings are kept"),
    Key("speak", yes_or_no, "whether the boat's own computer speaks alerts"),
    Key("page_port", whole(1, 65535), "where the page is served when no --port is given"),
)

ROD_STATE = choice("aboard", "going out", "fishing", "fish on", "coming in", "unknown")

ROD_KEYS = (
    Key("name", ROD_NAME, "short name, used in topics and on the page", required=True),
    Key("side", choice("port", "starboard", "centre"), "the side a planer must run", required=True),
    Key("about", LINE_OF_TEXT, "what it is, in words"),
    Key("tip", lambda raw: raw, "a table: forward, starboard, height"),
    Key("line_out", length(0.5, 600.0), "what the counter shows", required=True),
    Key("rig", lambda raw: raw, "a list of parts from the reel to the hook", required=True),
    Key("counter_zero", choice("tip", "surface"), "where the counter reads 0"),
    Key("counter", lambda raw: raw, "a table: value, low, high, source of true line out / counter reading"),
    Key("rod_state", ROD_STATE, "at the start"),
    Key("attached", lambda raw: raw, "a table: the rod whose line it hangs on, and above or half_way"),
    Key("board", lambda raw: raw, "a table: out, aft, sag_m_per_n of the side board it runs from"),
    Key("rod_length", length(0.3, 6.0), "of the rod"),
    Key("holder_angle_deg", number(-90.0, 90.0, "degrees"), "of the rod above the horizontal"),
    Key("spring_n_m", number(1.0, 1e5, "N/m"), "the rod's spring at its tip"),
    Key("drag_slip_n", number(0.5, 1000.0, "N"), "pull at which the reel gives line"),
)

TIP_KEYS = (
    Key("forward", length(-30.0, 30.0), "of the middle of the boat; negative aft", required=True),
    Key("starboard", length(-15.0, 15.0), "of the middle line; negative to port", required=True),
    Key("height", length(0.0, 10.0), "above the water", required=True),
)

ATTACHED_KEYS = (
    Key("rod", ROD_NAME, "the rod whose line it hangs on", required=True),
    Key("above", length(0.0, 200.0), "above that line's first body, along it"),
    Key("half_way", yes_or_no, "half way up that line"),
)

BOARD_KEYS = (
    Key("out", length(0.5, 100.0), "from the rod tip to the rod's side", required=True),
    Key("aft", length(0.0, 100.0), "of the rod tip with nothing pulling on it", required=True),
    Key(
        "sag_m_per_n",
        lambda raw: raw,
        "a table: value, low, high, source of how far it sags aft",
        required=True,
    ),
)
TRANSDUCER_KEYS = (
    Key("rod", ROD_NAME, "the rod it is on or below", required=True),
    Key("depth", length(0.0, 600.0), "where it hangs, below the surface"),
    Key("speed_unit", choice("m/s", "mph", "kn", "km/h"), "of a value of type G, taken as speed"),
)
SAG_RANGE = number(0.0, 10.0, "m/N")
FLEAS_RANGE = number(0.0, 20.0, "mm/h")

COLOUR_M = 10 * 0.9144  # lead-core changes colour every 10 yd
PART_KEYS = (
    Key("line", PART_NAME, "a file of lines/"),
    Key("length", length(0.1, 400.0), "of this piece; the main line has none, it is as long as the line out"),
    Key("colours", number(0.1, 40.0), "the length of lead-core, 10 yd each; counted within the line out"),
    Key("counted", yes_or_no, "true: its length is part of the line out, as of a top shot"),
    Key("body", PART_NAME, "a file of bodies/"),
    Key("setting", dial_mark, "planers only: the dial, a number or a label"),
)

ANY_NUMBER = number(0.0, 1e6)  # replaced by the range of the coefficient at hand
BAND_KEYS = (
    Key("value", ANY_NUMBER, "the value used", required=True),
    Key("low", ANY_NUMBER, "10 % quantile", required=True),
    Key("high", ANY_NUMBER, "90 % quantile", required=True),
)
SOURCE_KEY = Key(
    "source",
    text(r"[^\x00-\x1f\x7f]{4,400}", "4..400 characters"),
    "where the number comes from",
    required=True,
)

ABOUT = Key("about", LINE_OF_TEXT, "what it is, in words", required=True)
FAMILY = Key("family", LINE_OF_TEXT, "the same word in every file of what is made alike")
SETTING_KEYS = (
    Key("setting_min", number(-10.0, 10.0), "lowest mark of the dial", required=True),
    Key("setting_max", number(-10.0, 10.0), "highest mark of the dial", required=True),
)
LABEL_KEYS = (Key("settings", angles, "each label of the dial with its roll in degrees", required=True),)
SLIDES_KEY = Key("slides", yes_or_no, "true: tripped, it slides down the line to the next body")

COUNTER_RANGE = number(0.5, 1.5)

LINE_COEFFICIENTS: Mapping[str, Check] = {
    "diameter_m": number(5e-5, 0.02, "m"),
    "mass_kg_m": number(1e-6, 1.0, "kg/m"),
    "normal_drag": number(0.1, 5.0),
    "strumming": number(1.0, 4.0),
    "tangential_drag": number(0.0, 0.5),
    "stiffness_n": number(10.0, 1e6, "N"),
}
"""Plausible range of each coefficient of a line type; all are needed but those of OPTIONAL."""

BODY_COEFFICIENTS: Mapping[str, Mapping[str, Check]] = {
    "planer": {
        "plate_area_m2": number(1e-4, 0.2, "m2"),
        "lift_coefficient": number(0.0, 4.0),
        "lift_to_drag": number(0.1, 20.0),
        "roll_per_setting_deg": number(0.0, 45.0, "degrees"),
        "roll_factor": number(0.3, 3.0),
        "mass_kg": number(1e-3, 5.0, "kg"),
        "wet_mass_kg": number(0.0, 5.0, "kg"),
        "added_mass_kg": number(0.0, 10.0, "kg"),
        "tripped_drag_coefficient": number(0.0, 4.0),
    },
    "sphere": {
        "mass_kg": number(1e-3, 50.0, "kg"),
        "density_kg_m3": number(1000.0, 20000.0, "kg/m3"),
        "drag_coefficient": number(0.05, 3.0),
    },
    "lure": {
        "drag_area_m2": number(1e-5, 1.0, "m2"),
        "mass_kg": number(1e-4, 5.0, "kg"),
        "wet_mass_kg": number(0.0, 5.0, "kg"),
        "added_mass_kg": number(0.0, 10.0, "kg"),
    },
    "diver": {
        "drag_area_m2": number(1e-5, 1.0, "m2"),
        "down_area_m2": number(0.0, 1.0, "m2"),
        "mass_kg": number(1e-4, 5.0, "kg"),
        "wet_mass_kg": number(-1.0, 5.0, "kg"),  # many float
        "added_mass_kg": number(0.0, 10.0, "kg"),
    },
}
"""Plausible range of each coefficient by kind of body; all are needed but those of OPTIONAL."""

OPTIONAL = frozenset({"strumming", "roll_per_setting_deg", "roll_factor"})
"""Without strumming a line does not strum; a planer's roll goes with its kind of dial, see config_files.py."""
