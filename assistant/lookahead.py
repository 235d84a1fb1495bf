"""Forecasts beside the live steps: when one is due, what it is asked, who gets it; and what-ifs, in between.

The live step only leaves its newest state here and takes the newest forecast along; it never waits. One question is
with the forecasting process at a time. Where a board is slow the interval grows, so that forecasts take half a core at
most; their age is shown.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from assistant import response_file, soundings_file
from assistant.advising import Live, worked_out
from assistant.ahead.asked import Unclear, of_query
from assistant.ahead.earlier import near
from assistant.ahead.following import Followed, Question, followed, question_of, turning
from assistant.ahead.gaps import Soundings
from assistant.ahead.learning import Learned
from assistant.ahead.outlook import Forecast
from assistant.configured import Config
from assistant.forecaster import Answer, Forecaster, ForecasterError, Job
from assistant.lines.spread import SpreadState
from assistant.messages import BoatState, Inputs, LineState, Mode, Outlook
from assistant.meter import quantile
from assistant.payloads import Json
from assistant.pipeline import FlowState, rod_states
from assistant.soundings_file import Kept
from assistant.web.settings import Refused

TURNING_EVERY_S, EVERY_S = 1.0, 5.0
BUSY = 2.0  # times what a forecast took is the least interval
ANSWER_S = 60.0  # a process that does not answer is ended
FIRST_ANSWER_S = 900.0  # a new one may have to compile first, which takes minutes on a slow board
RETRY_S = 5.0
MOST_WAITING = 4
AS_SAID_RADPS = math.radians(2.0)
WRITE_AT = 8  # soundings that wait: a minute and a half of trolling


class _Asked(NamedTuple):
    """A question that waits; of lines at another instant than when it is answered, if they are given."""

    question: Question
    answer: asyncio.Future[Answer]
    spread: SpreadState | None = None


@dataclass(frozen=True, slots=True)
class Foretold:
    """The newest forecast, ready to be sent."""

    seq: int
    t_s: float
    body: bytes  # JSON object
    took_s: float  # CPU


class Lookahead:
    """What the daemon has of it: `step` and `into` with each step, `run` as one task.

    Args:
        config, seed: of the live flow; mode: goes with every payload; now_s: t_s [s] of now.
        publish: called with each new forecast's payload. known: what was learned of the boat before.
        keep: called with what is known of it after each turn. soundings: of this and earlier outings.
    """

    def __init__(
        self,
        config: Config,
        mode: Mode,
        now_s: Callable[[], float],
        publish: Callable[[bytes], None],
        known: Learned | None = None,
        keep: Callable[[Learned], None] = lambda known: None,
        soundings: Kept | None = None,
        seed: int = 0,
    ) -> None:
        self._soundings = soundings
        self._config, self._mode, self._now_s, self._publish, self._keep = config, mode, now_s, publish, keep
        self._forecaster = Forecaster(config, seed)
        self._seed = seed
        self._followed = Followed(learned=known or Learned())
        self._flow: FlowState | None = None
        self._boat: BoatState | None = None
        self._fish_on = False
        self._due_s = 0.0
        self._wake = asyncio.Event()
        self._lines: Mapping[str, LineState] = {}
        self._asked: deque[_Asked] = deque()
        self._advising = asyncio.Lock()
        self._outlook: Outlook | None = None  # not yet taken by a step
        self._every_s = EVERY_S
        self._reason = "not yet"
        self.newest: Foretold | None = None
        self.took_s: list[float] = []  # CPU time of each of this run's forecasts

    def into(self, inputs: Inputs) -> Inputs:
        """The step's inputs with the newest forecast, if there is one since the last step."""
        outlook, self._outlook = self._outlook, None
        return inputs if outlook is None else replace(inputs, outlook=outlook)

    def step(
        self, flow: FlowState, boat: BoatState | None, lines: Mapping[str, LineState] | None = None
    ) -> None:
        """Take note of the live state; boat and lines: where a Frame was made. Never waits."""
        _, stw, heading = flow.boat.steering
        spread, before = flow.lines.spread, self._followed
        self._followed = followed(before, spread.t_s, stw, heading, spread.motion, boat)
        self._flow, self._boat, self._lines = flow, boat or self._boat, lines or self._lines
        if boat is not None and self._soundings is not None:
            self._soundings.see(boat)
            if self._soundings.waiting >= WRITE_AT:
                asyncio.get_running_loop().run_in_executor(None, self._soundings.write)
        fish_on = "fish on" in rod_states(flow.lines)
        if turning(self._followed) != turning(before) or fish_on != self._fish_on:
            self._due_s = 0.0
        self._fish_on = fish_on
        if self._followed.learned.turns > before.learned.turns:
            self._keep(self._followed.learned)
        if self._asked or self._now_s() >= self._due_s:
            self._wake.set()

    async def run(self) -> None:
        """Forecast and answer until cancelled."""
        try:
            while True:
                await self._wake.wait()
                self._wake.clear()
                while self._asked or self._now_s() >= self._due_s:
                    if self._now_s() >= self._due_s:
                        await self._forecast()
                    if self._asked:
                        await self._answer(self._asked.popleft())
        finally:
            for waiting in self._asked:
                waiting.answer.cancel()
            self._forecaster.stop()
            if self._soundings is not None:
                self._soundings.write()

    async def what_if(self, asked: Mapping[str, str]) -> bytes:
        """The answer to a question typed or tapped, as a forecast's JSON object.

        Raises:
            Refused: it makes no sense; or nothing can be said now, and why.
        """
        question, _ = self._understood(asked)
        if len(self._asked) >= MOST_WAITING:
            raise Refused(503, "too many questions at once: ask again")
        answer = await self._put(_Asked(question, asyncio.get_running_loop().create_future()))
        if answer.outlook is None:
            raise Refused(503, "no forecast: no water speed or heading")
        return self._with_age(Foretold(0, answer.outlook.t_s, answer.body, answer.took_s))

    async def advice(self, asked: Mapping[str, str]) -> bytes:
        """What would keep every line clear through the turn asked for, see advising.py. Raises Refused."""
        question, boat = self._understood(asked)
        if self._advising.locked():
            raise Refused(503, "advice is being worked out already: ask again")
        assert self._flow is not None
        live = Live(self._flow.lines.spread, boat, self._lines, self._flow.lines.outlook)
        async with self._advising:
            return await worked_out(self._config, question, live, self._look)

    async def _look(self, question: Question, spread: SpreadState) -> Forecast:
        """One of the forecasts that advice rests on."""
        answer = await self._put(_Asked(question, asyncio.get_running_loop().create_future(), spread))
        if answer.told is None:
            raise Refused(503, "no advice: no water speed or heading")
        return answer.told

    async def _put(self, asked: _Asked) -> Answer:
        """Wait in line for the answer; Refused when the process fails."""
        self._asked.append(asked)
        self._wake.set()
        try:
            return await asked.answer
        except ForecasterError as error:
            raise Refused(503, str(error)) from None

    def _understood(self, asked: Mapping[str, str]) -> tuple[Question, BoatState]:
        """What is asked, and of which boat. Raises Refused."""
        boat = self._boat
        if boat is None or boat.stw_mps.value is None:
            raise Refused(503, f"no forecast: {self._reason or 'no water speed'}")
        try:
            return of_query(asked, boat.stw_mps.value, self._config.boat.fish_speed_mps), boat
        except Unclear as unclear:
            raise Refused(422, str(unclear)) from None

    def payload(self) -> bytes | None:
        """The newest forecast with its age; None while there is none."""
        newest = self.newest
        return None if newest is None else self._with_age(newest)

    def status(self) -> Json:
        """How it goes, to be shown: state is empty when all is well."""
        newest = self.newest
        return {
            "seq": 0 if newest is None else newest.seq,
            "age_s": None if newest is None else round(self._now_s() - newest.t_s, 2),
            "every_s": round(self._every_s, 2),
            "state": self._reason,
            "starts": self._forecaster.starts,
        }

    def summary(self) -> Json:
        """For the end of a run: how many, CPU time of one, and how often the process was started."""
        took = {name: quantile(self.took_s, share) for name, share in (("p50", 0.5), ("max", 1.0))}
        return {
            "made": len(self.took_s),
            "took_ms": {name: None if v is None else round(1000.0 * v) for name, v in took.items()},
            "starts": self._forecaster.starts,
        }

    def helm_words(self) -> str:
        """What is known of the boat's answer to the helm, in one line."""
        known = self._followed.learned
        cost, sigma = (100.0 * AS_SAID_RADPS * value for value in (known.loss_s, known.sigma_s))
        turns = "no turn seen yet" if not known.turns else f"{known.turns} turns seen"
        return f"a turn at 2 deg/s costs {cost:.0f} % of the speed, +- {sigma:.0f} ({turns})"

    def words(self) -> str:
        """The same in one line."""
        return f"forecast: {self._reason}" if self._reason else "forecasts are made"

    def _with_age(self, told: Foretold) -> bytes:
        head = b'{"mode":"%s","seq":%d,"age_s":%.2f,"every_s":%.2f,"took_s":%.3f,' % (
            self._mode.encode(), told.seq, max(self._now_s() - told.t_s, 0.0), self._every_s, told.took_s,
        )  # fmt: skip
        return head + told.body[1:]

    async def _ask(self, question: Question, spread: SpreadState | None = None) -> Answer:
        """Put one question about the lines as they are now, or as they were: then the whole forecast is wanted."""
        assert self._flow is not None
        now = self._followed
        job = Job(
            question, now.learned.response(), self._sounded(now.soundings), self._seed, spread is not None,
            self._flow.lines.watch.felt,
        )  # fmt: skip
        try:
            async with asyncio.timeout(ANSWER_S if self._forecaster.answered else FIRST_ANSWER_S):
                return await asyncio.to_thread(self._forecaster.ask, job, spread or self._flow.lines.spread)
        except TimeoutError:
            self._forecaster.stop()
            raise ForecasterError("the forecasting process does not answer") from None

    def _sounded(self, track: Soundings | None) -> Soundings | None:
        """The track with what was sounded around here before."""
        if track is None or self._soundings is None or self._boat is None:
            return track
        here = (track.place_m[0] + track.drifted_m[0], track.place_m[1] + track.drifted_m[1])
        return replace(track, earlier=near(self._soundings.rows, self._boat, here))

    async def _forecast(self) -> None:
        """The forecast that is due."""
        begin_s = self._now_s()
        wanted_s = TURNING_EVERY_S if turning(self._followed) else EVERY_S
        self._due_s = begin_s + wanted_s
        if self._flow is None or self._boat is None:
            return
        question = question_of(
            self._followed,
            self._boat,
            rod_states(self._flow.lines),
            self._config.boat.fish_speed_mps,
        )
        if question is None:
            self._reason = (
                self._boat.stw_mps.cause or self._boat.heading_rad.cause or "no water speed or heading"
            )
            return
        try:
            answer = await self._ask(question)
        except ForecasterError as error:
            self._reason, self._due_s = str(error), self._now_s() + RETRY_S
            return
        self._every_s = max(wanted_s, BUSY * (self._now_s() - begin_s))
        if self._due_s:  # else something began meanwhile: at once again
            self._due_s = begin_s + self._every_s
        if answer.outlook is None:
            self._reason = "no water speed or heading"
            return
        self._take(answer, answer.outlook)

    def _take(self, answer: Answer, outlook: Outlook) -> None:
        self._reason = ""
        self.took_s.append(answer.took_s)
        seq = 1 if self.newest is None else self.newest.seq + 1
        self.newest = Foretold(seq, outlook.t_s, answer.body, answer.took_s)
        self._outlook = outlook
        self._publish(self._with_age(self.newest))

    async def _answer(self, asked: _Asked) -> None:
        """One that waited."""
        try:
            answer = await self._ask(asked.question, asked.spread)
        except ForecasterError as error:
            if not asked.answer.done():
                asked.answer.set_exception(error)
            return
        if not asked.answer.done():  # else whoever asked has gone
            asked.answer.set_result(answer)


def looking_ahead(
    config: Config,
    mode: Mode,
    now_s: Callable[[], float],
    publish: Callable[[bytes], None],
    outings: Path | None,
    say: Callable[[str], None],
) -> Lookahead:
    """Forecasts by what is known of the boat; what more is learned is kept beside the outings, if there are any."""
    if outings is None:
        return Lookahead(config, mode, now_s, publish)
    file = response_file.file_of(outings, config.boat.id)

    def write(known: Learned) -> None:
        try:
            response_file.write(file, known)
        except OSError as error:
            say(f"{file}: {error.strerror}")

    def keep(known: Learned) -> None:
        asyncio.get_running_loop().run_in_executor(None, write, known)  # nobody waits for the disk

    kept = Kept(soundings_file.file_of(outings, config.boat.id), say) if mode == "live" else None
    return Lookahead(config, mode, now_s, publish, response_file.read(file), keep, kept)
