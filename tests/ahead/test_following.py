"""What is forecast when: the turn being steered, a stop for a fish, straight on, or nothing where nothing is known."""

from __future__ import annotations

import asyncio
import math
from dataclasses import replace
from typing import Any

import pytest
from ahead_tools import shipped

from assistant import locate, pipeline
from assistant.ahead.following import Followed, followed, question_of, turning
from assistant.configured import Config
from assistant.forecaster import Answer, ForecasterError, Job
from assistant.lines.motion import Motion
from assistant.lookahead import EVERY_S, RETRY_S, TURNING_EVERY_S, Lookahead
from assistant.messages import BoatState, Estimate, Inputs, LineSetting, Outlook, Sentence, State

DT = 0.25


def boat(t_s: float, heading: float, speed: float = 1.0, state: State = "ok", turn: float = 0.0) -> BoatState:
    def known(value: float, sigma: float = 0.01) -> Estimate:
        return Estimate(value, sigma, state, 0.1, "test", "" if state == "ok" else "speed from GPS")

    return BoatState(
        t_s, stw_mps=known(speed), heading_rad=known(heading % math.tau), rate_of_turn_radps=known(turn),
        water_depth_m=known(30.0), set_rad=known(0.0), drift_mps=known(0.0),
    )  # fmt: skip


def sailed(seconds: float, turn_radps: float = 0.0) -> tuple[Followed, BoatState]:
    """Twenty seconds straight on, then turning."""
    now, motion = Followed(), Motion(0.0, 0.0, 1.0, 0.5)
    here = boat(0.0, 0.5)
    for tick in range(1, round((20.0 + seconds) / DT)):
        turn = turn_radps if tick * DT > 20.0 else 0.0
        motion = motion.follow(1.0, motion.heading_rad + turn * DT, DT)
        here = boat(tick * DT, motion.heading_rad, turn=turn)
        now = followed(now, here.t_s, here.stw_mps, here.heading_rad, motion, here)
    return now, here


def test_the_rate_of_a_turn_in_waves_is_that_of_the_last_ten_seconds() -> None:
    """Yaw of 0.7 degrees in a swell of 3 s swings the rate by 1.5 deg/s about the turn's 1.3.

    A least-squares slope over 10 s is off by 0.01 deg/s at most (worked out for every phase).
    """
    turn, yaw = math.radians(1.3), math.radians(0.7)
    motion, now = Motion(0.0, 0.0, 1.0, 0.0), Followed()
    for tick in range(1, 200):
        t_s = tick * DT
        heading = turn * max(t_s - 20.0, 0.0) + yaw * math.sin(math.tau * t_s / 3.0)
        swinging = turn + yaw * math.tau / 3.0 * math.cos(math.tau * t_s / 3.0)
        motion = motion.follow(1.0, heading, DT)
        here = boat(t_s, heading, turn=swinging)
        now = followed(now, t_s, here.stw_mps, here.heading_rad, motion, here)
        if t_s > 36.0:
            asked = question_of(now, here, ["fishing"], 0.54)
            assert asked is not None and asked.kind == "turn"
            assert abs(asked.manoeuvre.rate_radps - turn) < math.radians(0.03)


def test_straight_on_a_turn_and_a_fish() -> None:
    straight, here = sailed(5.0)
    asked = question_of(straight, here, ["fishing"], 0.54)
    assert asked is not None and (asked.kind, asked.state, turning(straight)) == ("straight", "ok", False)
    turn, here = sailed(15.0, math.radians(-2.0))
    asked = question_of(turn, here, ["fishing"], 0.54)
    assert asked is not None and turning(turn) and asked.kind == "turn"
    assert asked.manoeuvre.angle_rad() < 0.0 and asked.manoeuvre.under_way
    fish = question_of(turn, here, ["fishing", "fish on"], 0.54)
    assert fish is not None and (fish.kind, fish.manoeuvre.speed_mps) == ("fish", 0.54)
    slow = replace(here, stw_mps=here.stw_mps._replace(value=0.56))
    slowed = question_of(straight, slow, ["fish on"], 0.54)
    assert slowed is not None and slowed.kind == "straight"  # it has slowed: as it goes now


