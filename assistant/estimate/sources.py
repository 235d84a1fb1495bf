"""Which source speaks for a quantity: by rank, while fresh, and without flapping."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from types import MappingProxyType
from typing import NamedTuple

from assistant.messages import STATES, Accepted, Estimate, State
from assistant.sensing.quality import FROZEN

Key = tuple[str, str]
"""(quantity, source) of a reading."""

FRESH: tuple[State, ...] = ("ok", "doubtful")
"""States of a source that still speaks."""

HOLD_S = 10.0
"""A better source must have been there this long, without a gap, before it takes over from a fresh one."""

RANKS: Mapping[str, tuple[Key, ...]] = MappingProxyType(
    {
        # best first, as (quantity, sentence); other sentences of the same quantities come last
        "heading": (
            ("heading_true_rad", "HDT"),
            ("heading_true_rad", "THS"),
            ("heading_magnetic_rad", "HDG"),
            ("heading_magnetic_rad", "HDM"),
            ("heading_true_rad", "VHW"),
            ("heading_magnetic_rad", "VHW"),
            ("heading_true_rad", "delta"),
            ("heading_magnetic_rad", "delta"),
        ),
        "variation": (("variation_rad", "HDG"), ("variation_rad", "RMC")),
        "turn": (("rate_of_turn_radps", "ROT"),),
        "speed": (("stw_mps", "VHW"), ("stw_mps", "VBW")),
        "ground": (("sog_mps", "RMC"), ("sog_mps", "VTG"), ("sog_mps", "VBW")),
        "course": (("cog_rad", "RMC"), ("cog_rad", "VTG")),
        "depth": (
            ("depth_below_transducer_m", "DPT"),
            ("depth_below_transducer_m", "DBT"),
            ("depth_below_surface_m", "delta"),
        ),
        "temperature": (("water_temp_c", "MTW"),),
        "latitude": (("lat_deg", "RMC"), ("lat_deg", "GGA"), ("lat_deg", "GLL")),
        "longitude": (("lon_deg", "RMC"), ("lon_deg", "GGA"), ("lon_deg", "GLL")),
    }
)
"""What each role may be filled by."""

ROLES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        quantity: tuple(role for role, keys in RANKS.items() if any(q == quantity for q, _ in keys))
        for keys in RANKS.values()
        for quantity, _ in keys
    }
)
"""Roles a quantity may fill."""


class Track(NamedTuple):
    """The last accepted reading of one key."""

    value: float
    t_s: float
    since_s: float  # start of the unbroken run of readings
    stale_s: float
    dead_s: float
    unproven: int
    doubt: str = ""  # why the gate doubts it, in words

    @property
    def frozen(self) -> bool:
        """Whether it says one and the same number though the boat moves."""
        return self.doubt == FROZEN

    def age_state(self, t_s: float) -> State:
        """OK, doubtful (unproven, or doubted by the gate), stale or dead by age alone at t_s [s]."""
        age_s = t_s - self.t_s
        if age_s > self.dead_s:
            return "dead"
        if age_s > self.stale_s:
            return "stale"
        return "doubtful" if self.unproven or self.doubt else "ok"

    def cause(self, t_s: float) -> str:
        """The gate's doubt, if that and not silence is what ails it at t_s [s]."""
        return self.doubt if self.age_state(t_s) == "doubtful" else ""


def note(tracks: Mapping[Key, Track], accepted: tuple[Accepted, ...], moving: bool) -> dict[Key, Track]:
    """Tracks with these readings entered; the given mapping stays as it is.

    Args:
        moving: False when the boat is known to be at rest, where one and the same number means nothing.
    """
    entered = dict(tracks)
    for item in accepted:
        reading = item.reading
        key = (reading.quantity, reading.source)
        old = entered.get(key)
        unbroken = old is not None and reading.t_s - old.t_s <= old.stale_s
        since_s = old.since_s if old is not None and unbroken else reading.t_s
        doubt = "" if item.doubt == FROZEN and not moving else item.doubt
        if not doubt and moving and reading.quantity == "sog_mps" and old is not None:
            doubt = FROZEN if old.value == reading.value and _fix_frozen(entered, reading.source) else ""
        entered[key] = Track(
            reading.value, reading.t_s, since_s, item.stale_after_s, item.dead_after_s, item.unproven, doubt
        )
    return entered


