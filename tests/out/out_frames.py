"""Frames for the tests of what goes out: the demo spread with invented numbers, and hypothesis strategies."""

from __future__ import annotations

import math

from hypothesis import strategies as st

from assistant.configured import Rod
from assistant.messages import (
    BOAT_QUANTITIES,
    LINE_QUANTITIES,
    STATES,
    Alert,
    Frame,
    LineState,
    Mode,
    Q,
    RodState,
    State,
)

RODS = ("P2", "P1", "R1", "W", "C", "R2", "S1", "S2")
# depth m, swing m, setback m, pull N, lure speed m/s: invented, of a likely size, all different
NUMBERS = {
    "P2": (14.3, -16.2, 41.0, 21.7, 0.951),
    "P1": (20.7, -6.4, 44.5, 48.3, 0.943),
    "R1": (21.0, -0.3, 7.2, 55.9, 0.902),
    "W": (13.1, -0.2, 35.4, 9.6, 0.948),
    "C": (16.4, 0.1, 73.0, 13.2, 0.939),
    "R2": (25.2, 0.2, 8.9, 58.1, 0.897),
    "S1": (19.8, 6.1, 44.9, 47.5, 0.944),
    "S2": (12.9, 14.8, 42.3, 20.1, 0.955),
}
TIPS = {
    "P2": (-1.0, -2.9), "P1": (-2.0, -2.4), "R1": (-3.0, -1.5), "W": (-3.1, -0.7),
    "C": (-3.2, 0.0), "R2": (-3.0, 1.5), "S1": (-2.0, 2.4), "S2": (-1.0, 2.9),
}  # fmt: skip
BOAT = {
    "stw_mps": 0.939,
    "heading_rad": math.radians(200.0),
    "sog_mps": 0.842,
    "cog_rad": math.radians(204.0),
    "set_rad": math.radians(350.0),
    "drift_mps": 0.224,
    "water_depth_m": 39.1,
    "water_temp_c": 20.5,
    "rate_of_turn_radps": 0.002,
    "lat_deg": 44.98765,
    "lon_deg": -30.01234,
}


def demo_q(
    value: float | None,
    unit: str,
    half: float = 0.0,
    state: State = "ok",
    source: str = "test",
    age_s: float = 0.2,
) -> Q:
    """A Q around `value` with so much band on either side."""
    if value is None:
        return Q(None, None, None, unit, "dead", None, source)
    return Q(value, value - half, value + half, unit, state, age_s, source)


def curve(
    rod: str, depth_m: float, swing_m: float, setback_m: float
) -> tuple[tuple[float, float, float], ...]:
    """A smooth line from the rod tip to the lure in 13 points, boat axes."""
    x0, y0 = TIPS.get(rod, (-3.0, 0.0))
    steps = [i / 12 for i in range(13)]
    return tuple((x0 - setback_m * s, y0 + swing_m * s**0.7, -1.0 + (depth_m + 1.0) * s**0.8) for s in steps)


def demo_line(rod: str, t_s: float = 100.0, state: State = "ok", rod_state: RodState = "fishing",
              conditions: tuple[str, ...] = ()) -> LineState:  # fmt: skip
    """One line of the demo spread with its band of 12 % of depth."""
    depth, swing, setback, pull, speed = NUMBERS[rod]
    dead = state == "dead"
    qs = {
        "depth_m": demo_q(None if dead else depth, "m", 0.12 * depth, state),
        "swing_m": demo_q(None if dead else swing, "m", 1.0, state),
        "setback_m": demo_q(None if dead else setback, "m", 0.6, state),
        "tension_n": demo_q(None if dead else pull, "N", 0.2 * pull, state),
        "lure_speed_mps": demo_q(None if dead else speed, "m/s", 0.05, state),
    }
    shape = () if dead else curve(rod, depth, swing, setback)
    return LineState(t_s, rod, **qs, conditions=conditions, rod_state=rod_state, shape_m=shape)


def demo_frame(t_s: float = 100.0, seq: int = 400, mode: Mode = "simulated", **lines: LineState) -> Frame:
    """The demo spread, all fishing; `lines` replace single rods."""
    halves = {"water_depth_m": 0.5, "stw_mps": 0.03, "drift_mps": 0.05}
    boat = {name: demo_q(BOAT[name], unit, halves.get(name, 0.0)) for name, unit in BOAT_QUANTITIES.items()}
    spread = {rod: lines.get(rod, demo_line(rod, t_s)) for rod in RODS}
    return Frame(t_s, "2026-07-18T08:35:12.250Z", seq, mode, boat, spread)


def demo_rods() -> tuple[Rod, ...]:
    """The rods of the demo spread, given out of order: the page has to order them."""
    sides = {"P": "port", "R1": "port", "W": "centre", "C": "centre", "R2": "starboard", "S": "starboard"}
    about = {"P2": "high planer, port", "P1": "low planer, port", "R1": "downrigger, port", "W": "weight rod",
             "C": "copper, centre astern", "R2": "downrigger, starboard", "S1": "low planer, starboard",
             "S2": "high planer, starboard"}  # fmt: skip
    return tuple(
        Rod(rod, sides.get(rod) or sides[rod[0]], about[rod], *TIPS[rod], 1.0, 50.0, ())  # type: ignore[arg-type]
        for rod in sorted(RODS)
    )


# --- anything a Frame can hold, and more than it should ------------------------------------------

names = st.text(min_size=0, max_size=300)
anything = st.one_of(
    st.none(), st.floats(allow_nan=True, allow_infinity=True), st.integers(-(10**30), 10**30)
)


def weird_q(unit: str) -> st.SearchStrategy[Q]:
    """A Q of any numbers, NaN and infinity among them, in any state."""
    return st.builds(Q, anything, anything, anything, st.just(unit), st.sampled_from(STATES), anything, names)


weird_lines = st.builds(
    LineState,
    st.floats(0, 1e9),
    names,
    **{name: weird_q(unit) for name, unit in LINE_QUANTITIES.items()},
    conditions=st.lists(names, max_size=4).map(tuple),
    rod_state=st.sampled_from(["aboard", "going out", "fishing", "fish on", "coming in", "unknown"]),
    shape_m=st.lists(st.tuples(*[st.floats()] * 3), max_size=3).map(tuple),
)
weird_alerts = st.builds(
    Alert,
    st.floats(),
    names,
    st.one_of(st.none(), names),
    st.sampled_from(["alarm", "warning", "caution"]),
    names,
    st.sampled_from(["active", "acknowledged", "gone"]),
)
weird_frames = st.builds(
    Frame,
    st.floats(0, 1e12),
    st.one_of(st.none(), names),
    st.integers(0, 2**53),
    st.sampled_from(["live", "simulated", "replayed"]),
    st.fixed_dictionaries({}, optional={name: weird_q(unit) for name, unit in BOAT_QUANTITIES.items()}),
    st.dictionaries(names, weird_lines, max_size=12),
    st.lists(weird_alerts, max_size=3).map(tuple),
)
