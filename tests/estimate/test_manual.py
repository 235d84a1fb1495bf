"""What the crew says of the speed log: believed at once, shown with its time, taken back by word or correction."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))

from sim_days import BOAT, SOURCE, seconds_of

from assistant import locate
from assistant.estimate import manual
from assistant.estimate.manual import CLEAR, FOULED, WITHDRAWN, Manual, heard
from assistant.frame import degraded_modes, published_boat
from assistant.messages import BoatState, Event, Inputs, Sentence
from assistant.outings.happenings import KINDS
from sim.scenario import read_scenario

NOON = "2026-07-18T12:00:00.000Z"


def day(told: dict[float, Event], seconds: float = 100.0) -> dict[float, BoatState]:
    """A straight run in a current, with what the crew says at its times."""
    state, found = locate.initial(BOAT), {}
    for second in seconds_of(read_scenario("straight"), 1, seconds):
        sentences = tuple(Sentence(t_s, SOURCE, text) for t_s, text in second.sentences)
        events = tuple(one for at_s, one in told.items() if at_s == second.t_s)
        state, instant = locate.located(state, Inputs(second.t_s, sentences, events=events), wanted=True)
        assert instant.boat is not None
        found[second.t_s] = instant.boat
    return found


def test_a_wheel_called_fouled_is_not_believed_until_it_is_clear() -> None:
    boats = day({60.0: Event(60.0, FOULED), 75.0: Event(75.0, CLEAR)})
    assert boats[59.75].stw_mps.state == "ok"
    for t_s in (60.0, 70.0, 74.75):
        stw = boats[t_s].stw_mps
        assert (stw.state, stw.source) == ("doubtful", "ground minus last current")
        assert stw.cause.startswith("wheel fouled (manual, ") and stw.cause.endswith("UTC): speed from GPS")
        assert stw.sigma > 1.5 * boats[59.75].stw_mps.sigma
        assert degraded_modes(published_boat(boats[t_s])) == ("no speed log",)
        assert boats[t_s].set_rad.state != "ok", "a current is not learned from it"
    back = min(t_s for t_s, boat in boats.items() if t_s > 75.0 and boat.stw_mps.state == "ok")
    assert 4.0 <= back - 75.0 <= 12.0, "ten good readings of a log that sends twice a second"


def test_the_words_are_kinds_of_event() -> None:
    assert {FOULED, CLEAR, WITHDRAWN} <= KINDS.keys()


@pytest.mark.parametrize(
    ("event", "stands"),
    [
        (Event(1.0, CLEAR), None),
        (Event(1.0, WITHDRAWN, corrects=7), None),
        (Event(1.0, "checked", "P1", corrects=7), None),
        (Event(1.0, WITHDRAWN, corrects=6), Manual("wheel fouled (manual, 12:00 UTC)", 7)),
        (Event(1.0, "fish on"), Manual("wheel fouled (manual, 12:00 UTC)", 7)),
    ],
)
def test_what_takes_it_back(event: Event, stands: Manual | None) -> None:
    fouled = heard(None, [Event(0.0, FOULED, number=7)], NOON)
    assert fouled == Manual("wheel fouled (manual, 12:00 UTC)", 7)
    assert heard(fouled, [event], NOON) == stands


def test_without_a_clock_it_is_manual_all_the_same() -> None:
    assert manual.heard(None, [Event(0.0, FOULED)], None) == Manual("wheel fouled (manual)")
