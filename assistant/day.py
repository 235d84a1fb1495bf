"""A day that the simulator plays with times on everything, through the flow and a recorder as fast as it goes."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from assistant import pipeline, sim_process
from assistant.config import default_dir, load
from assistant.configured import Config, Transducer
from assistant.errors import LogError
from assistant.inbox import Inbox
from assistant.locate import STEP_S
from assistant.messages import Frame, Inputs, Sentence
from assistant.outings import logbook
from assistant.outings.happened import Happened
from assistant.outings.logbook import NoRecorder
from assistant.outings.lull import Lull
from assistant.outings.recorder import Recorder
from assistant.payloads import PUBLISH_PERIOD_S, to_json

SCENARIOS = {"day": "", "day-alone": "", "april": "april"}
"""Scenario of a whole day -> folder of its spread in the packaged configuration; "": the usual one."""
FRAME_EVERY = round(PUBLISH_PERIOD_S / STEP_S)
WAITING_MOST = 1000  # entries the recorder has not yet taken: the day waits for it
SOURCE = "simulator"


LOG_FACTOR = 1.15
"""What two runs each way give for a log that reads 0.87 of the truth."""


def config_of(scenario: str) -> Config:
    """The configuration of an invented day. Raises ConfigError."""
    folder = default_dir() / SCENARIOS[scenario]
    return as_aboard(load(folder))


def as_aboard(config: Config) -> Config:
    """The configuration of the invented days: a load cell LOAD<rod> at any rod, the speed log as calibrated."""
    cells = {f"LOAD{rod.name}": Transducer(rod.name) for rod in config.rods}
    cells |= config.boat.transducers
    return replace(config, boat=replace(config.boat, transducers=cells, speed_log_factor=LOG_FACTOR))


@dataclass(slots=True)
class Day:
    """What one pass of a day needs besides the lines of the simulator."""

    config: Config
    recorder: Recorder | NoRecorder
    now_s: float = 0.0
    lull: Lull = field(default_factory=Lull)  # what the judge of quiet spells remembers at the last Frame

    def frames(self, lines: Iterable[str]) -> Iterator[Frame]:
        """Every Frame of a stream of stamped lines.

        Raises:
            LogError: a line is not what the simulator writes.
        """
        inbox = Inbox([rod.name for rod in self.config.rods], lambda: self.now_s)
        happened = Happened(self.config.rods, self.config.bodies, inbox, self.recorder, lambda: self.now_s)
        state = pipeline.initial(self.config, "simulated")
        for tick, sentences in enumerate(self.instants(lines, happened.heard)):
            inputs = inbox.into(Inputs(tick * STEP_S, sentences))
            framed = tick % FRAME_EVERY == 0
            self._record(inputs, framed)
            if not framed:
                state = pipeline.advance(state, inputs)
                continue
            state, frame = pipeline.step(state, inputs)
            happened.before.add(frame)
            self.lull = state.lines.lull
            yield frame
        if inbox.refused:
            raise LogError(f"{inbox.refused.total()} of what the crew told was refused: {inbox.error}")

    def instants(
        self, lines: Iterable[str], tell: Callable[[bytes], None] = lambda body: None
    ) -> Iterator[tuple[Sentence, ...]]:
        """The sentences of each instant of the grid; what is told goes out before its instant.

        Raises:
            LogError: a line is not what the simulator writes.
        """
        sentences: list[Sentence] = []
        tick = 0
        for line in lines:
            try:
                row = json.loads(line)
                t_s = float(row["t_s"])
            except (ValueError, TypeError, KeyError):
                raise LogError(f"not a line of the simulator: {line[:60]!r}") from None
            while t_s > tick * STEP_S + 1e-9:
                yield tuple(sentences)
                sentences, tick = [], tick + 1
            self.now_s = t_s
            if "told" in row:
                tell(to_json(row["told"]))
            else:
                sentences.append(Sentence(t_s, SOURCE, row["text"]))
        yield tuple(sentences)

    def _record(self, inputs: Inputs, framed: bool) -> None:
        while self.recorder.waiting > WAITING_MOST:
            time.sleep(0.01)
        self.recorder.step(inputs, framed)


def stamped(scenario: str, seed: int, seconds: float | None) -> Generator[str, None, None]:
    """The lines of a scenario as the simulator makes them, in a process of its own.

    Raises:
        LogError: the simulator fails.
    """
    arguments = [scenario, "--to", "stamped:-", "--seed", str(seed)]
    arguments += [] if seconds is None else ["--seconds", str(seconds)]
    process = subprocess.Popen(
        sim_process.command(arguments),
        env=sim_process.environment(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    try:
        yield from iter(process.stdout.readline, "")  # the stream itself would be closed with this generator
        if process.wait() != 0:
            raise LogError(f"the simulator ended with {process.returncode}")
    finally:
        process.kill()
        process.communicate()


def record(
    scenario: str,
    config: Config,
    root: Path | None,
    seed: int = 0,
    seconds: float | None = None,
    show: Callable[[Frame], None] = lambda frame: None,
) -> str | None:
    """Play a whole day into a new outing below `root`, as fast as it goes; its id.

    Raises:
        LogError: the simulator fails.
    """
    recorder = logbook.begun(root, config, "simulated")
    day = Day(config, recorder)
    began_s = time.monotonic()
    try:
        for frame in day.frames(stamped(scenario, seed, seconds)):
            show(frame)
    finally:
        status = recorder.close(day.now_s)
    print(f"{day.now_s / 3600.0:.2f} h in {time.monotonic() - began_s:.0f} s", file=sys.stderr)
    return status.outing
