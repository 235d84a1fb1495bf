"""Lines for the tests, and a march of one of them along a path given as a function."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from assistant.lines import spread
from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.groups import Group, build, live_counts, settle_group
from assistant.lines.kernel import march
from assistant.lines.layout import LANES

Array = NDArray[np.float64]

WATER = Water(1000.0, 9.81)
BRAID = Segment(45.0, 0.0004, 0.00011, 1.2, 0.02, 4000.0)
LEADER = Segment(3.0, 0.0004, 0.000224, 1.2, 0.01, 400.0)
CABLE = Segment(25.0, 0.001, 0.0045, 1.2, 0.015, 60000.0)
COPPER = Segment(60.0, 0.001, 0.0052, 1.2, 0.015, 60000.0)
LURE = Body(0.05, 0.02, 0.01, 0.0015)
BALL = Body(48.0, 5.4, 0.25, 0.004)


def planer(roll_deg: float = 30.0, lift_m2: float = 0.008) -> Body:
    """A planer whose lift leans `roll_deg` to starboard."""
    roll = math.radians(roll_deg)
    return Body(0.8, 0.2, 0.2, lift_m2 / 1.5, lift_m2 * math.cos(roll), lift_m2 * math.sin(roll))


PLANER_LINE = Towed((LEADER, BRAID), (LURE, planer()))
BALL_LINE = Towed((CABLE,), (BALL,))
COPPER_LINE = Towed((LEADER, COPPER), (LURE,))

Path = Callable[[float], tuple[float, float, float, float]]
"""time [s] -> north, east [m] and their rates [m/s]"""


def live(towed: Towed) -> list[int]:
    """Pieces per segment as in a live run."""
    return live_counts(towed, spread.CUT.total, spread.CUT.below)


def straight_path(speed_mps: float) -> Path:
    """North at a constant speed."""
    return lambda t: (speed_mps * t, 0.0, speed_mps, 0.0)


def settled(
    towed: Towed, counts: Sequence[int], speed_mps: float, water: Water = WATER, floats: bool = False
) -> Group:
    """One line in all lanes, settled while its tow point goes north; what floats may have no steady shape."""
    group = build([towed], [counts], water)
    tips = np.zeros((3, LANES))
    tips[2] = -towed.tow_height_m
    velocity = np.zeros((3, LANES))
    velocity[0] = speed_mps
    problems = settle_group(group, [towed], [counts], [water], tips, velocity, water.profile_array())
    assert problems == [None] or floats
    return group


def copy_of(group: Group) -> Group:
    """The same line with a state of its own."""
    return replace(group, work=group.work.copy(), main_m=group.main_m.copy())


def tip_rows(path: Path, times: Array, height_m: float = 0.0) -> Array:
    """(K, 6, LANES) as the kernel takes them."""
    tips = np.zeros((len(times), 6, LANES))
    tips[:, 2] = -height_m
    tips[:, [0, 1, 3, 4]] = np.array([path(float(t)) for t in times])[:, :, None]
    return tips


def go(
    group: Group,
    path: Path,
    times: Array,
    mains_m: Array | None = None,
    water: Water = WATER,
    height_m: float = 0.0,
    restart: bool = True,
) -> int:
    """March in place over evenly spaced times.

    Returns:
        As kernel.march: steps that needed rescue, or -1.
    """
    tips = tip_rows(path, times, height_m)
    mains = (
        np.tile(group.main_m, (len(times), 1))
        if mains_m is None
        else np.repeat(mains_m[:, None], LANES, axis=1)
    )
    return march(
        group.work, group.nodes, group.has_body, group.share, water.profile_array(),
        tips, mains, float(times[1] - times[0]), restart, 1e-8,
    )  # fmt: skip


def end_m(group: Group) -> Array:
    """(3,) free end relative to the tow point, lane 0."""
    places = group.positions_m()[:, :, 0]
    end: Array = places[-1] - places[0]
    return end


@st.composite
def towed_lines(draw: st.DrawFn, roll_deg: float = 60.0) -> Towed:
    """A planer, ball or copper line with its lure, all sizes drawn."""
    kind = draw(st.sampled_from(["planer", "ball", "copper"]))
    leader = Segment(draw(st.floats(1.0, 6.0)), 0.0004, 0.000224, 1.2, 0.01, 400.0)
    lure = Body(draw(st.floats(0.02, 0.2)), 0.02, 0.01, draw(st.floats(0.001, 0.012)))
    length = draw(st.floats(10.0, 70.0))
    if kind == "copper":
        return Towed((leader, Segment(length, 0.001, 0.0052, 1.2, 0.015, 60000.0)), (lure,))
    if kind == "ball":
        return Towed((leader, Segment(length, 0.001, 0.0045, 1.2, 0.015, 60000.0)), (lure, BALL))
    held = planer(draw(st.floats(-roll_deg, roll_deg)), draw(st.floats(0.004, 0.012)))
    return Towed((leader, Segment(length, 0.0004, 0.00011, 1.2, 0.02, 4000.0)), (lure, held))
