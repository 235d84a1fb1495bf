"""The I/O shell of the live flow: sources -> intake -> pipeline.step at 4 Hz -> broker and page.

One TaskGroup of named tasks. Time is the event loop's, from the daemon's start; a step that comes late is
made up for at once, never left out, and counted. Nothing downstream is waited for: broker and page hold the
newest state only.
"""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from assistant import __version__, locate, notes, payloads, pipeline
from assistant.alerts.upkeep import advice
from assistant.configured import Config
from assistant.errors import OptionError
from assistant.inbox import SENSOR_TOPIC, Inbox
from assistant.intake import Intake, open_intake, replayed_file
from assistant.locate import STEP_S
from assistant.lookahead import looking_ahead
from assistant.messages import BoatState, Frame, Inputs, Mode, Sentence
from assistant.meter import Meter
from assistant.outings import logbook, store
from assistant.outings.happened import EVENT_TOPIC, Happened
from assistant.page_alerts import PageAlerts
from assistant.speaker import Speaker
from assistant.web.server import PageServer
from assistant.web.signalk import Feed
from assistant.web.signalk_tcp import LineServer
from firmware_bridge.mqtt import Publisher, Status

PUBLISH_EVERY = round(payloads.PUBLISH_PERIOD_S / STEP_S)  # steps
WATCH_S = 0.5
PROBE_S = 0.02  # between two looks at how late the event loop is
CANCEL_AGAIN_S = 1.5  # longer than a broker's goodbye

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Options:
    """What a run is asked to do; `show` gets every published frame."""

    config: Config
    sources: tuple[str, ...]
    broker: str
    port: int
    seconds: float | None = None
    simulated: bool = False
    show: Callable[[Frame], None] | None = None
    outings: Path | None = None  # where the outing is recorded; None: it is not


def say(text: str) -> None:
    """One line to the person at the terminal."""
    print(text, file=sys.stderr, flush=True)


def warm_up(config: Config) -> None:
    """Take a boat through its first seconds, so that all that is compiled is there before the first step."""
    say("getting the line model ready (the first start on a machine takes some seconds)")
    state = pipeline.initial(config, "simulated")
    for tick in range(24):
        t_s = tick * STEP_S
        texts = (f"$IIHDT,{200 + tick},T", "$IIVHW,,T,,M,4.0,N,,K", "$IIVTG,200.0,T,,M,4.0,N,,K,A")
        sentences = tuple(Sentence(t_s, "warm-up", text) for text in texts)
        state, _ = pipeline.step(state, Inputs(t_s, sentences, settle=tick == 20))


async def end(tasks: list[asyncio.Task[None]]) -> None:
    """Cancel tasks until they have ended: asyncio.wait_for of Python 3.11 can lose a cancellation that races."""
    pending = set(tasks)
    while pending:
        for task in pending:
            task.cancel()
        _, pending = await asyncio.wait(pending, timeout=CANCEL_AGAIN_S)


async def beside(work: Callable[[], T]) -> T:
    """Do `work` in a thread, so that a long step (lines that settle anew) keeps nobody else waiting.

    Cancelled meanwhile, it is finished first: a step that was recorded is a step that was made and shown.
    """
    future = asyncio.get_running_loop().run_in_executor(None, work)
    cancelled = False
    while not future.done():
        try:
            await asyncio.wait([future])
        except asyncio.CancelledError:
            cancelled = True
    if cancelled:
        task = asyncio.current_task()
        assert task is not None
        task.cancel()  # at the next await
    return future.result()


