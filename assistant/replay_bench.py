"""How many times real time `spreadwatch replay` goes through an outing, with and without forecasts in it.

The outings are recorded here: the simulator's instruments (22 sentences a second) in S-turns through the whole flow,
in one of them with the forecasts that a live run would have made. A replay judges these, it makes none anew.
"""

from __future__ import annotations

import contextlib
import tempfile
import time
from pathlib import Path

from assistant import config, day, locate, pipeline
from assistant.ahead.following import Followed, followed, question_of, turning
from assistant.ahead.learning import Learned
from assistant.forecaster import Job, answered
from assistant.locate import STEP_S
from assistant.lookahead import EVERY_S, TURNING_EVERY_S
from assistant.messages import Inputs, Outlook
from assistant.outings import logbook, store
from assistant.outings.recorder import Recorder
from assistant.outings.recording import opening_of
from assistant.pipeline import FlowState, rod_states
from assistant.replay import replay

SCENARIO = "s-turns"
PLAIN_S = 1800.0  # of boat time: what a replay takes to start counts little
FORETOLD_S = 300.0
BEST_OF = 2


class Foreteller:
    """The forecasts of a live run, in step with it."""

    def __init__(self) -> None:
        self._now, self._due_s = Followed(learned=Learned()), 0.0
        self.made = 0

    def after(self, flow: FlowState) -> Outlook | None:
        """The forecast that is due after a step."""
        _, stw, heading = flow.boat.steering
        lines, boat = flow.lines.spread, locate.boat_now(flow.boat)
        self._now = followed(self._now, lines.t_s, stw, heading, lines.motion, boat)
        if lines.t_s < self._due_s:
            return None
        question = question_of(self._now, boat, rod_states(flow.lines), flow.lines.config.boat.fish_speed_mps)
        if question is None:
            return None
        self._due_s = lines.t_s + (TURNING_EVERY_S if turning(self._now) else EVERY_S)
        self.made += 1
        return answered(Job(question, self._now.learned.response(), self._now.soundings, 0), lines).outlook


def recorded(root: Path, seconds: float, foreteller: Foreteller | None) -> Path:
    """An outing of so long; its folder."""
    loaded = config.load()
    recorder = logbook.begun(root, loaded, "simulated")
    assert isinstance(recorder, Recorder)
    state, outlook = pipeline.initial(loaded, "simulated"), None
    with contextlib.closing(day.stamped(SCENARIO, 0, seconds)) as lines:
        for tick, sentences in enumerate(day.Day(loaded, recorder).instants(lines)):
            inputs = Inputs(tick * STEP_S, sentences, outlook=outlook)
            framed = tick % day.FRAME_EVERY == 0
            recorder.step(inputs, framed)
            state = pipeline.step(state, inputs)[0] if framed else pipeline.advance(state, inputs)
            outlook = None if foreteller is None else foreteller.after(state)
    status = recorder.close(seconds)
    assert status.outing is not None
    return store.folder_of(root, status.outing)


def times_real(folder: Path, seconds: float) -> float:
    """Boat time over the clock's, from the call of `replay` to its summary; the best of BEST_OF."""
    opening = opening_of(folder)
    took_s = []
    for _ in range(BEST_OF):
        begin_s = time.perf_counter()
        replay(folder, opening.config, None, opening.seed)
        took_s.append(time.perf_counter() - begin_s)
    return seconds / min(took_s)


def replay_rate() -> dict[str, float]:
    """Times real time of an outing, and of one with forecasts: how many of them it holds."""
    with tempfile.TemporaryDirectory() as scratch:
        plain = times_real(recorded(Path(scratch), PLAIN_S, None), PLAIN_S)
        foreteller = Foreteller()
        told = times_real(recorded(Path(scratch), FORETOLD_S, foreteller), FORETOLD_S)
    return {"outing": round(plain), "with_forecasts": round(told), "forecasts": foreteller.made}
