"""The flow fed with Signal K: the same frames as from sentences, sources told apart, no offset added twice."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from flow_tools import STEP_S, boat_texts
from signalk_boat import HELLO, KNOT_MPS, boat_deltas, delta_of, stamp

from assistant import config, locate, pipeline
from assistant.locate import LocateState
from assistant.messages import Frame, Inputs, Sentence
from assistant.payloads import frame_object
from assistant.raw_log import read_log

CONFIG = config.load()


def frames(
    texts_of: Callable[[float, float, float], list[str]], first: tuple[str, ...], seconds: int
) -> list[Frame]:
    """A boat that goes straight for 30 s, then turns to starboard at 1 deg/s; it is told once a second."""
    state, made = pipeline.initial(CONFIG, "live"), []
    for tick in range(round(seconds / STEP_S)):
        t_s = tick * STEP_S
        told = (
            t_s,
            200.0 + max(0.0, t_s - 30.0),
            1.9 + 0.05 * math.sin(t_s),
        )  # a log that never changes is frozen
        texts = texts_of(*told) if tick % 4 == 0 else []
        texts = [*first, *texts] if tick == 0 else texts
        state, frame = pipeline.step(state, Inputs(t_s, tuple(Sentence(t_s, "wire", text) for text in texts)))
        made.append(frame)
    return made


def without_sources(node: object) -> object:
    """JSON without the names of sources."""
    if isinstance(node, dict):
        return {key: without_sources(value) for key, value in node.items() if key != "source"}
    return [without_sources(item) for item in node] if isinstance(node, list) else node


def alike(a: object, b: object) -> bool:
    """Equal but for the last digits of numbers, of which six are published."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(alike(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(alike, a, b))
    if isinstance(a, float) and isinstance(b, float):
        return math.isclose(a, b, rel_tol=1e-5, abs_tol=1e-6)
    return a == b


def test_the_same_frames_as_from_sentences() -> None:
    """Every number, state, time and word of 80 s, in a turn too: a sentence of NMEA 0183 and a delta say the same."""
    told, of_deltas = frames(boat_texts, (), 80), frames(boat_deltas, (HELLO,), 80)
    for one, other in zip(told, of_deltas, strict=True):
        plain = [without_sources(json.loads(json.dumps(frame_object(frame)))) for frame in (one, other)]
        assert alike(*plain), (one.t_s, plain)
    last = of_deltas[-1]
    assert last.boat["stw_mps"].value == pytest.approx(1.9 * KNOT_MPS, rel=0.03)
    assert last.boat["water_depth_m"].value == pytest.approx(38.5)
    assert last.boat["stw_mps"].source == "wire#n2k.2/delta"
    assert last.utc == "2026-07-18T00:01:19.750Z"
    assert last.lines["P1"].depth_m.value is not None


def located(
    texts_of: Callable[[float], list[str]], seconds: int, prefer: tuple[str, ...] = ()
) -> LocateState:
    """Where the boat is after lines told once a second."""
    state = locate.initial(replace(CONFIG.boat, prefer=prefer, sounder_below_surface_m=0.7))
    for t_s in range(seconds):
        sentences = tuple(Sentence(float(t_s), "wire", text) for text in texts_of(float(t_s)))
        state = locate.advance(state, Inputs(float(t_s), sentences))
    return state


def gps(name: str, t_s: float, lat: float, sog: float) -> str:
    """What one GPS says; the last digits flicker."""
    place = {"latitude": lat + 1e-7 * (t_s % 3), "longitude": -30.0 + 1e-7 * (t_s % 2)}
    course = 1.0 + 0.001 * (t_s % 2)
    told = {"position": place, "speedOverGround": sog + 0.01 * (t_s % 2), "courseOverGroundTrue": course}
    return delta_of(name, t_s, {f"navigation.{leaf}": value for leaf, value in told.items()})


def test_two_gps_of_one_stream_are_told_apart_and_named() -> None:
    """As two wires would be: 0.001 degrees are 111 m."""
    state = located(lambda t_s: [gps("gps.1", t_s, 45.0, 1.0), gps("gps.2", t_s, 45.001, 1.0)], 20)
    sog = locate.boat_now(state).sog_mps
    assert sog.state == "doubtful"
    assert sog.cause == "two GPS differ: wire#gps.1 and wire#gps.2 in position"
    assert (
        state.counts.rejects["lat_deg unconfirmed"] == 2
    )  # one for each: no value of one was held against the other


