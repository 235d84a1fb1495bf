"""Payloads are strict JSON whatever a Frame holds, and hold what the Frame held."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from out_frames import demo_frame, demo_line, demo_q, names, weird_frames, weird_lines

from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, Alert, Frame, LineState, Q, Seen
from assistant.panel import PANEL_BYTES, panel_payload
from assistant.payloads import (
    TOPICS,
    frame_object,
    frame_payload,
    line_payload,
    shapes_object,
    to_json,
    topic_level,
    topic_messages,
)

Q_KEYS = {"value", "low", "high", "unit", "state", "age_s", "source"}
weird = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def strict(payload: bytes) -> Any:
    """Parse as RFC 8259 does: NaN and Infinity, which Python's parser lets pass, are refused."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in {payload[:80]!r}")

    return json.loads(payload.decode("utf-8"), parse_constant=refuse)


def check_q(sent: Q, got: dict[str, Any]) -> None:
    assert set(got) == Q_KEYS
    assert (got["unit"], got["source"]) == (sent.unit, sent.source)
    unknown = sent.value is None or not math.isfinite(sent.value) or sent.state == "dead"
    assert (got["value"] is None) == unknown
    assert got["state"] == ("dead" if unknown else sent.state)
    if unknown:
        assert got["low"] is None and got["high"] is None
    else:
        assert got["value"] == pytest.approx(sent.value, rel=5e-6)


@weird
@given(weird_frames)
def test_any_frame_is_strict_json_and_keeps_what_it_held(frame: Frame) -> None:
    got = strict(frame_payload(frame))
    assert list(got) == ["t_s", "utc", "seq", "mode", "boat", "lines", "alerts"]
    assert (got["utc"], got["seq"], got["mode"]) == (frame.utc, frame.seq, frame.mode)
    assert set(got["boat"]) == set(frame.boat) and set(got["lines"]) == set(frame.lines)
    for name, q in frame.boat.items():
        check_q(q, got["boat"][name])
    for rod, line in frame.lines.items():
        row = got["lines"][rod]
        assert set(row) == {*LINE_QUANTITIES, "conditions", "rod_state"}
        assert row["conditions"] == list(line.conditions) and row["rod_state"] == line.rod_state
        for name in LINE_QUANTITIES:
            check_q(getattr(line, name), row[name])
        assert set(strict(line_payload(frame, rod))) == set(LINE_QUANTITIES)
    strict(to_json(shapes_object(frame)))


@weird
@given(weird_frames)
def test_panel_is_never_longer_than_a_small_display_takes(frame: Frame) -> None:
    payload = panel_payload(frame)
    panel = strict(payload)
    assert len(payload) <= PANEL_BYTES == 400
    assert panel["v"] == 1
    assert len(panel["r"]) + panel.get("n", 0) == len(frame.lines)


@settings(weird, max_examples=20)
@given(st.dictionaries(names, weird_lines, min_size=12, max_size=12))
def test_panel_with_twelve_rods_of_any_name_and_number(lines: dict[str, LineState]) -> None:
    assert len(panel_payload(replace(demo_frame(), lines=lines))) <= 400


def test_demo_frame_holds_every_quantity_of_the_contract() -> None:
    got = strict(frame_payload(demo_frame()))
    assert set(got["boat"]) == set(BOAT_QUANTITIES)
    assert got["boat"]["lon_deg"]["value"] == -30.01234  # a position keeps more digits
    assert got["lines"]["P2"]["depth_m"]["value"] == 14.3
    assert got["lines"]["P2"]["depth_m"]["low"] == pytest.approx(14.3 * 0.88, rel=1e-5)


def test_a_dead_value_is_never_a_number_and_a_null_never_anything_but_dead() -> None:
    zombie = Q(3.0, 2.0, 4.0, "m", "dead", 20.0, "sounder")
    hole = Q(float("nan"), 2.0, 4.0, "m", "ok", 0.1, "sounder")
    frame = replace(demo_frame(), boat={"water_depth_m": zombie, "stw_mps": hole})
    got = frame_object(frame)["boat"]
    assert isinstance(got, dict)
    for name in ("water_depth_m", "stw_mps"):
        assert got[name]["value"] is None and got[name]["low"] is None and got[name]["state"] == "dead"


