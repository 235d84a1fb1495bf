"""Frame -> strict JSON bytes, one row of TOPICS per published topic.

Rules, the same for every payload: no NaN or infinity (they become null), a null value is never called
anything but dead, a dead value is never a number; numbers are rounded so that a payload is small and stable.
The payload of the small display has its own file, panel.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, Alert, Frame, LineState, Q, Quiet, Seen
from assistant.panel import panel_payload

SIGNIFICANT_DIGITS: Mapping[str, int] = {
    "deg": 9,  # a position: 1e-7 deg is a centimetre
}
"""Significant digits by unit, where 6 are not right."""

Json = dict[str, object]


def rounded(value: float | None, digits: int = 6) -> float | None:
    """`value` with so many significant digits; None for None, NaN and infinity."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")


def seconds(value: float | None) -> float | None:
    """A time [s] to the millisecond; None for None, NaN and infinity."""
    return None if value is None or not math.isfinite(value) else round(float(value), 3)


def q_object(q: Q) -> Json:
    """A Q as a JSON object: value, low, high, unit, state, age_s, source."""
    digits = SIGNIFICANT_DIGITS.get(q.unit, 6)
    value = None if q.state == "dead" else rounded(q.value, digits)
    known = value is not None
    return {
        "value": value,
        "low": rounded(q.low, digits) if known else None,
        "high": rounded(q.high, digits) if known else None,
        "unit": q.unit,
        "state": q.state if known else "dead",
        "age_s": seconds(q.age_s),
        "source": q.source,
    }


def line_object(line: LineState) -> Json:
    """One line's published quantities: {QUANTITY: Q}."""
    return {name: q_object(getattr(line, name)) for name in LINE_QUANTITIES}


def seen_object(seen: Mapping[str, Seen]) -> Json:
    """What was noted at one rod: {KIND: Q with word and depth_m}."""
    return {kind: {**q_object(one.q), **_said(one)} for kind, one in seen.items()}


def _said(one: Seen) -> Json:
    """The word and the depth [m] that go with a Q; none with a dead one."""
    dead = one.q.state == "dead"
    return {"word": None if dead else one.word, "depth_m": None if dead else rounded(one.depth_m)}


def alert_object(alert: Alert) -> Json:
    """One alert as a JSON object."""
    return {
        "t_s": seconds(alert.t_s),
        "key": alert.key,
        "rod": alert.rod,
        "priority": alert.priority,
        "text": alert.text,
        "said": alert.said,
        "under": list(alert.under),
        "phase": alert.phase,
        "rods": list(alert.rods),
        "audible": alert.audible,
        "silent": alert.silent,
        "evidence": {name: _plain(value) for name, value in alert.evidence.items()},
    }


def _plain(value: float | str | None) -> float | str | None:
    return value if isinstance(value, str) else rounded(value)


def alert_payloads(frame: Frame) -> dict[str, bytes]:
    """Each alert under its key; an empty payload takes one that is gone off the broker."""
    return {
        f"alert/{topic_level(alert.key)}": b"" if alert.phase == "gone" else to_json(alert_object(alert))
        for alert in frame.alerts
    }


def frame_object(frame: Frame) -> Json:
    """A Frame as a JSON object; boat quantities in the order of BOAT_QUANTITIES."""
    return {
        "t_s": seconds(frame.t_s),
        "utc": frame.utc,
        "seq": frame.seq,
        "mode": frame.mode,
        "boat": {name: q_object(frame.boat[name]) for name in BOAT_QUANTITIES if name in frame.boat},
        "lines": {
            rod: {**line_object(line), "conditions": list(line.conditions), "rod_state": line.rod_state}
            for rod, line in frame.lines.items()
        },
        "alerts": [alert_object(alert) for alert in frame.alerts],
        **({"degraded": list(frame.degraded)} if frame.degraded else {}),
        **_extremes(frame),
        **({"seen": {rod: seen_object(seen) for rod, seen in frame.seen.items()}} if frame.seen else {}),
        **({"quiet": quiet_object(frame.quiet)} if frame.quiet else {}),
    }


