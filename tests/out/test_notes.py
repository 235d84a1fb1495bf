"""Notes of the crew and of sensors: read in any unit, refused in plain words, in by page and by MQTT.

Units: NIST SP 811 (2008), appendix B.8: mile per hour, foot, pound-force, kilogram-force, degree Fahrenheit.
"""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import aiomqtt
import pytest
from broker_tools import Mosquitto, cancelled, until
from hypothesis import given
from hypothesis import strategies as st
from page_tools import ask, post_note, serving

from assistant.errors import OptionError
from assistant.inbox import WAITING, Inbox
from assistant.messages import Inputs, Note
from assistant.notes import parse_note
from assistant.sensing.below import KINDS
from assistant.sensing.quality import TABLE
from firmware_bridge.mqtt import Publisher

RODS = ("P1", "R1")


def parsed(asked: object) -> Note:
    body = asked if isinstance(asked, bytes) else json.dumps(asked).encode()
    return parse_note(body, RODS, 7.0, "typed")


@pytest.mark.parametrize(
    ("kind", "value", "name", "expected"),
    [
        ("speed", "1.9 mph", "ball_speed_mps", 1.9 * 0.44704),
        ("speed", "1.6kn", "ball_speed_mps", 1.6 * 0.514444),
        ("speed", 0.85, "ball_speed_mps", 0.85),
        ("ball_speed_mps", "0.85 m/s", "ball_speed_mps", 0.85),
        ("temperature", "46.4F", "ball_temp_c", 8.0),
        ("temperature", "8 C", "ball_temp_c", 8.0),
        ("pull", "11 lb", "pull_n", 11 * 4.448222),
        ("pull", "5 kg", "pull_n", 5 * 9.80665),
        ("depth", "70ft", "logged_depth_m", 70 * 0.3048),
        ("lean", "25deg", "lean_rad", math.radians(25)),
        ("lean", "far back", "lean", "far back"),
        ("bend", "soft", "bend", "soft"),
        ("touch", "bottom", "touch", "bottom"),
    ],
)
def test_a_note_is_read_in_si(kind: str, value: object, name: str, expected: float | str) -> None:
    note = parsed({"rod": "R1", "kind": kind, "value": value, "depth": "70 ft"})
    assert (note.rod, note.kind, note.t_s, note.source) == ("R1", name, 7.0, "typed")
    assert note.value == (expected if isinstance(expected, str) else pytest.approx(expected, rel=1e-6))
    assert note.depth_m == pytest.approx(21.336)