def test_what_was_noted_is_said_with_its_word_and_depth_and_not_once_dead() -> None:
    seen = {
        "ball_speed_mps": Seen(Q(0.9, 0.8, 1.0, "m/s", "ok", 2.0, "mqtt/R1"), depth_m=21.0),
        "bend": Seen(Q(-1.0, None, None, "", "stale", 400.0, "typed"), "soft"),
        "touch": Seen(Q(1.0, None, None, "", "dead", 9000.0, "typed"), "bottom", 30.0),
    }
    frame = replace(demo_frame(), seen={"R1": seen})
    messages = topic_messages(frame)
    got = strict(messages["seen/R1"][0])
    assert got == strict(frame_payload(frame))["seen"]["R1"]
    for kind, one in seen.items():
        check_q(one.q, {name: got[kind][name] for name in Q_KEYS})
    assert (got["ball_speed_mps"]["depth_m"], got["ball_speed_mps"]["word"]) == (21.0, None)
    assert (got["bend"]["word"], got["bend"]["value"]) == ("soft", -1.0)
    assert (got["touch"]["word"], got["touch"]["depth_m"]) == (None, None)
    assert "seen" not in strict(frame_payload(demo_frame()))


def test_another_parser_agrees() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no second JSON parser here: node is not installed")
    script = "JSON.parse(require('fs').readFileSync(0, 'utf8')); process.stdout.write('read')"
    frame = replace(
        demo_frame(), boat={"stw_mps": Q(math.inf, -math.inf, math.nan, "m/s", "ok", math.nan, "x")}
    )
    done = subprocess.run([node, "-e", script], input=frame_payload(frame), capture_output=True, check=True)
    assert done.stdout == b"read"


def test_panel_of_the_demo_spread_in_full() -> None:
    frame = demo_frame(
        R2=demo_line("R2", state="doubtful", conditions=("outside tested range",)),
        S2=demo_line("S2", state="dead", rod_state="aboard"),
    )
    panel = strict(panel_payload(frame))
    assert panel["utc"] == "2026-07-18T08:35:12" and panel["m"] == "S"
    assert panel["w"] == [0.94, "o"] and panel["h"] == [200, "o"] and panel["b"] == [39.1, "o"]
    assert panel["r"][0] == ["P2", 14.3, 1.7, "of"]
    assert panel["r"][5] == ["R2", 25.2, 3.0, "df!"]
    assert panel["r"][7] == ["S2", None, None, "xa"]
    assert "n" not in panel and "a" not in panel


def test_panel_leaves_out_the_rods_aboard_first_and_says_how_many() -> None:
    lines = {
        f"rod no {i:02d}": replace(
            demo_line("P2", conditions=("tripped",)), rod_state="aboard" if i % 2 else "fishing"
        )
        for i in range(16)
    }
    alert = Alert(99.0, "bottom", "W", "alarm", "W low, bottom one minute, lift twenty", "active")
    panel = strict(panel_payload(replace(demo_frame(), lines=lines, alerts=(alert,))))
    assert panel["n"] == 16 - len(panel["r"]) > 0
    assert panel["a"] == ["A", "W", "W low, bottom one minute, lift twenty"]
    letters = [row[3] for row in panel["r"]]
    assert sum(letter == "of!" for letter in letters) == min(8, len(letters))


def test_heading_of_the_panel_is_a_whole_degree_below_360() -> None:
    frame = replace(demo_frame(), boat={"heading_rad": demo_q(math.radians(359.7), "rad")})
    assert strict(panel_payload(frame))["h"] == [0, "o"]


def test_topics_are_those_of_the_table() -> None:
    messages = topic_messages(demo_frame())
    assert {topic.suffix for topic in TOPICS} == {
        "frame",
        "panel",
        "line/<rod>",
        "seen/<rod>",
        "alert/<key>",
        "quiet",
    }
    assert set(messages) == {"frame", "panel", *(f"line/{rod}" for rod in demo_frame().lines)}
    assert all(retained and qos == 1 for _, retained, qos in messages.values())


@given(names)
def test_a_rod_name_is_one_level_of_a_topic(name: str) -> None:
    level = topic_level(name)
    assert level and not set(level) & set("/+#\0") and level.isprintable()


def test_rod_names_that_differ_have_topics_that_differ() -> None:
    assert len({topic_level(name) for name in ("a/b", "a%2Fb", "a+b", "a b", "ab")}) == 5


def test_an_alert_that_is_gone_is_taken_off_the_broker() -> None:
    alert = Alert(
        99.0, "off depth C", "C", "warning", "C at 30 ft", "active", ("C",), {"value": math.nan, "unit": "m"}
    )
    stands = topic_messages(replace(demo_frame(), alerts=(alert,)))["alert/off depth C"]
    assert stands[1:] == (True, 1)
    assert strict(stands[0])["evidence"] == {"value": None, "unit": "m"}
    gone = replace(demo_frame(), alerts=(replace(alert, phase="gone"),))
    assert topic_messages(gone)["alert/off depth C"][0] == b""
