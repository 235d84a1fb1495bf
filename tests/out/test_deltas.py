"""Our Signal K against the published schema, as its own package judges it; and what no schema says."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from out_frames import demo_frame, demo_line, demo_q, weird_frames
from signalk_schema import Judge, judge_with

from assistant import config, deltas
from assistant.messages import Frame, Sentence
from assistant.sensing.signalk import NEW, decode
from firmware_bridge.instruments import SUBSCRIBE

CONTEXT = deltas.own_context("marigold")
SOURCE = deltas.own_source("marigold", "live")


@pytest.fixture(scope="module")
def judge(need: Callable[[str], str]) -> Judge:
    return judge_with(need("node"))


def delta_of(frame: Frame) -> dict[str, object]:
    return deltas.delta(CONTEXT, SOURCE, frame.utc, deltas.pairs_of(frame))


def values_of(frame: Frame) -> dict[str, object]:
    return dict(deltas.pairs_of(frame))


def test_the_schema_is_strict(judge: Judge) -> None:
    """What it must refuse it refuses: else what follows shows nothing."""
    good = delta_of(demo_frame())
    assert isinstance(good["updates"], list)
    update = good["updates"][0]
    bad = [
        {**good, "more": 1},
        {"context": CONTEXT},
        {**good, "updates": [{**update, "source": {"label": "x"}}]},
        {**good, "updates": [{**update, "timestamp": "2026-07-18 08:35:12"}]},
        {**good, "updates": [{**update, "$source": "a b"}]},
        {**good, "updates": [{**update, "values": [{"path": "a"}]}]},
    ]
    hello = deltas.hello(CONTEXT, None)
    stamp = "2026-07-18T08:35:12Z"
    unknown = deltas.delta(CONTEXT, SOURCE, stamp, [("navigation.speed", 1.0)])
    words = deltas.delta(CONTEXT, SOURCE, stamp, [("navigation.headingTrue", "1")])
    asked: list[tuple[str, object]] = [("delta", message) for message in bad]
    asked += [("hello", {**hello, "self": "me"}), ("hello", {**hello, "roles": []})]
    said = judge([*asked, ("full", unknown), ("full", words)])
    assert [one["valid"] for one in said] == [False] * 10


def test_every_message_passes_the_schema(judge: Judge) -> None:
    pairs = deltas.pairs_of(demo_frame())
    paths = [path for path, _ in pairs]
    messages = [
        ("delta", delta_of(demo_frame())),
        ("delta", delta_of(replace(demo_frame(), utc=None))),
        ("delta", delta_of(demo_frame(C=demo_line("C", state="dead")))),
        ("delta", deltas.meta_delta(CONTEXT, SOURCE, paths)),
        ("hello", deltas.hello(CONTEXT, None)),
        (
            "hello",
            deltas.hello(deltas.own_context("b", "urn:mrn:imo:mmsi:230099999"), "2026-07-18T08:35:12.250Z"),
        ),
        ("discovery", deltas.discovery("localhost:8620", None, "0.1.0")),
        ("discovery", deltas.discovery("[::1]:8620", 8375, "0.1.0")),
        ("subscribe", json.loads(SUBSCRIBE)),
        # the whole model, with no property allowed that the standard does not know: all but the lines
        (
            "full",
            deltas.delta(
                CONTEXT, SOURCE, demo_frame().utc, [p for p in pairs if not p[0].startswith("fishing")]
            ),
        ),
    ]
    assert [(one["valid"], one["errors"]) for one in judge(messages[:-1])] == [(True, [])] * (
        len(messages) - 1
    )
    assert judge(messages[-1:])[0]["valid"]


def test_paths_and_units_are_those_of_the_standard(judge: Judge) -> None:
    boat = [path for path in values_of(demo_frame()) if not path.startswith("fishing.lines.")]
    assert len(boat) == 9
    asked: list[tuple[str, object]] = [("known", f"{CONTEXT}.{path}") for path in boat]
    asked += [("units", f"{CONTEXT}.{path}") for path in boat]
    said = judge([*asked, ("known", f"{CONTEXT}.navigation.speedThroughTheWater")])
    assert [one["valid"] for one in said[: len(boat)]] == [True] * len(boat)
    assert [one["found"] or "" for one in said[len(boat) : -1]] == [
        deltas.meaning(path).units for path in boat
    ]
    assert not said[-1]["valid"]


@settings(max_examples=5, deadline=None)
@given(frame=weird_frames)
def test_any_frame_gives_strict_json_that_passes(judge: Judge, frame: Frame) -> None:
    """Numbers of any size, NaN, odd names: nothing raises, what is not known is null, no two rods share a key."""
    text = json.dumps(delta_of(frame), allow_nan=False)
    assert judge([("delta", json.loads(text))])[0]["errors"] == []
    pairs = deltas.pairs_of(frame)
    assert len({path for path, _ in pairs}) == len(pairs)


def test_numbers_signs_and_units() -> None:
    """Kelvin, rad, degrees; set is toward, as the standard's is; all of it from one frame."""
    values = values_of(demo_frame())
    assert values["navigation.speedThroughWater"] == 0.939
    assert values["navigation.headingTrue"] == pytest.approx(math.radians(200.0), abs=1e-5)
    assert values["environment.water.temperature"] == pytest.approx(293.65)
    assert values["environment.depth.belowSurface"] == 39.1
    assert values["navigation.position"] == {"latitude": 44.98765, "longitude": -30.01234}
    assert values["environment.current"] == {
        "setTrue": pytest.approx(math.radians(350), abs=1e-5),
        "drift": 0.224,
    }
    line = {
        leaf: values[f"fishing.lines.P1.{leaf}"] for leaf in ("lureDepth", "lureSwing", "lureAstern", "pull")
    }
    assert line == {"lureDepth": 20.7, "lureSwing": -6.4, "lureAstern": 44.5, "pull": 48.3}
    assert values["fishing.lines.P1.state"] == "ok"