def _fix_frozen(tracks: Mapping[Key, Track], source: str) -> bool:
    """Whether course or place from this sentence are frozen: they flicker more than a speed, and are of one fix."""
    fix = (tracks.get((quantity, source)) for quantity in ("cog_rad", "lat_deg", "lon_deg"))
    return any(track.frozen for track in fix if track is not None)


def choose_all(
    chosen: Mapping[str, Key], tracks: Mapping[Key, Track], t_s: float, prefer: tuple[str, ...] = ()
) -> dict[str, Key]:
    """The key that fills each role at t_s [s]; roles nothing ever filled are absent.

    Args:
        prefer: wires whose sentences come before those of all others, best first.
    """
    return {
        role: keys[0] if len(keys) == 1 else _choose(role, keys, chosen.get(role), tracks, t_s, prefer)
        for role, keys in _candidates(tuple(tracks)).items()
    }


@lru_cache(maxsize=64)
def _candidates(keys: tuple[Key, ...]) -> dict[str, list[Key]]:
    """Which of these keys may fill which role; the same for hours on end."""
    candidates: dict[str, list[Key]] = {}
    for key in keys:
        for role in ROLES.get(key[0], ()):
            candidates.setdefault(role, []).append(key)
    return candidates


def _choose(
    role: str,
    keys: list[Key],
    current: Key | None,
    tracks: Mapping[Key, Track],
    t_s: float,
    prefer: tuple[str, ...],
) -> Key:
    fresh = [key for key in keys if t_s - tracks[key].t_s <= tracks[key].stale_s]
    if current not in fresh:
        if fresh:
            return min(fresh, key=lambda key: (rank(role, key, prefer), key))
        return current or max(keys, key=lambda key: tracks[key].t_s)
    better = [
        key
        for key in fresh
        if rank(role, key, prefer) < rank(role, current, prefer)
        and tracks[key].unproven == 0
        and t_s - tracks[key].since_s >= HOLD_S
    ]
    return min(better, key=lambda key: (rank(role, key, prefer), key)) if better else current


@cache
def rank(role: str, key: Key, prefer: tuple[str, ...] = ()) -> tuple[int, int]:
    """Place of a key among the preferred wires, then in its role's table; 0 is the best."""
    wire = key[1].rpartition("/")[0]
    if wire not in prefer:
        wire = wire.rpartition("#")[0]  # a source within a Signal K stream: as good as the stream
    preferred = prefer.index(wire) if wire in prefer else len(prefer)
    wanted = (key[0], sentence(key[1]))
    ranks = RANKS[role]
    return preferred, ranks.index(wanted) if wanted in ranks else len(ranks)


def sentence(source: str) -> str:
    """ "VHW" of "udp:10110/VHW"."""
    return source.rsplit("/", 1)[-1]


def worst(*states: State) -> State:
    """The weakest of several inputs decides."""
    return max(states, key=STATES.index)


def best(measured: Estimate, stand_in: Estimate) -> Estimate:
    """What was measured, unless the stand-in is in a better state."""
    return stand_in if STATES.index(stand_in.state) < STATES.index(measured.state) else measured


def judged(
    value: float | None, sigma: float, state: State, age_s: float, source: str, cause: str = ""
) -> Estimate:
    """An Estimate whose value is withheld when dead and whose cause is never empty when not ok."""
    if state == "dead" or value is None:
        return Estimate(None, None, "dead", age_s, source, cause or f"silent for {age_s:.0f} s")
    if state == "stale" and not cause:
        cause = f"silent for {age_s:.0f} s"
    if state == "doubtful" and not cause:
        cause = "unproven: just back from a fault, or its readings disagree"
    return Estimate(value, sigma, state, age_s, source, "" if state == "ok" else cause)


def judged_track(
    pair: tuple[Key, Track], value: float | None, sigma: float, t_s: float, cause: str = ""
) -> Estimate:
    """What one source says: its age, its doubts and, if given, a graver cause."""
    key, track = pair
    return judged(value, sigma, track.age_state(t_s), t_s - track.t_s, key[1], cause or track.cause(t_s))


NEVER = Estimate(cause="never received")
