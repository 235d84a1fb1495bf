"""Signal K lines -> readings: names, units and signs of the published schema; strictness; whose data is taken."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signalk_tools import HELLO, STAMP, URN, WIRE, after, delta, said, values

from assistant import config, locate
from assistant.messages import Inputs, Sentence
from assistant.sensing.quantities import QUANTITIES
from assistant.sensing.signalk import NEW, REASONS, SOURCES_MOST, Stream, decode
from assistant.sensing.signalk_paths import OBJECTS, PATHS, USED

NAVIGATION = "navigation."
DEPTH = "environment.depth."
BEGIN = locate.initial(config.load().boat)
WIND = "environment.wind."


@pytest.mark.parametrize(
    ("path", "value", "quantity", "want"),
    [
        # units and signs: groups/navigation.json and environment.json of the published schema, 1.8.2
        (NAVIGATION + "speedThroughWater", 1.23, "stw_mps", 1.23),  # m/s
        (NAVIGATION + "speedOverGround", 4, "sog_mps", 4.0),
        (NAVIGATION + "courseOverGroundTrue", 2.971, "cog_rad", 2.971),  # rad
        (NAVIGATION + "headingTrue", math.tau, "heading_true_rad", 0.0),
        (NAVIGATION + "headingTrue", 6.2832, "heading_true_rad", 6.2832 - math.tau),  # a rounded full turn
        (NAVIGATION + "headingMagnetic", 3.0, "heading_magnetic_rad", 3.0),
        (NAVIGATION + "magneticVariation", -0.16, "variation_rad", -0.16),  # west is negative
        (NAVIGATION + "rateOfTurn", -0.02, "rate_of_turn_radps", -0.02),  # to port is negative
        (DEPTH + "belowTransducer", 38.2, "depth_below_transducer_m", 38.2),
        (DEPTH + "belowSurface", 38.5, "depth_below_surface_m", 38.5),
        (DEPTH + "surfaceToTransducer", 0.3, "transducer_offset_m", 0.3),
        ("environment.water.temperature", 293.65, "water_temp_c", 20.5),  # K
        (WIND + "angleApparent", -0.5, "apparent_wind_angle_rad", math.tau - 0.5),  # negative to port
        (WIND + "speedApparent", 5.0, "apparent_wind_speed_mps", 5.0),
        (WIND + "angleTrueWater", 0.5, "true_wind_angle_rad", 0.5),
        (WIND + "speedTrue", 6.0, "true_wind_speed_mps", 6.0),
    ],
)
def test_every_path(path: str, value: float, quantity: str, want: float) -> None:
    found = values(delta({path: value}))
    assert list(found) == [quantity]
    assert found[quantity] == pytest.approx(want, abs=1e-9)


def test_objects_and_their_members() -> None:
    place = {"latitude": 45.0, "longitude": -30.5, "altitude": 75.0}
    assert values(delta({"navigation.position": place})) == {"lat_deg": 45.0, "lon_deg": -30.5}
    current = {"setTrue": 1.0, "drift": 0.2}
    assert values(delta({"environment.current": current})) == {"set_rad": 1.0, "drift_mps": 0.2}
    for half in (
        {"latitude": 45.0},
        {"latitude": 45.0, "longitude": None},
        {"latitude": 91.0, "longitude": 1.0},
    ):
        assert values(delta({"navigation.position": half})) == {}
    null = said(delta({"navigation.position": {"latitude": 0, "longitude": 0.0}}))
    assert (null.readings, null.rejects) == ([], ["delta null position"])


def test_the_source_of_a_reading_names_wire_and_source() -> None:
    """Two sources of one stream are told apart; without a name it is the stream itself."""
    where = {NAVIGATION + "speedOverGround": 1.0}
    sources = [said(delta(where, source)).readings[0].source for source in ("gps.1", "gps.2", None)]
    assert sources == [f"{WIRE}#gps.1/delta", f"{WIRE}#gps.2/delta", f"{WIRE}/delta"]
    update = {
        "source": {"label": "n2k", "src": "43"},
        "values": [{"path": "navigation.headingTrue", "value": 1}],
    }
    assert said(json.dumps({"updates": [update]})).readings[0].source == f"{WIRE}#n2k.43/delta"
    odd = said(delta(where, "a/b#c d" + "x" * 200)).readings[0].source
    assert odd.startswith(f"{WIRE}#a_b_c_dxxx") and len(odd) < 120


@pytest.mark.parametrize(
    ("stream", "context", "taken"),
    [
        (NEW, None, True),
        (NEW, "vessels.self", True),
        (NEW, URN, False),  # whose it is nobody has said
        (after(HELLO), URN, True),
        (after(HELLO), "vessels.self", True),
        (after(HELLO), "vessels.urn:mrn:imo:mmsi:230099999", False),
        (after(HELLO), "atons.urn:mrn:imo:mmsi:992009999", False),
        (after(HELLO.replace("vessels.", "")), URN, True),  # the hello of an old server
    ],
)
def test_only_the_own_vessel(stream: Stream, context: str | None, taken: bool) -> None:
    found = said(delta({NAVIGATION + "speedOverGround": 1.0}, context=context), stream)
    assert bool(found.readings) is taken
    assert found.rejects == ([] if taken else ["delta other vessel"])


@pytest.mark.parametrize("source", ["spreadwatch", "spreadwatch.marigold", "spreadwatch.marigold.simulated"])
def test_what_we_said_ourselves_is_refused(source: str) -> None:
    found = said(delta({NAVIGATION + "speedOverGround": 1.0}, source))
    assert (found.readings, found.rejects) == ([], ["delta own"])
    update = {"source": {"label": source}, "values": [{"path": "navigation.headingTrue", "value": 1}]}
    assert said(json.dumps({"updates": [update]})).rejects == ["delta own"]


def test_what_a_server_relays_of_ours_under_its_own_name_is_refused() -> None:
    """Servers rename what they relay, and may send it path by path: who says a path of ours is us from then on."""
    speed, lure = {NAVIGATION + "speedOverGround": 1.0}, {"fishing.lines.P1.lureDepth": 20.0}
    whole = said(delta({**speed, **lure}, "sw.127.0.0.1:8620"))
    assert (whole.readings, whole.rejects, whole.unused) == ([], ["delta own"], 0)
    stream = after(delta(lure, "sw.1"), delta(speed, "gps.1"))
    assert said(delta(speed, "sw.1", "2026-07-18T12:00:01Z"), stream).rejects == ["delta own"]
    assert said(delta(speed, "gps.1", "2026-07-18T12:00:01Z"), stream).rejects == []


def test_unknown_paths_are_counted_one_by_one() -> None:
    found = said(delta({NAVIGATION + "log": 1.0, "": {"name": "x"}, "steering.rudderAngle": 0.1}))
    assert (found.readings, found.rejects, found.unused) == ([], [], 3)
    found = said(delta({NAVIGATION + "log": 1.0, NAVIGATION + "speedOverGround": 1.0}))
    assert (len(found.readings), found.rejects, found.unused) == (1, [], 1)
    assert said('{"requestId":"1","state":"COMPLETED"}').unused == 1
    assert said('{"updates":[{"meta":[{"path":"a.b","value":{"units":"m"}}]}]}').unused == 0


def test_null_is_no_reading_and_no_reject() -> None:
    found = said(delta(dict.fromkeys(USED)))
    assert (found.readings, found.rejects, found.unused) == ([], [], 0)


def test_the_same_again_is_no_news() -> None:
    """A server repeats what it knows to everyone who connects; a new time or a new value is news."""
    depth = DEPTH + "belowTransducer"
    stream = after(delta({depth: 38.2}))
    assert said(delta({depth: 38.2}), stream).rejects == ["delta repeat"]
    assert values(delta({depth: 38.3}), stream) == {"depth_below_transducer_m": 38.3}
    assert values(delta({depth: 38.2}, stamp="2026-07-18T12:00:01Z"), stream) != {}
    assert values(delta({depth: 38.2}, "sounder"), stream) != {}
    assert values(delta({depth: 38.2}, stamp=None), after(delta({depth: 38.2}, stamp=None))) != {}


def test_below_the_keel_needs_the_keel_and_is_not_said_twice() -> None:
    keel, below = {DEPTH + "transducerToKeel": 0.4}, {DEPTH + "belowKeel": 37.8}
    assert said(delta(below)).rejects == ["delta keel"]
    found = values(delta(below), after(delta(keel)))
    assert found == {"depth_below_transducer_m": pytest.approx(38.2)}
    assert values(delta(below), after(delta(keel), delta({DEPTH + "belowTransducer": 38.2}))) == {}
    assert said(delta({DEPTH + "transducerToKeel": -1.0})).rejects == ["delta range"]


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        *((odd, "number") for odd in ("1.0", True, [1.0], {"value": 1.0}, 10**400)),
        (-6.0, "range"),
        (26.0, "range"),
    ],
)
def test_odd_values_are_refused(value: object, reason: str) -> None:
    found = said(delta({NAVIGATION + "speedThroughWater": value}))
    assert (found.readings, found.rejects) == ([], [f"delta {reason}"])


@pytest.mark.parametrize(
    "text",
    [
        "{}}",
        '{"updates":[NaN]}',
        '{"updates":[{"values":[{"path":"navigation.speedThroughWater","value":Infinity}]}]}',
        '{"updates":[],"updates":[]}',  # a name twice
        '{"updates":' + "[" * 8000,
        '{"updates":' + "1" * 8000 + "}",  # more digits than Python reads
        "{'updates':[]}",
    ],
)
def test_what_is_no_strict_json_is_refused(text: str) -> None:
    assert said(text).rejects == ["delta json"]


@pytest.mark.parametrize(
    "text",
    [
        '{"updates":{}}',
        '{"updates":[1]}',
        '{"updates":[{"values":1}]}',
        '{"updates":[{"$source":1,"values":[]}]}',
        '{"updates":[],"context":1}',
        '{"updates":[{"$source":"a","values":[{"path":"navigation.headingTrue","value":1},2]}]}',
    ],
)
def test_what_has_another_form_is_refused(text: str) -> None:
    assert said(text).rejects == ["delta form"]


def test_an_infinite_number_is_refused() -> None:
    """1e999 is JSON, and infinity to Python."""
    text = delta({NAVIGATION + "speedThroughWater": 1.5}).replace("1.5", "1e999")
    assert said(text).rejects == ["delta number"]


def test_made_up_sources_do_not_grow() -> None:
    stream = NEW
    for number in range(SOURCES_MOST + 50):
        text = delta({NAVIGATION + "speedOverGround": 1.0, NAVIGATION + "log": 1.0}, f"s{number}")
        stream, found = decode(stream, Sentence(1.0, WIRE, text))
        stream, _ = decode(stream, Sentence(1.0, WIRE, delta({NAVIGATION + "log": 1.0}, f"t{number}")))
    assert len(stream.sources) == SOURCES_MOST
    assert found.rejects == ["delta sources"]


# --- the clock --------------------------------------------------------------------------------


def utc_after(*texts: str) -> str | None:
    """UTC of the flow a second after lines that came one second apart."""
    state = BEGIN
    for t_s, text in enumerate(texts):
        state = locate.advance(state, Inputs(float(t_s), (Sentence(float(t_s), WIRE, text),)))
    return state.utc.at(float(len(texts)))


WATER = {"environment.water.temperature": 290.0}
TIME = {"navigation.datetime": "2026-07-18T06:00:00Z"}


@pytest.mark.parametrize(
    ("texts", "utc"),
    [
        ([delta(WATER)], "2026-07-18T12:00:01.500Z"),
        (
            [delta(WATER, stamp="2026-07-18T12:00:00Z"), delta(WATER, stamp="2026-07-18T12:00:01Z")],
            "2026-07-18T12:00:02Z",
        ),
        ([delta(WATER, stamp=None)], None),
        ([delta(WATER, stamp="2020-01-01T00:00:00Z")], None),  # a computer without a clock of its own
        ([delta(WATER, stamp="yesterday")], None),
        ([delta(WATER, stamp="2026-07-18T14:00:00+02:00")], None),  # the standard wants UTC
        ([delta(WATER, stamp="2026-07-18T25:00:00Z")], None),
        ([delta(WATER, stamp=1)], None),
        # a satellite receiver's time before the computer's, in either order, sentence or delta
        ([delta(WATER), delta(TIME)], "2026-07-18T06:00:01Z"),
        ([delta(TIME), delta(WATER), delta(WATER)], "2026-07-18T06:00:03Z"),
        ([delta(WATER), "$GPZDA,070000,18,07,2026,00,00*00", delta(WATER)], "2026-07-18T07:00:02Z"),
    ],
)
def test_what_time_it_is(texts: list[str], utc: str | None) -> None:
    assert utc_after(*texts) == utc


# --- anything at all --------------------------------------------------------------------------

NUMBERS = st.one_of(st.floats(), st.integers(), st.sampled_from([0, 1.0, 45.0, 290.0, -0.0, 1e308, 10**400]))
LEAVES = st.one_of(
    st.none(), st.booleans(), NUMBERS, st.text(max_size=5), st.sampled_from([STAMP, URN, "spreadwatch"])
)
NAMES = st.sampled_from(
    [
        *("context", "updates", "values", "path", "value", "timestamp", "$source", "source", "label", "self"),
        "meta",
    ]
)
ANYTHING = st.recursive(
    LEAVES,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(NAMES, inner, max_size=4)),
    max_leaves=12,
)
PAIRS = st.fixed_dictionaries(
    {"path": st.one_of(st.sampled_from(sorted(USED)), LEAVES), "value": st.one_of(NUMBERS, ANYTHING)}
)
UPDATES = st.fixed_dictionaries(
    {"values": st.lists(st.one_of(PAIRS, ANYTHING), max_size=6)},
    optional={
        "$source": st.one_of(st.sampled_from(["a", "b.c"]), ANYTHING),
        "timestamp": ANYTHING,
        "source": ANYTHING,
    },
)
MESSAGES = st.one_of(
    ANYTHING,
    st.fixed_dictionaries(
        {"updates": st.lists(st.one_of(UPDATES, ANYTHING), max_size=3)}, optional={"context": LEAVES}
    ),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(MESSAGES, max_size=4), st.data())
def test_no_line_raises_and_no_value_leaves_its_range(messages: list[object], draw: st.DataObject) -> None:
    stream, state = NEW, BEGIN
    for message in messages:
        text = json.dumps(message)
        if draw.draw(st.integers(0, 3)) == 0:  # a character lost, or one too many
            at = draw.draw(st.integers(0, len(text)))
            text = (
                text[:at] + draw.draw(st.sampled_from(["", "}", "NaN", '"', "\u0663", "{"])) + text[at + 1 :]
            )
        sentence = Sentence(2.0, WIRE, "{" + text)
        for line in (sentence, replace(sentence, text=text)):
            if not line.text.startswith("{"):
                continue
            stream, found = decode(stream, line)
            state = locate.advance(state, Inputs(state.steering.t_s + 0.25, (line,)))
            assert {reject.removeprefix("delta ") for reject in found.rejects} <= set(REASONS)
            for reading in found.readings:
                limits = QUANTITIES[reading.quantity]
                assert limits.low <= reading.value <= limits.high
                assert math.isfinite(reading.value)


def test_the_tables_fit() -> None:
    """Every quantity of a row is one there is, and no path stands twice."""
    named = [quantity for quantity, _ in PATHS.values()]
    named += [quantity for members in OBJECTS.values() for quantity in members.values()]
    assert set(named) <= set(QUANTITIES)
    assert not set(PATHS) & set(OBJECTS)