class Daemon:
    """One run, from `run()` to its summary."""

    def __init__(self, options: Options) -> None:
        self._options = options
        self._loop = asyncio.get_running_loop()
        self._start_s = self._loop.time()
        self._intake: Intake = open_intake(options.sources, self._now_s)
        config = options.config
        self._inbox = Inbox([rod.name for rod in config.rods], self._now_s)
        self._stop = asyncio.Event()
        self._meter = Meter()
        self._fresh = 0  # sentences since the last publication
        mode: Mode = "replayed" if replayed_file(options.sources) else "live"
        mode = "simulated" if options.simulated else mode
        self._state = pipeline.initial(config, mode)
        self._recorder = logbook.begun(options.outings, config, mode)
        self._happened = Happened(config.rods, config.bodies, self._inbox, self._recorder, self._now_s)
        self._ahead = looking_ahead(config, mode, self._now_s, self._foretold, options.outings, say)
        self._speaker = Speaker(config.speak, self._now_s)
        heard = {SENSOR_TOPIC: self._inbox.sensor, EVENT_TOPIC: self._happened.heard}
        self._publisher = Publisher(options.broker, config.boat.id, self._loop.time, heard)
        identity = (config.boat.id, config.signalk_vessel)
        self._signalk = Feed(*identity, mode, __version__) if config.signalk else None
        self._lines_out = LineServer(self._signalk, config.signalk_port)
        self._page_alerts = PageAlerts(options.broker, self._inbox.act)
        self._page = PageServer(
            options.port,
            config.boat.title,
            config.boat.units,
            config.rods,
            self._happened.changed,
            bodies=config.bodies,
            now_s=self._now_s,
            on_action=self._page_alerts.act,
            on_note=self._happened.noted,
            on_event=self._happened.asked,
            kinds=notes.offered(),
            foreteller=self._ahead,
            signalk=self._signalk,
        )

    def _foretold(self, payload: bytes) -> None:
        """Hand out a new forecast."""
        self._publisher.offer({"forecast": (payload, False, 0)})

    def _now_s(self) -> float:
        return self._loop.time() - self._start_s

    async def run(self) -> dict[str, object]:
        """Run until stopped by a signal or by `seconds`; returns the summary.

        Raises:
            BrokerError: the embedded broker does not start.
            OSError: no port for the page.
        """
        for number in (signal.SIGINT, signal.SIGTERM):
            self._loop.add_signal_handler(number, self._stop.set)
        try:
            await self._open()
        except Exception:
            self._recorder.close(0.0)  # an outing in which nothing was recorded leaves nothing behind
            raise
        self._start_s = self._loop.time()
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._page.serve(self._stop), name="page")
            tasks.create_task(self._lines_out.serve(self._stop), name="signalk")
            others = [
                tasks.create_task(self._publisher.run(), name="mqtt"),
                tasks.create_task(self._steps(), name="steps"),
                tasks.create_task(self._watch(), name="watch"),
                tasks.create_task(self._probe(), name="probe"),
                tasks.create_task(self._ahead.run(), name="ahead"),
                tasks.create_task(self._speaker.run(), name="speaker"),
            ]
            others += [tasks.create_task(task, name=name) for name, task in self._intake.tasks().items()]
            await self._stopped()
            await end(others)
            await asyncio.to_thread(self._recorder.close, self._meter.steps * STEP_S)
        return self._summary()

    async def _open(self) -> None:
        """Bind page and broker and say where they are."""
        asked = self._options.port
        self._page.bind()
        taken = "" if self._page.port == asked else f" (port {asked} is taken)"
        say(f"page    {self._page.url}{taken}")
        if where := self._lines_out.bind():
            say(f"signalk {where}")
        before = self._publisher.port
        await self._publisher.start()
        taken = "" if self._publisher.port == before else f" (port {before} is taken)"
        say(f"broker  {self._publisher.status.broker}{taken}")

    async def _stopped(self) -> None:
        """Wait for the end: a signal, or the seconds asked for."""
        try:
            async with asyncio.timeout(self._options.seconds):
                await self._stop.wait()
        except TimeoutError:
            self._stop.set()

    async def _steps(self) -> None:
        """One step for every instant of the grid, however late."""
        tick = 0
        while True:
            due_s = tick * STEP_S
            await asyncio.sleep(max(0.0, due_s - self._now_s()))
            self._meter.stepped(self._now_s() - due_s)
            inputs = self._ahead.into(self._inbox.into(self._intake.take(tick)))
            self._fresh += len(inputs.sentences)
            self._recorder.step(inputs, framed=tick % PUBLISH_EVERY == 0)
            if tick % PUBLISH_EVERY:
                self._state = await beside(partial(pipeline.advance, self._state, inputs))
                self._ahead.step(self._state, None)
            else:
                self._state, frame = await beside(partial(pipeline.step, self._state, inputs))
                boat = locate.boat_now(self._state.boat)
                self._publish(frame, boat, due_s)
                self._ahead.step(self._state, boat, frame.lines)
            tick += 1

    async def _probe(self) -> None:
        """Note how late the loop wakes one of its tasks, whatever keeps it."""
        while True:
            due_s = self._now_s() + PROBE_S
            await asyncio.sleep(PROBE_S)
            self._meter.woke(self._now_s() - due_s)

    def _publish(self, frame: Frame, boat: BoatState, due_s: float) -> None:
        """Hand the frame out; its sentences came before its instant `due_s`: latency counts from there."""
        self._publisher.offer(payloads.topic_messages(frame))
        limits = {rod: line.limited_by.get("depth_m", "") for rod, line in frame.lines.items()}
        extras = {"causes": locate.causes(boat), "limits": limits, "ahead": self._ahead.status()}
        shown = self._page_alerts.on(frame, self._recorder.status, self._publisher.status)
        self._page.offer(shown, {"status": self._status(), **extras})
        self._speaker.heard(frame.alerts)
        self._happened.before.add(frame)
        self._meter.published([self._now_s() - due_s] * self._fresh)
        self._fresh = 0
        if self._options.show is not None:
            self._options.show(frame)

    def _status(self) -> dict[str, object]:
        broker = self._publisher.status
        return {
            "broker": {"url": broker.broker, "connected": broker.connected, "reason": broker.reason},
            "sources": self._intake.status(),
            **({"sensors": {"refused": self._inbox.error}} if self._inbox.error else {}),
            **({"not used": dict(refused)} if (refused := self._state.lines.spread.refused) else {}),
            "slips": self._meter.slips,
            "helm": self._ahead.helm_words(),
            "recording": logbook.shown(self._recorder.status),
            **({"speech": self._speaker.state} if self._speaker.state else {}),
        }

    async def _watch(self) -> None:
        """Say it when a source or the broker changes for better or worse."""
        said: dict[str, str] = {}
        while True:
            await asyncio.sleep(WATCH_S)
            now = {str(s["url"]): f"{s['state']} {s['error']}".strip() for s in self._intake.status()}
            now[self._publisher.status.broker] = _broker_words(self._publisher.status)
            now["outing"] = logbook.words(self._recorder.status)
            now["ahead"] = self._ahead.words()
            for name, words in now.items():
                if said.get(name) != words:
                    say(f"{name}: {words}")
            said = now

    def _summary(self) -> dict[str, object]:
        counts = self._state.counts
        framing = self._intake.counts()
        return {
            "mode": self._state.lines.mode,
            "frames": self._state.lines.seq,
            "steps": self._meter.steps,
            "seconds": round(self._meter.steps * STEP_S, 2),
            "sentences": counts.sentences,
            "unused": counts.unused,
            "rejects": {
                **{k: v for k, v in framing.items() if k != "good" and v},
                **counts.rejects,
                **self._inbox.refused,
                **self._state.lines.spread.refused,
            },
            "latency_ms": self._meter.latency_ms(),
            "slips": self._meter.slips,
            "event_loop_late_ms": self._meter.late_ms(),
            "step_late_ms": self._meter.steps_late_ms(),
            "worst_late_ms": round(1000.0 * self._meter.worst_late_s, 1),
            "published": self._publisher.status.published,
            "forecasts": self._ahead.summary(),
            "outing": logbook.shown(self._recorder.status),
            "calibrate": [advice(one) for one in locate.misfits(self._state.boat)],
        }