@pytest.mark.parametrize(
    ("prefer", "speaks"), [((), "gps.1"), (("wire#gps.2",), "gps.2"), (("wire",), "gps.1")]
)
def test_a_source_of_a_stream_may_be_preferred(prefer: tuple[str, ...], speaks: str) -> None:
    state = located(lambda t_s: [gps("gps.1", t_s, 45.0, 1.0), gps("gps.2", t_s, 45.0, 1.0)], 20, prefer)
    assert locate.boat_now(state).sog_mps.source == f"wire#{speaks}/delta"


@pytest.mark.parametrize(
    ("leaves", "depth_m"),
    [
        ({"belowTransducer": 38.2}, 38.9),  # with the offset of the configuration
        ({"belowTransducer": 38.2, "surfaceToTransducer": 0.3}, 38.5),
        ({"belowSurface": 38.5}, 38.5),  # nothing is added
        ({"belowKeel": 37.8, "transducerToKeel": 0.4, "surfaceToTransducer": 0.3}, 38.5),
        ({"belowSurface": 38.5, "belowTransducer": 38.2, "belowKeel": 37.8}, 38.5),
        ({"belowKeel": 37.8}, None),  # where the keel is nobody says
    ],
)
def test_depth_below_the_surface(leaves: dict[str, float], depth_m: float | None) -> None:
    values: dict[str, object] = {f"environment.depth.{leaf}": value for leaf, value in leaves.items()}
    state = located(lambda t_s: [delta_of("sounder", t_s, values)], 30)
    found = locate.boat_now(state).water_depth_m.value
    assert found == (None if depth_m is None else pytest.approx(depth_m))


def test_a_sensor_that_fell_silent_is_not_kept_alive_by_a_server_that_repeats_it() -> None:
    """After 10 s the sounder says nothing new, the server repeats its last word for a minute."""
    values: dict[str, object] = {"environment.depth.belowSurface": 38.5}
    state = located(lambda t_s: [delta_of("sounder", min(t_s, 10.0), values)], 70)
    assert locate.boat_now(state).water_depth_m.state == "dead"
    assert state.counts.rejects["delta repeat"] == 59


def test_true_heading_before_magnetic() -> None:
    def texts(t_s: float) -> list[str]:
        magnetic = delta_of("compass", t_s, {"navigation.headingMagnetic": 1.0 + 0.01 * (t_s % 3)})
        return [magnetic, delta_of("compass", t_s, {"navigation.headingTrue": 1.2 + 0.01 * (t_s % 3)})]

    state = located(texts, 30)
    assert locate.boat_now(state).heading_rad.value == pytest.approx(1.21, abs=0.02)
    assert stamp(0.0) == "2026-07-18T00:00:00.000Z"


def test_a_raw_log_of_deltas_has_its_time_from_their_timestamps(tmp_path: Path) -> None:
    """Once a second for 40 s, the sounder's a little behind; a gap of an hour; then the boat's clock goes back 5 s."""
    seconds = [*map(float, range(40)), *(3640.0 + s for s in range(20)), *(3654.0 + s for s in range(10))]
    lines = [HELLO]
    for t_s in seconds:
        *others, sounder = boat_deltas(t_s, 200.0)
        lines += [*others, sounder.replace(stamp(t_s), stamp(max(0.0, t_s - 0.4)))]
    log = tmp_path / "day.jsonl"
    log.write_text("\r\n".join(lines))
    read = read_log(log)
    timed = list(read.clock)
    assert (read.clock.source, read.counts["good"]) == ("sentences", len(lines)) == ("sentences", len(timed))
    assert all(a.t_s < b.t_s for a, b in pairwise(timed))
    at = {item.text: item for item in timed}
    first, gone, late = (boat_deltas(t_s, 200.0)[0] for t_s in (0.0, 39.0, 3640.0))
    assert at[gone].t_s - at[first].t_s == pytest.approx(39.0, abs=0.5)
    assert at[late].t_s - at[gone].t_s == pytest.approx(3601.0, abs=1.0) and at[late].gap
    assert at[gone].utc == stamp(39.0).replace(".000Z", "Z")
    assert timed[-1].t_s - at[late].t_s == pytest.approx(
        29.0, abs=3.0
    )  # five seconds twice, none of them negative
