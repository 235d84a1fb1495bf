"""What the instruments of flow_tools.boat_texts say, said in Signal K instead."""

from __future__ import annotations

import json
import math

KNOT_MPS = 1852.0 / 3600.0
OWN = "vessels.urn:mrn:signalk:uuid:705f5f1a-efaf-44aa-9cb8-a0fd6305567c"
HELLO = json.dumps({"name": "a server", "version": "1.8.2", "self": OWN, "roles": ["master", "main"]})


def stamp(t_s: float) -> str:
    """The time that boat_texts says, of the day it says."""
    return f"2026-07-18T{int(t_s // 3600) % 24:02d}:{int(t_s // 60) % 60:02d}:{t_s % 60.0:06.3f}Z"


def delta_of(source: str, t_s: float, values: dict[str, object], context: str | None = None) -> str:
    """One delta of one source."""
    pairs = [{"path": path, "value": value} for path, value in values.items()]
    update = {"$source": source, "timestamp": stamp(t_s), "values": pairs}
    return json.dumps({**({"context": context} if context else {}), "updates": [update]})


def boat_deltas(t_s: float, heading_deg: float, speed_kn: float = 1.9) -> list[str]:
    """The same boat at the same instant: a compass, a speed log, a GPS and a sounder, each a source by itself."""
    heading = math.radians(round(heading_deg % 360.0, 1))
    speed_mps = round(speed_kn, 2) * KNOT_MPS
    sources: dict[str, dict[str, object]] = {
        "n2k.1": {"navigation.headingTrue": heading},
        "n2k.2": {"navigation.speedThroughWater": speed_mps},
        "gps.GP": {
            "navigation.position": {"latitude": 45.0, "longitude": -30.0},
            "navigation.speedOverGround": speed_mps,
            "navigation.courseOverGroundTrue": heading,
            "navigation.magneticVariation": math.radians(-9.0),
            "navigation.datetime": stamp(t_s),
        },
        "sounder.SD": {
            "environment.depth.belowTransducer": 38.2,
            "environment.depth.surfaceToTransducer": 0.3,
            "environment.water.temperature": 293.65,
        },
    }
    return [delta_of(source, t_s, values, OWN) for source, values in sources.items()]