def _extremes(frame: Frame) -> Json:
    """Least and most that the speed log read in the last waves, where one is heard."""
    found = frame.stw_extremes_mps
    return {} if found is None else {"stw_extremes_mps": [rounded(one) for one in found]}


def quiet_object(quiet: Quiet) -> Json:
    """What the judge of quiet spells says."""
    return {
        "t_s": seconds(quiet.t_s),
        "word": quiet.word,
        "strike_s": seconds(quiet.strike_s),
        "reason": quiet.reason,
        "trial": quiet.trial,
        "differs": list(quiet.differs),
        "suspects": list(quiet.suspects),
    }


def shapes_object(frame: Frame) -> Json:
    """Every line's curve: {ROD: [[x, y, z], ...]} [m], boat axes; a curve with a hole is left out."""
    return {
        rod: [[round(float(axis), 2) for axis in point] for point in line.shape_m]
        for rod, line in frame.lines.items()
        if all(math.isfinite(axis) for point in line.shape_m for axis in point)
    }


def to_json(obj: object) -> bytes:
    """Strict, compact JSON in ASCII, so that no name can break the encoding.

    Raises:
        ValueError: a NaN or infinity is left in `obj`.
    """
    return json.dumps(obj, allow_nan=False, separators=(",", ":")).encode("ascii")


def frame_payload(frame: Frame) -> bytes:
    """The whole Frame, as published on `frame`."""
    return to_json(frame_object(frame))


def line_payload(frame: Frame, rod: str) -> bytes:
    """One line of the Frame, as published on `line/<rod>`."""
    return to_json(line_object(frame.lines[rod]))


def topic_level(name: str) -> str:
    """`name` as one level of a topic: what a topic may not hold is percent-encoded (MQTT 3.1.1, 4.7)."""
    kept = (c if c.isprintable() and c not in "/+#%" else f"%{ord(c):02X}" for c in name)
    return "".join(kept) or "%00"


@dataclass(frozen=True, slots=True)
class Topic:
    """One row of TOPICS. `payloads` gives {what follows spreadwatch/<boat>/: payload} of a Frame."""

    suffix: str
    payloads: Callable[[Frame], dict[str, bytes]]
    retained: bool
    qos: int  # 1: a frozen broker then holds one message of ours, not a queue of old ones


TOPICS: tuple[Topic, ...] = (
    Topic(suffix="frame", payloads=lambda f: {"frame": frame_payload(f)}, retained=True, qos=1),
    Topic(suffix="panel", payloads=lambda f: {"panel": panel_payload(f)}, retained=True, qos=1),
    Topic(
        suffix="line/<rod>",
        payloads=lambda f: {f"line/{topic_level(rod)}": line_payload(f, rod) for rod in f.lines},
        retained=True,
        qos=1,
    ),
    Topic(suffix="alert/<key>", payloads=alert_payloads, retained=True, qos=1),
    Topic(
        suffix="seen/<rod>",
        payloads=lambda f: {f"seen/{topic_level(rod)}": to_json(seen_object(s)) for rod, s in f.seen.items()},
        retained=True,
        qos=1,
    ),
    Topic(
        suffix="quiet",
        payloads=lambda f: {"quiet": to_json(quiet_object(f.quiet))} if f.quiet else {},
        retained=True,
        qos=1,
    ),
)
"""Everything published of a Frame. `online` belongs to the connection: see firmware_bridge/mqtt.py."""

PUBLISH_PERIOD_S = 0.5
"""Topics are published at 2 Hz."""


def topic_messages(frame: Frame) -> dict[str, tuple[bytes, bool, int]]:
    """All messages of one Frame: {topic suffix: (payload, retained, qos)}, ready for Publisher.offer."""
    return {
        suffix: (payload, topic.retained, topic.qos)
        for topic in TOPICS
        for suffix, payload in topic.payloads(frame).items()
    }