@pytest.mark.parametrize(
    ("state", "told"), [("ok", True), ("doubtful", True), ("stale", False), ("dead", False)]
)
def test_what_is_not_known_is_null_and_never_a_number(state: str, told: bool) -> None:
    frame = demo_frame(P1=demo_line("P1", state=state))  # type: ignore[arg-type]
    boat = {name: demo_q(1.0, q.unit, 0.1, state) for name, q in frame.boat.items()}  # type: ignore[arg-type]
    values = values_of(replace(frame, boat=boat))
    mine = [
        value
        for path, value in values.items()
        if path.startswith("fishing.lines.P1.") or "fishing" not in path
    ]
    assert len(mine) == 9 + 6
    assert all((value is not None) is told for value in mine)
    assert values["fishing.lines.P1.state"] == (state if told else None)
    half = values_of(replace(frame, boat={**boat, "lat_deg": demo_q(None, "deg")}))
    assert half["navigation.position"] is None  # half a position is none


def test_who_speaks() -> None:
    """The same boat is the same vessel; what is not live says so, and is still known as ours."""
    assert deltas.own_context("marigold") == CONTEXT != deltas.own_context("other")
    assert deltas.own_context("x", "urn:mrn:imo:mmsi:230099999") == "vessels.urn:mrn:imo:mmsi:230099999"
    assert SOURCE == "spreadwatch.marigold"
    assert deltas.own_source("marigold", "simulated") == "spreadwatch.marigold.simulated"


@pytest.mark.parametrize("mode", ["live", "simulated", "replayed"])
def test_we_take_in_nothing_of_what_we_say(mode: str) -> None:
    """The loop closed: our own hello and deltas through the parser."""
    source = deltas.own_source("marigold", mode)  # type: ignore[arg-type]
    stream, said = decode(NEW, Sentence(0.0, "x", json.dumps(deltas.hello(CONTEXT, None))))
    assert stream.own == CONTEXT and said.rejects == []
    text = json.dumps(deltas.delta(CONTEXT, source, demo_frame().utc, deltas.pairs_of(demo_frame())))
    _, said = decode(stream, Sentence(0.0, "x", text))
    assert (said.readings, said.rejects, said.utc, said.stamp) == ([], ["delta own"], None, None)


def test_the_configuration_says_whether_and_where(tmp_path_factory: pytest.TempPathFactory) -> None:
    assert (config.load().signalk, config.load().signalk_port) == (False, None)
    folder = tmp_path_factory.mktemp("boat")
    boat = folder / "boat.toml"
    head = 'id = "x"\ntitle = "X"\n'
    boat.write_text(
        head + 'signalk = true\nsignalk_port = 8375\nsignalk_vessel = "urn:mrn:imo:mmsi:230099999"\n'
    )
    loaded = config.load(folder)
    assert (loaded.signalk, loaded.signalk_port) == (True, 8375)
    assert loaded.signalk_vessel == "urn:mrn:imo:mmsi:230099999"
    for line, says in (
        ("signalk_port = 8375", "wants signalk = true"),
        ('signalk = "yes"', "want true or false"),
        ('signalk_vessel = "urn:mrn:imo:mmsi:1"', "nine digits"),
    ):
        boat.write_text(head + line + "\n")
        with pytest.raises(config.ConfigError, match=says):
            config.load(folder)
