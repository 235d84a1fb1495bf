"""The process that makes forecasts, beside the live steps and of lower priority than they.

A forecast is 0.2 s of work, so it has a process of its own (numpy and the code around the kernel hold Python's lock).
It gets the live lines as they are, over a pipe: what never changes it has worked out itself. It ends when its stdin
closes; when it dies, the next question starts another.
"""

from __future__ import annotations

import contextlib
import io
import os
import pickle
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from assistant.ahead.following import Question
from assistant.ahead.gaps import Soundings
from assistant.ahead.manoeuvre import Response
from assistant.ahead.outlook import Forecast
from assistant.alerts.felt import Felt
from assistant.child_process import started
from assistant.configured import Config
from assistant.lines import spread
from assistant.lines.gear import has_planer
from assistant.lines.spread import Rigged, SpreadState
from assistant.messages import Outlook

NICER = 10  # the live step goes first
_CHILD = "from assistant.forecaster import child; child()"


class Job(NamedTuple):
    """One question about the lines as they are."""

    question: Question
    response: Response
    soundings: Soundings | None
    seed: int
    whole: bool = False  # the forecast itself is wanted, not what is recorded and published of it
    felt: Mapping[str, Felt] | None = None  # pulls, by rod, where they are measured


class Answer(NamedTuple):
    """What came of it: for the flow, and as JSON (see foretold.py); took_s: CPU time."""

    outlook: Outlook | None  # None: nothing can be said
    body: bytes
    took_s: float
    told: Forecast | None = None  # where the whole is wanted


class ForecasterError(Exception):
    """The process ended; why, it has said on stderr."""


class _Snapshot(pickle.Pickler):
    """Pickles a SpreadState without what never changes."""

    def __init__(self, file: io.BytesIO, rigged: Rigged) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._fixed = {id(rigged): "rigged", id(rigged.unknowns): "unknowns"}

    def persistent_id(self, obj: Any) -> str | None:
        """The name under which the other side has this."""
        return self._fixed.get(id(obj))


class _Restored(pickle.Unpickler):
    """Reads what _Snapshot wrote."""

    def __init__(self, file: Any, rigged: Rigged) -> None:
        super().__init__(file)
        self._fixed = {"rigged": rigged, "unknowns": rigged.unknowns}

    def persistent_load(self, pid: str) -> Any:
        """What never changes, as this side has it."""
        return self._fixed[pid]


class Forecaster:
    """The process, seen from the daemon. `ask` waits for the answer: for a thread.

    Args:
        config, seed: those of the live flow.
    """

    def __init__(self, config: Config, seed: int = 0) -> None:
        self._config, self._seed = config, seed
        self._process: subprocess.Popen[bytes] | None = None
        self.starts = 0
        self.answered = False  # by the process there is now

    def ask(self, job: Job, state: SpreadState) -> Answer:
        """Its answer.

        Raises:
            ForecasterError: the process ended.
        """
        process = self._running()
        assert process.stdin is not None and process.stdout is not None
        written = io.BytesIO()
        _Snapshot(written, state.rigged).dump((job, state))
        try:
            process.stdin.write(written.getbuffer())
            process.stdin.flush()
            answer = pickle.load(process.stdout)
        except (OSError, EOFError, ValueError, pickle.UnpicklingError):
            self.stop()
            raise ForecasterError(f"the forecasting process ended ({process.returncode})") from None
        assert isinstance(answer, Answer)
        self.answered = True
        return answer

    def stop(self) -> None:
        """End the process; whoever waits for an answer gets an error."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            with contextlib.suppress(OSError):
                assert pipe is not None
                pipe.close()

    @property
    def pid(self) -> int | None:
        """Of the process, while there is one."""
        return None if self._process is None else self._process.pid

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is not None:
            return self._process
        process = started(_CHILD)
        self._process, self.starts, self.answered = process, self.starts + 1, False
        assert process.stdin is not None
        with contextlib.suppress(OSError):  # seen by the first question
            pickle.dump((self._config, self._seed), process.stdin)
            process.stdin.flush()
        return process


def answered(job: Job, state: SpreadState) -> Answer:
    """A question's answer."""
    from assistant.ahead.forecast import forecast
    from assistant.ahead.recorded import as_input
    from assistant.foretold import forecast_object
    from assistant.payloads import to_json

    begin_s = time.process_time()
    asked = job.question
    told = forecast(state, asked.manoeuvre, job.response, job.soundings, job.seed)
    if told is None:
        return Answer(None, b"", time.process_time() - begin_s)
    told = replace(told, kind=asked.kind, state=asked.state, cause=asked.cause)
    if job.whole:
        return Answer(None, b"", time.process_time() - begin_s, told)
    config = state.rigged.config
    planers = [rod.name for rod in config.rods if has_planer(config, rod)]
    body = to_json(forecast_object(told, config.boat.units, planers, job.felt))
    return Answer(as_input(told), body, time.process_time() - begin_s)


def child() -> None:
    """The process's main program: (Config, seed) and then questions on stdin, answers on stdout."""
    os.nice(NICER)
    questions, answers = sys.stdin.buffer, sys.stdout.buffer
    config, seed = pickle.load(questions)
    rigged = spread.initial(config, seed).rigged
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            job, state = _Restored(questions, rigged).load()
            pickle.dump(answered(job, state), answers, pickle.HIGHEST_PROTOCOL)
            answers.flush()
