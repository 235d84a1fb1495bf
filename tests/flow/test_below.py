"""Sensors on or below a rod and the crew's words: from sentence or note to the Frame, with age and state.

XDR fields (type, value, unit, name) and the type letters C, D, N, A, G: "NMEA Revealed", gpsd project. Limits of
the kinds are the project's own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import pytest
from flow_tools import STEP_S, with_sum
from hypothesis import given
from hypothesis import strategies as st

from assistant import locate
from assistant.config import load
from assistant.configured import Transducer
from assistant.locate import LocateState
from assistant.messages import Inputs, Note, Seen, Sentence
from assistant.sensing.below import KINDS, noted, seen
from assistant.sensing.quality import TABLE, GateState

TRANSDUCERS = {
    "BALL": Transducer("R1", depth_m=21.0, speed_unit_mps=0.44704),  # mph: NIST SP 811 (2008), B.8
    "CELL": Transducer("P1"),
}


def taken(
    seconds: int, texts: Iterable[str] = (), notes: Iterable[Note] = (), state: LocateState | None = None
) -> LocateState:
    """So many seconds of the first half of the flow, `texts` once a second, `notes` at the start."""
    state = state or locate.initial(replace(load().boat, transducers=TRANSDUCERS))
    start = round(state.steering.t_s / STEP_S) + 1
    for tick in range(start, start + 4 * seconds):
        t_s = tick * STEP_S
        sentences = tuple(Sentence(t_s, "udp:1", with_sum(text)) for text in texts) if tick % 4 == 0 else ()
        state = locate.advance(state, Inputs(t_s, sentences, notes=tuple(notes) if tick == start else ()))
    return state


def shown(state: LocateState) -> dict[str, dict[str, Seen]]:
    """What a Frame of the last instant would hold."""
    return seen(state.words, state.steering.t_s)


def test_named_transducers_reach_their_rod() -> None:
    state = taken(8, ["IIXDR,G,2.0,,BALL,C,8.5,C,BALL,D,20.5,M,BALL,N,44.0,N,CELL,A,30.0,D,CELL,C,9.9,C,AIR"])
    got = shown(state)
    assert set(got) == {"R1", "P1"}
    assert got["R1"]["ball_speed_mps"].q.value == pytest.approx(0.89408)
    assert got["R1"]["ball_temp_c"].q.value == 8.5
    assert got["R1"]["logged_depth_m"].q.value == 20.5
    assert got["P1"]["pull_n"].q.value == 44.0
    assert got["P1"]["lean_rad"].q.value == pytest.approx(math.pi / 6)
    ball = got["R1"]["ball_speed_mps"]
    assert (ball.depth_m, ball.q.state, ball.q.source) == (21.0, "ok", "udp:1/XDR#BALL")
    assert ball.q.low is not None and ball.q.high is not None and ball.q.low < 0.89 < ball.q.high
    assert (
        not state.counts.rejects.keys()
        - {"ball_temp_c unconfirmed"}
        - {f"{kind} unconfirmed" for kind in KINDS}
    )


def test_a_sensor_that_falls_silent_grows_stale_then_dead_and_shows_no_number() -> None:
    state = taken(8, ["IIXDR,N,44.0,N,CELL"])
    row = TABLE["pull_n"]
    for silent_s, expected in ((1, "ok"), (int(row.stale_s) + 1, "stale"), (int(row.dead_s) + 1, "dead")):
        pull = shown(taken(silent_s, state=state))["P1"]["pull_n"]
        assert pull.q.state == expected
        assert (pull.q.value is None) == (expected == "dead")
        assert pull.q.age_s == pytest.approx(silent_s, abs=1.0)


def test_one_wrong_value_of_a_sensor_is_never_shown() -> None:
    state = taken(8, ["IIXDR,C,8.5,C,BALL"])
    state = taken(1, ["IIXDR,C,28.5,C,BALL"], state=state)
    assert shown(state)["R1"]["ball_temp_c"].q.value == 8.5
    assert state.counts.rejects["ball_temp_c jump"] == 1


def test_what_the_crew_says_counts_at_once_and_ages_slowly() -> None:
    notes = [
        Note(0.0, "P1", "bend", "soft", "typed"),
        Note(0.0, "R1", "lean", "far back", "typed"),
        Note(0.0, "R1", "ball_speed_mps", 0.7, "typed", sigma=0.2, depth_m=18.0),
    ]
    state = taken(1, notes=notes)
    got = shown(state)
    assert (got["P1"]["bend"].word, got["P1"]["bend"].q.value) == ("soft", -1.0)
    assert got["R1"]["lean"].word == "far back" and got["R1"]["lean"].q.low is None
    ball = got["R1"]["ball_speed_mps"]
    assert (ball.q.value, ball.depth_m, ball.q.source) == (0.7, 18.0, "typed")
    assert ball.q.high == pytest.approx(0.7 + 0.2 * 1.2816, abs=1e-3)  # 90 % quantile of the normal, tables
    old = shown(taken(int(KINDS["bend"].typed_stale_s) + 2, state=state))
    assert old["P1"]["bend"].q.state == "stale" and old["P1"]["bend"].word == "soft"


def test_an_instrument_over_mqtt_has_to_pass_the_gate() -> None:
    first = Note(1.0, "R1", "ball_speed_mps", 0.9, "mqtt")
    state = taken(1, notes=[first])
    assert shown(state) == {} and state.counts.rejects == {"note unconfirmed": 1}
    state = taken(1, notes=[replace(first, t_s=2.0, value=0.92)], state=state)
    assert shown(state)["R1"]["ball_speed_mps"].q.value == 0.92
    state = taken(1, notes=[replace(first, t_s=3.0, value=4.9)], state=state)
    assert shown(state)["R1"]["ball_speed_mps"].q.value == 0.92


def test_a_frame_carries_it() -> None:
    state = taken(1, notes=[Note(0.0, "P1", "touch", "bottom", "typed")])
    t_s = state.steering.t_s + STEP_S
    _, instant = locate.located(state, Inputs(t_s), wanted=True)
    assert instant.seen["P1"]["touch"].word == "bottom"


anything = st.one_of(st.floats(), st.text(max_size=12), st.integers(-(10**400), 10**400))
kinds = st.sampled_from(["x", *KINDS])


@given(st.lists(st.tuples(kinds, anything, st.sampled_from(["typed", "mqtt"])), max_size=12))
def test_no_note_breaks_it_or_shows_what_cannot_be(asked: list[tuple[str, object, str]]) -> None:
    words, gate = {}, GateState()
    for k, (kind, value, source) in enumerate(asked):
        note = Note(float(k), "P1", kind, value, source)  # type: ignore[arg-type]
        words, gate, _ = noted(words, gate, note)
    for kind, one in seen(words, 20.0).get("P1", {}).items():
        if one.q.value is not None and kind in TABLE:
            assert TABLE[kind].low <= one.q.value <= TABLE[kind].high
        elif one.q.value is not None:
            assert one.word in KINDS[kind].words
