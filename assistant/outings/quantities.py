"""What can differ between the minutes before the strikes and now, and which causes of a quiet spell it speaks for.

Two tables; a new quantity or a new cause is one row. Sizes and chances are judgement, for nobody has published them:
they are stated here and nowhere else, and a verdict names them as what they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["plain", "ratio", "direction", "current"]
"""How values are compared: by difference; by the ratio (log); as a direction; as a vector."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of the table of minutes.

    `matters` is the size of change from which on it may well change what fish do: SI units, a log ratio for "ratio",
    the chord of the unit circle for "direction" (1.0 = 60 degrees).
    """

    words: str
    unit: str  # SI, for display
    cause: str  # a key of CAUSES; "": not compared, others are worked out from it
    matters: float
    kind: Kind = "plain"
    usual: float | None = None  # a word of the crew is by its meaning relative to this
    hold_min: float = 0.0  # an entered word holds so long


WORD_HOLDS_MIN = 60.0  # what the crew saw is believed for an hour unless they say otherwise: judgement

QUANTITIES: Mapping[str, Quantity] = {
    # what the lures do
    "lure_speed_mps": Quantity(
        "lure speed", "m/s", "lure speed", 0.13
    ),  # 0.3 mph: common practice, no source
    "depth_m": Quantity("lure depth", "m", "lure depth", 2.4),  # 8 ft: common practice, no source
    "logged_depth_m": Quantity("logged depth", "m", "lure depth", 2.4),
    "lure_temp_c": Quantity(
        "temperature at the lure", "degC", "temperature at the lures", 1.7
    ),  # 3 F: the same
    "fouling_min": Quantity("minutes since cleaned", "min", "fouled lines", 60.0),
    # what shows the lure speed: pull goes with its square, so 0.3 of 2.3 mph is a quarter of it
    "ball_speed_mps": Quantity("speed at the ball", "m/s", "lure speed", 0.13),
    "pull_n": Quantity("pull", "N", "lure speed", 0.25, "ratio"),
    "cable_lean_rad": Quantity("cable lean", "rad", "lure speed", 0.07),  # 4 degrees of 15
    "rod_bend": Quantity("rod bend", "word", "lure speed", 1.0, usual=0.0, hold_min=WORD_HOLDS_MIN),
    "cable_lean_word": Quantity("cables", "word", "lure speed", 1.0, usual=0.0, hold_min=WORD_HOLDS_MIN),
    "deep_current": Quantity("deep current", "m/s", "lure speed", 0.13, "current"),
    # of a weighted line that touched: the slower, the deeper; 0.3 of 2.3 mph is an eighth of its depth
    "touch_m": Quantity(
        "depth worked out less the bottom touched", "m", "lure speed", 2.4, usual=0.0, hold_min=WORD_HOLDS_MIN
    ),
    # the day, and how the boat is run through it
    "light_log10": Quantity("light", "log10 lux", "light", 0.5),  # a factor of three
    "heading_rad": Quantity("heading", "rad", "heading", 1.0, "direction"),
    "turn_side": Quantity("turns", "share to starboard", "turn side", 1.0),  # -1 all to port, +1 to starboard
    "surface_current": Quantity("surface current", "m/s", "surface current", 0.13, "current"),
    "water_temp_c": Quantity("surface temperature", "degC", "place", 1.7),
    "bottom_depth_m": Quantity("bottom depth", "m", "place", 0.25, "ratio"),
    # not compared
    "worked_pull_n": Quantity("pull worked out", "N", "", 0.25, "ratio"),
    "water_speed_mps": Quantity("speed through the water", "m/s", "", 0.13),
}
"""By the name in Minute.seen and RodMinute.seen. Words are entered as -1 (soft, straight), 0 (usual), 1 (hard, far
back)."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be behind a quiet spell, and the cheapest way to find out."""

    chance: float  # that a change well beyond the size that matters cuts the strikes at all
    minutes: float  # a test of it takes
    settles: float  # chance that the test settles it
    steer: str  # what the test does; {} is what the numbers say


AT_THE_LURE = 0.5
"""Judgement: a change well beyond what matters, at the lure itself, is felt in the strikes as likely as not."""
AROUND = 0.02
"""Judgement: light, heading, place and the like change some fifteen times on an ordinary day; if all of that together
cuts the strikes on one day in three, one such change does so one time in fifty."""
UNSEEN = 0.2
"""Judgement: on one day in five something that nobody measures cuts the strikes."""

CAUSES: Mapping[str, Cause] = {
    "lure speed": Cause(AT_THE_LURE, 15.0, 0.9, "{}"),
    "lure depth": Cause(AT_THE_LURE, 15.0, 0.6, "put half of the lines {} for 15 min"),
    "temperature at the lures": Cause(
        AT_THE_LURE, 15.0, 0.6, "put half of the lines back into {} for 15 min"
    ),
    "fouled lines": Cause(AROUND, 10.0, 0.9, "bring in {} and clean it"),
    "light": Cause(AROUND, 30.0, 0.3, "light is not ours to change: put two lines deeper for 30 min"),
    "heading": Cause(AROUND, 15.0, 0.6, "hold {} for 15 min"),
    "turn side": Cause(AROUND, 10.0, 0.4, "turn to {} for once"),
    "surface current": Cause(AROUND, 15.0, 0.4, "hold the course of the strikes for 15 min"),
    "place": Cause(AROUND, 20.0, 0.6, "go back over {} of water for 20 min"),
}
CHANCE = "chance"
SOMETHING_ELSE = "something else"
