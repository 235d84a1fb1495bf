"""Random towing cases like those met on a small boat: planers on either side, balls, weights, lead-core and copper,
one to three segments, a dry part, layered current, stops, surges, turns, line let out and taken in.

Ranges: common practice, no source; they only have to be wide.
"""

from __future__ import annotations

import math
from random import Random
from typing import Any

Case = dict[str, Any]

# diameter [m], mass [kg/m], normal drag, tangential drag, stiffness [N], length [m]
MAINS = {
    "braid": (0.0004, 0.00011, 1.2, 0.02, 4000.0, (15.0, 60.0)),
    "wire": (0.00038, 0.00069, 1.2, 0.015, 10000.0, (15.0, 60.0)),
    "cable": (0.001, 0.0045, 1.2, 0.015, 60000.0, (8.0, 40.0)),
    "mono": (0.00065, 0.00038, 1.2, 0.01, 600.0, (15.0, 60.0)),
    "lead-core": (0.0009, 0.00242, 1.2, 0.02, 2000.0, (15.0, 80.0)),
    "copper": (0.001, 0.0052, 1.2, 0.015, 60000.0, (20.0, 90.0)),
}
LEADER = (0.0004, 0.000224, 1.2, 0.01, 400.0)


def random_case(seed: int, number: int, kind: str | None = None, current: bool = True) -> Case:
    """Case `number` of a campaign; the same for the same seed. kind: steady, circle, course or None for any."""
    r = Random(f"{seed}/{number}")
    kind = kind or ("steady", "circle", "course", "course")[number % 4]
    case: Case = {
        "format": "towing case 1",
        "id": f"{kind}-{seed}-{number}",
        "kind": kind,
        "water": {"density_kg_m3": r.uniform(997.0, 1000.0), "gravity_m_s2": r.uniform(9.78, 9.83)},
    }
    case["bodies"], case["segments"] = _rig(r)
    top = case["segments"][-1]["length_m"]
    flattest = 0.03 if len(case["bodies"]) == 1 and len(case["segments"]) > 1 else 0.15
    case["tow_point_height_m"] = r.choice(
        [0.0, min(r.uniform(0.3, 3.0), flattest * top)]
    )  # only the top is dry
    if kind != "circle" and current and r.random() < 0.6:
        case["current"] = _current(r)
    if kind == "course":
        _course(r, case)
    else:
        case["speed_m_s"] = round(r.uniform(0.5, 1.8), 3)
    if kind == "circle":
        case["circle"] = {
            "radius_m": round(r.uniform(30.0, 300.0), 1),
            "turn": r.choice(["port", "starboard"]),
        }
    return case


def _rig(r: Random) -> tuple[list[Any], list[Any]]:
    name = r.choice(list(MAINS))
    main = _segment(*MAINS[name][:5], r.uniform(*MAINS[name][5]))
    lure = _lure(r)
    leader = _segment(*LEADER, r.uniform(2.0, 5.0))
    if name in ("lead-core", "copper"):
        if r.random() < 0.5:
            return [lure], [leader, main]
        backing = _segment(*MAINS["braid"][:5], r.uniform(5.0, 40.0))
        return [lure], [leader, main, backing]
    held = _ball(r) if name == "cable" else r.choice([_planer, _planer, _weight])(r)
    if r.random() < 0.25:
        return [held], [main]
    if r.random() < 0.2:  # a body half way up: a second lure on the main line
        lower = dict(main, length_m=0.3 * main["length_m"])
        upper = dict(main, length_m=0.7 * main["length_m"])
        return [lure, held, _lure(r)], [leader, lower, upper]
    return [lure, held], [leader, main]


def _segment(d: float, m: float, cn: float, ct: float, ea: float, length: float) -> dict[str, float]:
    return {
        "length_m": round(length, 2), "diameter_m": d, "mass_kg_m": m, "normal_drag": cn, "tangential_drag": ct,
        "stiffness_n": ea,
    }  # fmt: skip


def _lure(r: Random) -> dict[str, float]:
    mass = r.uniform(0.01, 0.03)
    return {
        "wet_weight_n": r.uniform(0.02, 0.15), "mass_kg": mass, "added_mass_kg": 0.5 * mass,
        "drag_area_m2": r.choice([0.0015, 0.003, 0.012]),
    }  # fmt: skip


