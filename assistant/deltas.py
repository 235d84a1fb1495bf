"""Frame -> Signal K: the values under their paths, what the paths mean, and who speaks. Pure, strict JSON.

Paths and units: the keys of the published schema, 1.8.2. Nothing in it is a towed line; those are keys of our own,
`fishing.lines.<rod>.<leaf>`, camelCase and described by meta, as the standard allows. What is not known is null
("Missing or Invalid Data"), never left at its last value; what is stale is not known.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from assistant.messages import LINE_QUANTITIES, OWN_LABEL, OWN_PATHS, Frame, Mode, Q
from assistant.payloads import SIGNIFICANT_DIGITS, Json, rounded

VERSION = "1.8.2"
"""Of the schema whose keys these are."""

KELVIN_C = -273.15
TOLD = ("ok", "doubtful")

_moment = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z", re.ASCII).fullmatch

Pair = tuple[str, object]
"""Path and value."""


@dataclass(frozen=True, slots=True)
class Leaf:
    """What a path means: the unit (SI; "" where the value is an object or a word) and a description."""

    units: str
    about: str

    def meta(self) -> Json:
        """As the standard's meta."""
        return {"description": self.about, **({"units": self.units} if self.units else {})}


NUMBERS: Mapping[str, tuple[str, float, Leaf]] = {
    "stw_mps": ("navigation.speedThroughWater", 0.0, Leaf("m/s", "Speed through the water")),
    "heading_rad": ("navigation.headingTrue", 0.0, Leaf("rad", "True heading")),
    "sog_mps": ("navigation.speedOverGround", 0.0, Leaf("m/s", "Speed over ground")),
    "cog_rad": ("navigation.courseOverGroundTrue", 0.0, Leaf("rad", "True course over ground")),
    "rate_of_turn_radps": ("navigation.rateOfTurn", 0.0, Leaf("rad/s", "Rate of turn, + to starboard")),
    "water_depth_m": ("environment.depth.belowSurface", 0.0, Leaf("m", "Bottom below the surface")),
    "water_temp_c": ("environment.water.temperature", -KELVIN_C, Leaf("K", "Water temperature at the hull")),
}
"""Boat quantity -> path, what to add to the value, meaning."""

OBJECTS: Mapping[str, tuple[Mapping[str, str], Leaf]] = {
    "navigation.position": ({"latitude": "lat_deg", "longitude": "lon_deg"}, Leaf("", "Position (WGS84)")),
    "environment.current": (
        {"setTrue": "set_rad", "drift": "drift_mps"},
        Leaf("", "Current of the surface layer; it sets toward"),
    ),
}
"""Path -> boat quantity by member; null unless all are known."""

LINE_LEAVES: Mapping[str, tuple[str, Leaf]] = {
    "depth_m": ("lureDepth", Leaf("m", "Lure below the surface")),
    "swing_m": ("lureSwing", Leaf("m", "Lure to starboard of the rod tip, - to port")),
    "setback_m": ("lureAstern", Leaf("m", "Lure astern of the rod tip")),
    "tension_n": ("pull", Leaf("N", "Pull of the line at the rod tip")),
    "lure_speed_mps": ("lureSpeed", Leaf("m/s", "Speed of the lure through the water where it is")),
}
"""Line quantity -> leaf below the rod, meaning."""
STATE = (
    "state",
    Leaf("", "ok or doubtful: how far the numbers of this line can be trusted; null: not known"),
)


def own_context(boat_id: str, vessel: str = "") -> str:
    """The context of our vessel: as configured, else an identity made from the boat's id, always the same."""
    if vessel:
        return f"vessels.{vessel}"
    digits = hashlib.sha256(f"{OWN_LABEL}/{boat_id}".encode()).hexdigest()
    uuid = f"{digits[:8]}-{digits[8:12]}-4{digits[13:16]}-a{digits[17:20]}-{digits[20:32]}"
    return f"vessels.urn:mrn:signalk:uuid:{uuid}"


