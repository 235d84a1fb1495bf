"""Turns a world into a stream: sentences at their instants, and once a second the truth."""

from __future__ import annotations

import datetime
import heapq
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from sim.aboard import Crew
from sim.faults import SENTENCE_FAULTS, VALUE_FAULTS, Fault, Sending
from sim.instruments import SENTENCES, Sensors, Shown, framed
from sim.scenario import Scenario
from sim.world import BOAT_STEP_S, World

NOMINAL_SENTENCES_PER_S = 20.0
"""What the rates of SENTENCES add up to on a boat with the usual set."""


@dataclass(frozen=True, slots=True)
class Out:
    """One thing that happens at t_s: a sentence without line end, a line of truth or what the crew tells (JSON)."""

    t_s: float
    kind: Literal["sentence", "truth", "told"]
    text: str


class Feed:
    """The stream of one scenario.

    Args:
        scenario: instruments, faults, start.
        world: what is true.
        seed: of the noise and of faults that strike by chance.
        truth: whether lines of truth are wanted.
    """

    def __init__(self, scenario: Scenario, world: World, seed: int, truth: bool) -> None:
        self._scenario, self._world, self._truth = scenario, world, truth
        self._sensors = Sensors(scenario.instruments, seed)
        self._chance = np.random.default_rng([seed, 21])
        self._crew = Crew(scenario.aboard, seed)
        self._before: dict[str, float | None] = {}
        self._scale = scenario.instruments["sentences_per_s"] / NOMINAL_SENTENCES_PER_S
        self._count = dict.fromkeys(scenario.fitted, 0)

    def run(self, seconds: float) -> Iterator[Out]:
        """Everything from t = 0 up to and including `seconds`, in order of time.

        Raises:
            NoSolution: a line could not be marched.
        """
        waiting: list[tuple[float, int, str]] = []
        serial = 0
        while True:
            t = self._world.t_s
            if round(t / BOAT_STEP_S) % round(1.0 / BOAT_STEP_S) == 0:
                if self._truth:
                    yield Out(t, "truth", self._truth_line(t))
                for text in self._crew.read(self._world.pull_n):
                    yield Out(t, "sentence", text)
                for text in self._crew.tell(t, self._world.touches):
                    yield Out(t, "told", text)
            for sending in self._sendings(t):
                heapq.heappush(waiting, (sending.t_s, serial, sending.text))
                serial += 1
            while waiting and waiting[0][0] <= t + 1e-9:
                yield Out(t, "sentence", heapq.heappop(waiting)[2])
            if t >= seconds - 1e-9:
                return
            self._world.step()

    def _utc(self, t_s: float) -> datetime.datetime:
        return self._scenario.start_utc + datetime.timedelta(seconds=round(t_s, 3))

    def _truth_line(self, t_s: float) -> str:
        record: dict[str, Any] = {
            "t_s": round(t_s, 3),
            "utc": self._utc(t_s).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "boat": self._world.boat_quantities(),
            "lines": self._world.line_quantities(),
        }
        return json.dumps(record, allow_nan=False)

    def _due(self, t_s: float) -> list[str]:
        """Sentences whose turn it is, each counted."""
        due = []
        for name, count in self._count.items():
            row = SENTENCES[name]
            if t_s >= (row.first_s + count / row.rate_hz) / self._scale - 1e-9:
                self._count[name] += 1
                due.append(name)
        return due

    def _sendings(self, t_s: float) -> Iterator[Sending]:
        due = self._due(t_s)
        if not due:
            return
        measured = self._sensors.measure(self._world.boat_quantities(), t_s)
        shown = Shown(self._utc(t_s), self._with_faults(measured, t_s), self._scenario.instruments)
        for name in due:
            sending: Sending | None = Sending(t_s, framed(SENTENCES[name].write(shown)))
            for fault in self._faults("sentence", t_s, name):
                if sending is not None:
                    sending = SENTENCE_FAULTS[fault.kind](sending, fault.size)
            if sending is not None:
                yield sending

    def _with_faults(self, measured: dict[str, float | None], t_s: float) -> dict[str, float | None]:
        struck: set[str] = set()
        for fault in self._faults("quantity", t_s, None):
            name = str(fault.quantity)
            struck.add(name)
            measured[name] = VALUE_FAULTS[fault.kind](measured[name], self._before.get(name), fault.size)
        self._before.update({name: value for name, value in measured.items() if name not in struck})
        return measured

    def _faults(
        self, target: Literal["sentence", "quantity"], t_s: float, name: str | None
    ) -> Sequence[Fault]:
        return [
            fault
            for fault in self._scenario.faults
            if (fault.sentence in (name, "*") if target == "sentence" else fault.quantity is not None)
            and fault.strikes(t_s, self._chance)
        ]