def test_unit_and_sigma_go_with_the_value() -> None:
    note = parsed({"rod": "R1", "kind": "temperature", "value": "46.4", "unit": "F", "sigma": 1.8})
    assert (note.value, note.sigma) == (pytest.approx(8.0), pytest.approx(1.0))  # a difference has no offset
    assert parsed({"rod": "R1", "kind": "speed", "value": 0.9, "sigma": "0.1 kn"}).sigma == pytest.approx(
        0.0514444
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (b"{", "JSON"),
        (b"\xff", "JSON"),
        (b"[" * 900, "JSON"),
        (b"[" * 2000, "1024"),
        (b'"x"', "want an object"),
        ({"rod": "Z", "kind": "bend", "value": "soft"}, 'rod "Z": want one of P1, R1'),
        ({"rod": "P1", "kind": "smell", "value": 1}, 'kind "smell": want one of speed, temperature, pull'),
        ({"rod": "P1", "kind": "bend", "value": "sft"}, 'bend "sft": want one of soft, usual, hard'),
        ({"rod": "P1", "kind": "bend", "value": 1}, "want one of soft, usual, hard"),
        ({"rod": "P1", "kind": "speed", "value": "1.9"}, "want 0..11.18 mph (units: m/s, mph, kn, km/h)"),
        ({"rod": "P1", "kind": "speed", "value": "30mph"}, "want 0..11.18 mph"),
        ({"rod": "P1", "kind": "speed", "value": -0.1}, "want a number 0..5 m/s"),
        ({"rod": "P1", "kind": "speed", "value": True}, "want a number 0..5 m/s"),
        ({"rod": "P1", "kind": "speed", "value": 10**400}, "want a number 0..5 m/s"),
        ({"rod": "P1", "kind": "speed", "value": 2, "unit": "furlong"}, "units: m/s, mph, kn, km/h"),
        (b'{"rod":"P1","kind":"speed","value":NaN}', "want a number 0..5 m/s"),
        ({"rod": "P1", "kind": "temperature", "value": "300F"}, "want 28.4..104 F"),
        ({"rod": "P1", "kind": "lean", "value": "far"}, "want 0..90 deg (units: deg); or one of straight, usual"),
        ({"rod": "P1", "kind": "touch", "value": "bottom", "depth": -1}, "depth -1: want a number 0..600 m"),
        ({"rod": "P1", "kind": "bend", "value": "soft", "sigma": 1}, "sigma 1: bend is said in words"),
        ({"rod": "P1", "kind": "bend", "value": "soft", "when": 3}, 'field "when": want some of rod, kind'),
    ],
)  # fmt: skip
def test_nonsense_is_refused_with_what_is_allowed(asked: object, said: str) -> None:
    with pytest.raises(OptionError) as refused:
        parsed(asked)
    assert said in str(refused.value)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=20) | st.integers(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
words = st.sampled_from(["P1", "R1", "soft", "1.9 mph", "-4C", "far back", *(k.word for k in KINDS.values())])
askable = st.dictionaries(
    st.sampled_from(["rod", "kind", "value", "unit", "depth", "sigma", "x"]), json_values | words, max_size=6
)


@given(st.binary(max_size=60) | askable.map(lambda asked: json.dumps(asked).encode()))
def test_any_body_is_a_note_within_its_limits_or_refused(body: bytes) -> None:
    try:
        note = parsed(body)
    except OptionError as refused:
        str(refused).encode()
        return
    assert note.rod in RODS and (note.depth_m is None or 0.0 <= note.depth_m <= 600.0)
    if isinstance(note.value, str):
        assert note.value in KINDS[note.kind].words
    else:
        assert TABLE[note.kind].low <= note.value <= TABLE[note.kind].high


async def test_the_page_takes_a_note_from_this_machine_only_as_json() -> None:
    async with serving() as here:
        good = {"rod": "C", "kind": "bend", "value": "hard"}
        status, _, body = await post_note(here, good)
        assert status == 200, body
        (note,) = here.inbox.into(Inputs(12.5)).notes
        assert (note.rod, note.kind, note.value, note.source) == ("C", "bend", "hard", "typed")
        status, _, body = await post_note(here, {**good, "value": "harder"})
        assert status == 422 and "soft, usual, hard" in json.loads(body)["error"]
        assert (await post_note(here, b" " * 5000))[0] == 413
        assert (await post_note(here, good, Content_Type="text/plain"))[0] == 415
        assert (await post_note(here, good, Origin="http://lake.example"))[0] == 403
        assert (await ask(here, "/api/note"))[0] == 405
        assert here.inbox.into(Inputs(13.0)) == Inputs(13.0)


def test_a_flood_of_notes_keeps_the_newest() -> None:
    inbox = Inbox(RODS, lambda: 1.0)
    for k in range(3 * WAITING):
        inbox.sensor(json.dumps({"rod": "R1", "kind": "depth", "value": k / 10}).encode())
    notes = inbox.into(Inputs(2.0)).notes
    assert len(notes) == WAITING and notes[-1].value == (3 * WAITING - 1) / 10 and notes[-1].t_s == 2.0


@pytest.fixture
def mosquitto(tmp_path: Path, need: Callable[[str], str]) -> Iterator[Mosquitto]:
    broker = Mosquitto(need("mosquitto"), tmp_path)
    broker.start()
    yield broker
    broker.kill()


async def test_a_sensor_speaks_over_mqtt_and_an_old_retained_word_is_passed_over(
    mosquitto: Mosquitto,
) -> None:
    topic = "spreadwatch/marigold/sensor"
    inbox = Inbox(RODS, lambda: 1.0)
    publisher = Publisher(
        f"mqtt://127.0.0.1:{mosquitto.port}", "marigold", time.monotonic, {"sensor": inbox.sensor}
    )
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as sensor:
        await sensor.publish(topic, '{"rod": "R1", "kind": "depth", "value": 99}', qos=1, retain=True)
        task = asyncio.create_task(publisher.run())
        await until(lambda: bool(publisher.status.probe_ok), 5)
        for payload in (b"\xff{", b"[" * 100_000, b"", b'{"rod": "R1", "kind": "speed", "value": "2 mph"}'):
            await sensor.publish(topic, payload, qos=1)
        await until(lambda: inbox.refused["sensor message"] == 3, 5)
        await until(lambda: bool(inbox._notes), 5)
        (note,) = inbox.into(Inputs(2.0)).notes
        assert (note.kind, note.source) == ("ball_speed_mps", "mqtt")
        mosquitto.kill()
        mosquitto.start()  # what was subscribed to is subscribed to again
        await until(lambda: publisher.status.connects >= 2 and bool(publisher.status.probe_ok), 15)
    async with aiomqtt.Client("127.0.0.1", mosquitto.port) as sensor:
        await sensor.publish(topic, '{"rod": "R1", "kind": "pull", "value": "10 lb"}', qos=1)
        await until(lambda: bool(inbox._notes), 5)
    await cancelled(task)
