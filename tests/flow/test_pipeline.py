"""The flow is a pure function of its inputs, and what it gives is honest from the first frame on."""

from __future__ import annotations

import copy
import math
from dataclasses import replace

import pytest
from flow_tools import STEP_S, boat_texts, straight_and_turn, with_sum
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant import config, payloads, pipeline
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES, STATES, Frame, Inputs, LineSetting, Sentence

CONFIG = config.load()


def run(inputs: list[Inputs], seed: int = 0) -> tuple[pipeline.FlowState, list[Frame]]:
    """All inputs through the flow."""
    state = pipeline.initial(CONFIG, "simulated", seed)
    frames = []
    for one in inputs:
        state, frame = pipeline.step(state, one)
        frames.append(frame)
    return state, frames


@pytest.fixture(scope="module")
def inputs() -> list[Inputs]:
    return list(straight_and_turn(90.0))


@pytest.fixture(scope="module")
def frames(inputs: list[Inputs]) -> list[Frame]:
    return run(inputs)[1]


def assert_honest(frame: Frame) -> None:
    """Every number of a frame is in order, and nothing dead carries one."""
    payloads.frame_payload(frame)  # strict JSON
    qs = [*frame.boat.values()]
    qs += [getattr(line, name) for line in frame.lines.values() for name in LINE_QUANTITIES]
    for q in qs:
        assert q.state in STATES
        assert (q.value is None) == (q.state == "dead"), q
        for number in (q.value, q.low, q.high):
            assert number is None or math.isfinite(number)
        if q.low is not None and q.high is not None and q.value is not None:
            assert q.low <= q.value <= q.high, q


def test_same_inputs_same_frames_to_the_byte(inputs: list[Inputs], frames: list[Frame]) -> None:
    again = run(inputs)[1]
    assert [payloads.frame_payload(f) for f in again] == [payloads.frame_payload(f) for f in frames]
    assert [f.lines for f in again] == [f.lines for f in frames]  # the curves too


def test_an_old_state_stays_valid(inputs: list[Inputs], frames: list[Frame]) -> None:
    """A second future from a kept state is the same as the first: nothing was changed in place."""
    state = pipeline.initial(CONFIG, "simulated")
    for one in inputs[:200]:
        state, _ = pipeline.step(state, one)
    branch = state
    for one in inputs[200:240]:  # first future: a speed never seen before
        told = boat_texts(one.t_s, 20.0, 3.5) if one.sentences else []
        branch, _ = pipeline.step(branch, Inputs(one.t_s, tuple(Sentence(one.t_s, "x", t) for t in told)))
    for one, expected in zip(inputs[200:240], frames[200:240], strict=True):
        state, frame = pipeline.step(state, one)
        assert payloads.frame_payload(frame) == payloads.frame_payload(expected)


def test_inputs_are_not_touched(inputs: list[Inputs]) -> None:
    before = copy.deepcopy(inputs[:40])
    run(inputs[:40])
    assert before == inputs[:40]


def test_frames_are_complete_and_honest(frames: list[Frame]) -> None:
    for index, frame in enumerate(frames):
        assert (frame.seq, frame.t_s, frame.mode) == (index, index * STEP_S, "simulated")
        assert list(frame.boat) == list(BOAT_QUANTITIES)
        assert list(frame.lines) == [rod.name for rod in CONFIG.rods]
        assert_honest(frame)


def test_before_any_input_everything_is_dead() -> None:
    _, frames = run([Inputs(tick * STEP_S) for tick in range(8)])
    for frame in frames:
        assert {q.state for q in frame.boat.values()} == {"dead"}
        assert {getattr(line, n).state for line in frame.lines.values() for n in LINE_QUANTITIES} == {"dead"}


def test_lines_are_there_once_the_boat_is_known(frames: list[Frame]) -> None:
    last = frames[-1]
    assert last.boat["stw_mps"].value == pytest.approx(1.9 * 1852.0 / 3600.0, abs=0.02)
    for line in last.lines.values():
        assert line.depth_m.value is not None, line.rod
        assert line.depth_m.value > 1.0, line.rod
        assert len(line.shape_m) >= 5


def test_utc_comes_from_the_sentences(frames: list[Frame]) -> None:
    assert frames[-1].utc is not None
    assert frames[-1].utc.startswith("2026-07-18T00:01:29")


def test_silence_ends_in_dead_lines(inputs: list[Inputs]) -> None:
    """Without any sentence for over 15 s nothing of the boat is known, and so nothing of the lines."""
    start_s = inputs[-1].t_s + STEP_S
    _, frames = run([*inputs, *(Inputs(start_s + tick * STEP_S) for tick in range(100))])
    states = [f.lines["P1"].depth_m.state for f in frames[len(inputs) :]]
    assert states[-1] == "dead"
    ranks = [STATES.index(state) for state in states]
    assert ranks == sorted(ranks)


def test_counts_name_what_was_refused() -> None:
    texts = ("$SDDPT,nan,0.3", "$IIMTW,99.0,C", "$GPGSV,1,1,00", "$SDDPT,12.0,0.3")
    bodies = tuple(Sentence(0.0, "test", with_sum(text[1:])) for text in texts)
    state, _ = run([Inputs(0.0, bodies)])
    assert state.counts.sentences == 4
    assert state.counts.unused == 1
    assert state.counts.rejects["DPT number"] == 1
    assert state.counts.rejects["MTW range"] == 1


def test_settings_reach_the_line(inputs: list[Inputs]) -> None:
    """Half the line out on one rod: it rises, its twin does not; the counter of the other is left alone."""
    setting = LineSetting(inputs[60].t_s, "P1", line_out_m=25.0)
    changed = [*inputs[:60], replace(inputs[60], settings=(setting,)), *inputs[61:]]
    before, after = run(inputs)[1][-1], run(changed)[1][-1]
    assert before.lines["P1"].depth_m.value is not None
    assert after.lines["P1"].depth_m.value is not None
    assert after.lines["P1"].depth_m.value < 0.75 * before.lines["P1"].depth_m.value
    twin = before.lines["S1"].depth_m.value  # lines share the last iterations of a solve, to 0.1 mm
    assert after.lines["S1"].depth_m.value == pytest.approx(twin, abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(
    texts=st.lists(
        st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60).map(lambda s: "$" + s)
        | st.sampled_from([text.partition("*")[0] for text in boat_texts(0.0, 200.0)]),
        max_size=40,
    )
)
def test_no_text_can_stop_the_flow(texts: list[str]) -> None:
    state = pipeline.initial(CONFIG, "live")
    for tick, text in enumerate(texts):
        t_s = tick * STEP_S
        state, frame = pipeline.step(state, Inputs(t_s, (Sentence(t_s, "test", text),)))
        assert_honest(frame)