def _planer(r: Random) -> dict[str, float]:
    lift = r.uniform(0.004, 0.012)
    roll = math.radians(r.uniform(-52.0, 52.0))
    mass = r.uniform(0.08, 0.25)
    return {
        "wet_weight_n": r.uniform(0.3, 1.3), "mass_kg": mass, "added_mass_kg": mass,
        "drag_area_m2": lift / r.uniform(1.2, 1.8),
        "down_area_m2": lift * math.cos(roll), "side_area_m2": lift * math.sin(roll),
    }  # fmt: skip


def _ball(r: Random) -> dict[str, float]:
    mass = r.uniform(3.0, 6.0)
    return {
        "wet_weight_n": 8.9 * mass, "mass_kg": mass, "added_mass_kg": 0.05 * mass,
        "drag_area_m2": 0.0011 * mass ** (2 / 3) * r.uniform(1.0, 2.0),
    }  # fmt: skip


def _weight(r: Random) -> dict[str, float]:
    mass = r.uniform(0.2, 0.7)
    return {
        "wet_weight_n": 8.9 * mass, "mass_kg": mass, "added_mass_kg": 0.045 * mass,
        "drag_area_m2": 0.0011 * mass ** (2 / 3),
    }  # fmt: skip


def _current(r: Random) -> dict[str, list[float]]:
    depths = sorted(r.sample(range(2, 45), r.randint(1, 5)))
    toward, size = r.uniform(0.0, math.tau), r.uniform(0.05, 0.35)
    speeds = [size * r.uniform(0.3, 1.0) for _ in depths]
    angles = [toward + r.uniform(-0.5, 0.5) for _ in depths]
    return {
        "depth_m": [0.0, *map(float, depths)],
        "north_m_s": [0.0, *(round(v * math.cos(a), 4) for v, a in zip(speeds, angles, strict=True))],
        "east_m_s": [0.0, *(round(v * math.sin(a), 4) for v, a in zip(speeds, angles, strict=True))],
    }  # fmt: skip


def _course(r: Random, case: Case) -> None:
    t, speed, heading = 0.0, round(r.uniform(0.7, 1.6), 2), round(r.uniform(0.0, 360.0), 1)
    points = [[t, speed, heading]]

    def go(seconds: float) -> None:
        nonlocal t
        t = round(t + seconds, 2)
        points.append([t, speed, heading])

    go(r.uniform(3.0, 10.0))
    for _ in range(r.randint(1, 2)):
        act = r.choice(["turn", "turn", "surge", "stop", "creep"])
        if act == "turn":
            angle = r.choice([30.0, 60.0, 90.0, 180.0]) * r.choice([-1, 1])
            heading = round(heading + angle, 1)
            go(abs(angle) / r.uniform(0.5, 5.0))
        else:
            speed = {
                "surge": round(r.uniform(1.2, 2.0), 2),
                "stop": 0.0,
                "creep": round(r.uniform(0.2, 0.5), 2),
            }[act]
            go(r.uniform(2.0, 8.0))
        go(r.uniform(10.0, 40.0))
    case["course"] = {"columns": ["t_s", "speed_m_s", "heading_deg"], "points": points}
    case["report_t_s"] = [float(k) for k in range(0, int(t) + 1, 3)]
    if r.random() < 0.3:
        long = case["segments"][-1]["length_m"]
        other = max(4.0 + case["tow_point_height_m"], long * r.uniform(0.6, 1.3))
        start, speed = r.uniform(1.0, 15.0), math.copysign(r.uniform(0.3, 1.2), other - long)
        ramp = r.choice([0.0, 1.0, 1.0, 1.0])  # mostly gathers speed within a second, sometimes with a jerk
        case["line_out"] = _running(long, other, round(start, 2), speed, ramp)


def _running(long: float, other: float, start: float, speed: float, ramp: float) -> dict[str, list[float]]:
    """Line that runs from one length to another, its speed rising and falling over `ramp` seconds in eight steps."""
    whole = max((other - long) / speed - ramp, 0.0)
    if ramp == 0.0 or whole == 0.0:
        return {"t_s": [0.0, start, start + (other - long) / speed], "length_m": [long, long, other]}
    eighth = ramp / 8
    rising = [(k + 0.5) / 8 for k in range(8)]
    spans = [*(eighth for _ in rising), whole, *(eighth for _ in rising)]
    shares = [*rising, 1.0, *rising[::-1]]
    times, lengths = [0.0, start], [long, long]
    for span, share in zip(spans, shares, strict=True):
        times.append(times[-1] + span)
        lengths.append(lengths[-1] + share * speed * span)
    return {"t_s": times, "length_m": lengths}
