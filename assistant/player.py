"""Frames shown on the page as a recording is: played at a rate, paused, dragged, stepped from event to event.

They are made in a thread, as fast as that goes, and kept as small compressed bodies; what is not yet made cannot be
shown yet, and the bar says how far it is.
"""

from __future__ import annotations

import asyncio
import bisect
import json
import math
import signal
import threading
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from assistant.configured import Config
from assistant.daemon import end, say
from assistant.messages import Event, Frame, LineSetting
from assistant.payloads import Json, to_json
from assistant.web.server import PageServer
from assistant.web.settings import Refused

KEPT_EVERY_S = 2.0  # between two Frames that can be shown
SHOWN_EVERY_S = 0.25  # of the clock on the wall
RATES = (1.0, 5.0, 20.0, 60.0)
LEAD_S = 10.0  # a step to an event goes so much before it
STOPS = ("fish on", "touch", "trip", "bend", "lean", "landed", "lost", "checked")
"""Events that a step stops at."""


@dataclass(slots=True)
class Kept:
    """What has been made so far; one thread appends, another reads."""

    times: list[float] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)
    over: bool = False
    error: str = ""

    def at(self, t_s: float) -> bytes | None:
        """The body last made up to a time, or the first one."""
        count = len(self.bodies)
        n = bisect.bisect_right(self.times, t_s, 0, count) - 1
        return zlib.decompress(self.bodies[max(n, 0)]) if count else None


@dataclass(slots=True)
class Bar:
    """Where the showing is and how it goes on."""

    rate: float
    t_s: float = 0.0
    playing: bool = True

    def asked(self, body: bytes, last_s: float, stops: Sequence[float]) -> None:
        """Do what the page asks: play, pause, seek (value: t_s), next, back, rate (value).

        Args:
            last_s: the last time there is; stops: times of events.
        Raises:
            Refused: it asks for something else.
        """
        try:
            asked = json.loads(body)
            do, value = asked.get("do"), asked.get("value")
        except (ValueError, AttributeError):
            raise Refused(400, 'body: want {"do": "play"}') from None
        number = value if isinstance(value, int | float) and not isinstance(value, bool) else math.nan
        match do:
            case "play" | "pause":
                self.playing = do == "play"
            case "seek" if math.isfinite(number):
                self.t_s = min(max(0.0, float(number)), last_s)
            case "rate" if number in RATES:
                self.rate = float(number)
            case "next":
                self.t_s = next(
                    (t for t in stops if t - self.t_s > LEAD_S and t - LEAD_S <= last_s), self.t_s + LEAD_S
                )
                self.t_s = min(self.t_s - LEAD_S, last_s)
            case "back":
                self.t_s = max(0.0, max((t for t in stops if t < self.t_s), default=LEAD_S) - LEAD_S)
            case _:
                raise Refused(
                    422, f"do: want play, pause, next, back, seek with a value, or rate with one of {RATES}"
                )


class Player:
    """One showing.

    Args:
        config: whose boat and rods; frames: in order of time; told: the events so far.
        port: the first to try for the page.
        extras: JSON that the page is told besides the newest of the frames.
    """

    def __init__(
        self,
        config: Config,
        frames: Iterable[Frame],
        told: Callable[[], Sequence[Event]],
        port: int,
        rate: float,
        extras: Callable[[], Mapping[str, object]] = dict,
    ) -> None:
        self._frames, self._told, self._extras = frames, told, extras
        self._kept, self._bar = Kept(), Bar(rate)
        self._stop = asyncio.Event()
        self._page = PageServer(
            port,
            config.boat.title,
            config.boat.units,
            config.rods,
            _refuse,
            bodies=config.bodies,
            on_player=self._asked,
        )

    async def run(self, seconds: float | None) -> dict[str, object]:
        """Show until stopped by a signal or by `seconds`; returns a summary.

        Raises:
            OSError: no port for the page.
        """
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self._stop.set)
        self._page.bind()
        say(f"page    {self._page.url}")
        making = threading.Thread(target=self._make, name="frames", daemon=True)
        making.start()
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._page.serve(self._stop), name="page")
            showing = tasks.create_task(self._show(), name="show")
            try:
                async with asyncio.timeout(seconds):
                    await self._stop.wait()
            except TimeoutError:
                self._stop.set()
            await end([showing])
        await asyncio.to_thread(making.join)  # it ends with the frame it is at
        return {
            "frames": len(self._kept.bodies),
            "made_s": self._last_s(),
            "shown_s": round(self._bar.t_s, 2),
        }

    def _make(self) -> None:
        """In the thread: every Frame as it is to be shown."""
        due_s = 0.0
        try:
            for frame in self._frames:
                if self._stop.is_set():
                    return
                if frame.t_s >= due_s:
                    body = to_json({**self._page.state(frame), **self._extras()})
                    self._kept.bodies.append(zlib.compress(body, 3))
                    self._kept.times.append(frame.t_s)
                    due_s = frame.t_s + KEPT_EVERY_S
        except Exception as error:  # noqa: BLE001  # said on the page; the thread has nobody else to tell
            self._kept.error = f"{type(error).__name__}: {error}"
        self._kept.over = True

    def _last_s(self) -> float:
        return self._kept.times[-1] if self._kept.times else 0.0

    def _stops(self) -> list[float]:
        return sorted(event.t_s for event in tuple(self._told()) if event.kind in STOPS)

    def _asked(self, body: bytes) -> Json:
        self._bar.asked(body, self._last_s(), self._stops())
        return self._shown()

    def _shown(self) -> Json:
        """The bar as the page draws it."""
        told = sorted(self._told(), key=lambda e: e.t_s)
        return {
            "t_s": round(self._bar.t_s, 2),
            "made_s": self._last_s(),
            "over": self._kept.over,
            "error": self._kept.error,
            "rate": self._bar.rate,
            "rates": list(RATES),
            "playing": self._bar.playing,
            "events": [
                {"t_s": e.t_s, "words": f"{e.rod or ''} {e.kind}".strip()} for e in told if e.kind in STOPS
            ],
        }

    async def _show(self) -> None:
        """Go on in the recording, and show where it is."""
        loop = asyncio.get_running_loop()
        last = loop.time()
        while True:
            await asyncio.sleep(SHOWN_EVERY_S)
            now = loop.time()
            if self._bar.playing:
                self._bar.t_s = min(self._bar.t_s + self._bar.rate * (now - last), self._last_s())
            last = now
            body = self._kept.at(self._bar.t_s)
            if body is not None:
                bar = to_json(self._shown())
                self._page.offer_body(body[:-1] + b',"player":' + bar + b"}")


def _refuse(setting: LineSetting) -> None:
    raise Refused(409, "this is a recording: nothing can be set")


def show(
    config: Config,
    frames: Iterable[Frame],
    told: Callable[[], Sequence[Event]],
    port: int,
    rate: float,
    seconds: float | None,
    extras: Callable[[], Mapping[str, object]] = dict,
) -> dict[str, object]:
    """Show frames on a page until the end; returns a summary. Raises OSError."""

    async def start() -> dict[str, object]:
        return await Player(config, frames, told, port, rate, extras).run(seconds)

    return asyncio.run(start())