def own_source(boat_id: str, mode: Mode) -> str:
    """Our `$source`; what is not live says so."""
    return f"{OWN_LABEL}.{boat_id}" + ("" if mode == "live" else f".{mode}")


def rod_keys(rods: Iterable[str]) -> dict[str, str]:
    """Rod -> its key in a path, letters and digits only, no two alike."""
    keys: dict[str, str] = {}
    for rod in rods:
        plain = key = re.sub(r"[^A-Za-z0-9]", "", rod) or "rod"
        number = 2
        while key in keys.values():
            key, number = f"{plain}x{number}", number + 1
        keys[rod] = key
    return keys


def _number(q: Q | None, add: float = 0.0) -> float | None:
    """A known value in the standard's unit; None for one that is stale, dead or no number."""
    if q is None or q.state not in TOLD or q.value is None:
        return None
    return rounded(q.value + add, SIGNIFICANT_DIGITS.get(q.unit, 6))


def pairs_of(frame: Frame) -> list[Pair]:
    """Every path with its value at this instant, None where it is not known."""
    boat = frame.boat
    pairs: list[Pair] = [(path, _number(boat.get(name), add)) for name, (path, add, _) in NUMBERS.items()]
    for path, (members, _) in OBJECTS.items():
        whole = {member: _number(boat.get(name)) for member, name in members.items()}
        pairs.append((path, None if None in whole.values() else whole))
    keys = rod_keys(frame.lines)
    for rod, line in frame.lines.items():
        stem = f"{OWN_PATHS}{keys[rod]}"
        values = {name: _number(getattr(line, name)) for name in LINE_QUANTITIES}
        pairs += [(f"{stem}.{LINE_LEAVES[name][0]}", value) for name, value in values.items()]
        state = line.depth_m.state
        pairs.append((f"{stem}.{STATE[0]}", state if state in TOLD else None))
    return pairs


def meaning(path: str) -> Leaf:
    """What one of our paths means."""
    if path.startswith(OWN_PATHS):
        leaf = path.rpartition(".")[2]
        return dict([*LINE_LEAVES.values(), STATE])[leaf]
    known = {path: leaf for path, _, leaf in NUMBERS.values()} | {
        path: row[1] for path, row in OBJECTS.items()
    }
    return known[path]


def _stamped(utc: str | None) -> Json:
    """The timestamp, where the time is known."""
    return {"timestamp": utc} if utc is not None and _moment(utc) else {}


def delta(context: str, source: str, utc: str | None, pairs: Sequence[Pair]) -> Json:
    """A delta of these values; without a timestamp while no time is known."""
    values = [{"path": path, "value": value} for path, value in pairs]
    return {"context": context, "updates": [{"$source": source, **_stamped(utc), "values": values}]}


def meta_delta(context: str, source: str, paths: Iterable[str]) -> Json:
    """A delta that says what these paths mean."""
    meta = [{"path": path, "value": meaning(path).meta()} for path in paths]
    return {"context": context, "updates": [{"$source": source, "meta": meta}]}


def hello(context: str, utc: str | None) -> Json:
    """The first message of every connection. Others on board are asked first: we are no main server."""
    roles = ["master", "aux"]
    return {"name": OWN_LABEL, "version": VERSION, **_stamped(utc), "self": context, "roles": roles}


def discovery(host: str, tcp_port: int | None, program: str) -> Json:
    """The answer to "/signalk".

    Args:
        host: as the client asked for it, with its port; tcp_port: of the lines over TCP, if they are served.
        program: version of this program.
    """
    tcp = {} if tcp_port is None else {"signalk-tcp": f"tcp://{host.rpartition(':')[0] or host}:{tcp_port}"}
    stream = {"version": VERSION, "signalk-ws": f"ws://{host}/signalk/v1/stream", **tcp}
    return {"endpoints": {"v1": stream}, "server": {"id": OWN_LABEL, "version": program}}