def _broker_words(status: Status) -> str:
    return "connected" if status.connected and not status.reason else status.reason


def run(options: Options) -> dict[str, object]:
    """Run until the end; returns the summary. Call `warm_up` before.

    Raises:
        OptionError: a source or the broker is not of a known form.
        LogError: the recorded file cannot be read.
        BrokerError: the embedded broker does not start.
        OSError: no port for the page.
    """

    async def start() -> dict[str, object]:
        try:
            one = Daemon(options)
        except ValueError as error:
            raise OptionError(str(error)) from None
        return await one.run()

    return asyncio.run(start())


def run_boat(
    config: Config,
    sources: tuple[str, ...],
    broker: str | None,
    port: int | None,
    seconds: float | None,
    outings: str | None = None,
) -> dict[str, object]:
    """`spreadwatch run`: options not given come from the configuration. Raises what `run` raises.

    A recorded file that is played is not recorded again.
    """
    options = Options(
        config=config,
        sources=sources or config.sources,
        broker=config.broker if broker is None else broker,
        port=config.page_port if port is None else port,
        seconds=seconds,
        outings=store.root_of(config.outings if outings is None else outings),
    )
    if not options.sources:
        raise OptionError('no source: give --source, such as --source udp:10110, or "sources" in boat.toml')
    for name, file in config.origin.items():
        say(f"{name:7} {file}")
    warm_up(config)
    return run(options)