def test_what_is_stale_is_not_forecast_and_doubt_goes_along() -> None:
    now, here = sailed(5.0)
    for state, wanted in (("stale", None), ("dead", None), ("doubtful", "doubtful")):
        worse = replace(here, stw_mps=here.stw_mps._replace(state=state, cause="speed from GPS"))
        asked = question_of(now, worse, ["fishing"], 0.54)
        assert (None if asked is None else asked.state) == wanted
    assert asked is not None and asked.cause == "speed from GPS"


def test_soundings_are_kept_behind_the_boat() -> None:
    now, _ = sailed(40.0)
    assert now.soundings is not None
    assert 10 <= len(now.soundings.track) <= 16  # 60 m of way, one every 4 m
    assert now.soundings.track[:, 2] == pytest.approx(30.0)


class Fake:
    """In the process's place: writes down what it is asked, and may fail."""

    starts = 1
    answered = True

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.fails = False

    def ask(self, job: Job, state: Any) -> Answer:
        self.jobs.append(job)
        if self.fails:
            raise ForecasterError("the forecasting process ended (-9)")
        return Answer(Outlook(state.t_s, job.question.kind, "", (0.0, 1.0)), b'{"kind":"x"}', 0.1)

    def stop(self) -> None:
        """Nothing to end."""


def lookahead(config: Config) -> tuple[Lookahead, Fake, list[bytes], list[float]]:
    clock, sent = [0.0], list[bytes]()
    one, fake = Lookahead(config, "live", lambda: clock[0], sent.append), Fake()
    one._forecaster = fake  # type: ignore[assignment]
    return one, fake, sent, clock


def test_when_forecasts_are_made_and_what_becomes_of_them() -> None:
    """Every 5 s, at once when a fish is on, again after a failure; each goes to one step, and says its age."""
    asyncio.run(_played())


async def _played() -> None:
    config = shipped()
    one, fake, sent, clock = lookahead(config)
    state = pipeline.initial(config, "live")
    task = asyncio.create_task(one.run())

    async def steps(until_s: float, *settings: LineSetting) -> None:
        nonlocal state, said
        said = settings
        while clock[0] < until_s:
            clock[0] += DT
            texts = ("$IIHDT,200,T", "$IIVHW,,T,,M,4.0,N,,K")
            inputs = one.into(
                Inputs(clock[0], tuple(Sentence(clock[0], "test", text) for text in texts), said)
            )
            taken.append(inputs.outlook is not None)
            state, said = pipeline.advance(state, inputs), ()
            one.step(state, locate.boat_now(state.boat))
            await asyncio.sleep(0.02)

    said: tuple[LineSetting, ...] = ()
    taken: list[bool] = []
    await steps(2.0)
    assert one.newest is None and "speed" in one.words()  # not proven yet
    await steps(17.5)
    assert 2 <= len(fake.jobs) <= 1 + 16 / EVERY_S
    assert len(sent) == len(fake.jobs) and sum(taken) >= len(sent) - 1
    assert sent[-1].startswith(b'{"mode":"live","seq":') and b'"age_s":' in sent[-1]
    before = len(fake.jobs)
    await steps(18.5, LineSetting(18.0, "P1", rod_state="fish on"))
    assert len(fake.jobs) > before and fake.jobs[-1].question.kind == "fish"
    fake.fails = True
    await steps(18.5 + EVERY_S + 1.0)
    assert one.words() == "forecast: the forecasting process ended (-9)"
    fake.fails = False
    await steps(clock[0] + RETRY_S + 1.5)
    assert one.words() == "forecasts are made"
    assert one.status()["age_s"] is not None and TURNING_EVERY_S < EVERY_S
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
