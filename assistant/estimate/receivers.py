"""Several GPS receivers on one boat: do they agree? They are named when they do not, and never averaged.

A receiver is a source (one wire, or one talker of two on it: sensing/talkers.py); its RMC, VTG, GGA and GLL are one
voice. The one in use stays in use: which of two is
wrong nobody can tell, so all that rests on it is doubtful until they agree again. Limits: 50 m, 0.5 kn, 20 degrees
for 10 s (the project's own; the first is usual practice for two receivers before departure, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from assistant.estimate.sources import Key, Track
from assistant.messages import Estimate
from assistant.units import KNOT_MPS, wrap_pi

APART_M = 50.0
APART_MPS = 0.5 * KNOT_MPS
APART_RAD = math.radians(20.0)
LASTS_S = 10.0
MOVING_MPS = 0.6  # slower than this the course of a receiver is noise
METRES_PER_DEGREE = 111_120.0  # of latitude: 60 nautical miles


class Apart(NamedTuple):
    """What is said of the receivers ("" while they agree), and since when they say otherwise."""

    words: str = ""
    since_s: float | None = None


AGREED = Apart()

Receiver = dict[str, float]
"""Fresh values by quantity."""


def compare(old: Apart, tracks: Mapping[Key, Track], used: Key | None, t_s: float) -> Apart:
    """Compare all receivers heard with the one in use; raised, and cleared, after LASTS_S."""
    heard = _receivers(tracks, t_s)
    mine = wire(used[1]) if used is not None else ""
    if mine not in heard or len(heard) < 2:
        return AGREED
    found = [
        f"two GPS differ: {mine} and {other} in {', '.join(what)}"
        for other, values in sorted(heard.items())
        if other != mine and (what := differences(heard[mine], values))
    ]
    words = found[0] if found else ""
    if bool(words) == bool(old.words):
        return Apart(words or old.words)
    since_s = t_s if old.since_s is None else old.since_s
    return Apart(words) if t_s - since_s >= LASTS_S else Apart(old.words, since_s)


def _receivers(tracks: Mapping[Key, Track], t_s: float) -> dict[str, Receiver]:
    heard: dict[str, Receiver] = {}
    newest: dict[tuple[str, str], float] = {}
    for (quantity, source), track in tracks.items():
        if quantity not in ("lat_deg", "lon_deg", "sog_mps", "cog_rad") or t_s - track.t_s > track.stale_s:
            continue
        name = wire(source)
        if track.t_s >= newest.get((name, quantity), -math.inf):
            newest[name, quantity] = track.t_s
            heard.setdefault(name, {})[quantity] = track.value
    return heard


def differences(one: Receiver, two: Receiver) -> list[str]:
    """In what two receivers differ: position, speed, course."""
    what = []
    if "lat_deg" in one and "lat_deg" in two and "lon_deg" in one and "lon_deg" in two:
        north = (one["lat_deg"] - two["lat_deg"]) * METRES_PER_DEGREE
        turn = (one["lon_deg"] - two["lon_deg"] + 180.0) % 360.0 - 180.0
        east = turn * METRES_PER_DEGREE * math.cos(math.radians(one["lat_deg"]))
        what += ["position"] if math.hypot(north, east) > APART_M else []
    if "sog_mps" in one and "sog_mps" in two:
        what += ["speed"] if abs(one["sog_mps"] - two["sog_mps"]) > APART_MPS else []
        moving = min(one["sog_mps"], two["sog_mps"]) > MOVING_MPS
        if moving and "cog_rad" in one and "cog_rad" in two:
            what += ["course"] if abs(wrap_pi(one["cog_rad"] - two["cog_rad"])) > APART_RAD else []
    return what


def wire(source: str) -> str:
    """ "udp:10110" of "udp:10110/RMC"."""
    return source.rpartition("/")[0]


def doubted(estimate: Estimate, apart: Apart) -> Estimate:
    """The estimate, doubtful while the receivers differ."""
    if not apart.words or estimate.state != "ok":
        return estimate
    return Estimate(estimate.value, estimate.sigma, "doubtful", estimate.age_s, estimate.source, apart.words)
