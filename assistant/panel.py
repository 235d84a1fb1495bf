"""The payload of a small display: at most 400 bytes, whatever the spread holds. Pure.

    {"v": 1, "t": t_s, "utc": "2026-07-18T08:35:12", "m": mode letter,
     "w": [water speed m/s, state], "h": [heading deg true, state], "b": [bottom m below the surface, state],
     "r": [[rod, lure depth m, half band m, letters], ...], "a": [priority letter, rod, text], "n": left out}

Letters of a rod: state (STATE_LETTERS), rod state (ROD_LETTERS), then "!" when it has a condition.
"utc" is without its fraction and zone. A null number is unknown. "a" is there only when an alert is active,
"n" only when rods had to be left out.
Names and texts are cut and put into printable ASCII: the display's font has no other letters.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping

from assistant.messages import Alert, Frame, LineState, Q

PANEL_BYTES = 400
NAME_LENGTH = 8
ALERT_LENGTH = 48
LARGEST = 99_999.0  # beyond it a number is no depth, speed or heading, and would not fit

MODE_LETTERS: Mapping[str, str] = {"live": "L", "simulated": "S", "replayed": "R"}
STATE_LETTERS: Mapping[str, str] = {"ok": "o", "doubtful": "d", "stale": "s", "dead": "x"}
PRIORITY_LETTERS: Mapping[str, str] = {"alarm": "A", "warning": "W", "caution": "C"}
ROD_LETTERS: Mapping[str, str] = {  # from the first kept to the first left out
    "fishing": "f",
    "fish on": "h",
    "going out": "g",
    "coming in": "c",
    "unknown": "u",
    "aboard": "a",
}


def plain_text(text: str, length: int) -> str:
    """`text` in printable ASCII without quotes or backslashes, at most `length` long."""
    return "".join(c if " " <= c <= "~" and c not in '"\\' else "?" for c in text[:length])


def short_number(value: float | None, digits: int) -> float | None:
    """`value` with so many decimals; None when unknown or too long to be true."""
    if value is None or not math.isfinite(value) or abs(value) > LARGEST:
        return None
    return round(float(value), digits) if digits else round(float(value))


def number_and_state(q: Q | None, digits: int, scale: float = 1.0) -> list[object]:
    """[number, state letter] of a Q; [null, "x"] when there is none to show."""
    if q is None or q.value is None or q.state == "dead":
        return [None, "x"]
    value = short_number(q.value * scale, digits)
    return [value, "x" if value is None else STATE_LETTERS[q.state]]


def rod_row(rod: str, line: LineState) -> list[object]:
    """[name, depth, half band, letters] of one rod."""
    depth, letter = number_and_state(line.depth_m, 1)
    low, high = line.depth_m.low, line.depth_m.high
    half = None if depth is None or low is None or high is None else short_number((high - low) / 2.0, 1)
    letters = f"{letter}{ROD_LETTERS[line.rod_state]}{'!' if line.conditions else ''}"
    return [plain_text(rod, NAME_LENGTH), depth, half, letters]


def heading(q: Q | None) -> list[object]:
    """[whole degrees in 0..359, state letter] of a heading [rad]."""
    degrees, letter = number_and_state(q, 0, 180.0 / math.pi)
    return [degrees % 360 if isinstance(degrees, int) else None, letter]


def foremost(alerts: tuple[Alert, ...]) -> list[object] | None:
    """[priority letter, rod, text] of the active alert to show first, or None."""
    active = [alert for alert in alerts if alert.phase != "gone"]
    if not active:
        return None
    ranks = list(PRIORITY_LETTERS)
    first = min(active, key=lambda alert: (ranks.index(alert.priority), alert.t_s))
    rod = None if first.rod is None else plain_text(first.rod, NAME_LENGTH)
    return [PRIORITY_LETTERS[first.priority], rod, plain_text(first.text, ALERT_LENGTH)]


def panel_payload(frame: Frame) -> bytes:
    """The Frame for a small display, never more than PANEL_BYTES; "n" counts the rods left out."""
    head: dict[str, object] = {
        "v": 1,
        "t": None if not math.isfinite(frame.t_s) else round(frame.t_s, 1),
        "utc": None if frame.utc is None else plain_text(frame.utc, 19),
        "m": MODE_LETTERS[frame.mode],
        "w": number_and_state(frame.boat.get("stw_mps"), 2),
        "h": heading(frame.boat.get("heading_rad")),
        "b": number_and_state(frame.boat.get("water_depth_m"), 1),
    }
    alert = foremost(frame.alerts)
    tail: dict[str, object] = {} if alert is None else {"a": alert}
    rods = list(frame.lines)
    by_rank = sorted(rods, key=lambda rod: list(ROD_LETTERS).index(frame.lines[rod].rod_state))
    for kept in range(len(rods), -1, -1):
        shown = set(by_rank[:kept])
        rows = [rod_row(rod, frame.lines[rod]) for rod in rods if rod in shown]
        left_out = {} if kept == len(rods) else {"n": len(rods) - kept}
        panel = {**head, "r": rows, **tail, **left_out}
        payload = json.dumps(panel, allow_nan=False, separators=(",", ":")).encode("ascii")
        if len(payload) <= PANEL_BYTES:
            return payload
    raise AssertionError("a panel without rods is always short enough")
