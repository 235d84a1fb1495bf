"""Where the readings of a calibration come from: a log, an outing, the outing being recorded now, live instruments."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from pathlib import Path

from assistant import locate, replay_reader
from assistant.calibrate.evidence import Gathered
from assistant.calibrate.outcome import Outcome, Thin
from assistant.configured import BoatConfig, Config
from assistant.daemon import end, say
from assistant.errors import OptionError
from assistant.intake import LiveIntake
from assistant.locate import STEP_S
from assistant.outings import recording, store

LOOK_S = 15.0
"""How often a live run is looked at."""

IN_USE = "in use"
TAKEN = " (by the running daemon? without --source the outing that it records is used)"

Attempt = Callable[[Gathered], Outcome]
"""What is tried with what has been gathered; raises Thin."""


def recorded(path: Path, config: BoatConfig, last_s: float | None) -> Gathered:
    """The readings of a log or an outing, or of its last so many seconds.

    Raises:
        LogError: it cannot be read.
    """
    _, steps = replay_reader.read(path)
    inputs = [one for one, _ in steps]
    if last_s is not None:
        inputs = [one for one in inputs if one.t_s >= inputs[-1].t_s - last_s]
    state, run = locate.initial(config), Gathered()
    for one in inputs:
        state = locate.advance(state, one)
        run.take(state)
    return run


def being_recorded(config: Config) -> Path:
    """The outing that a running daemon records now.

    Raises:
        OptionError: there is none.
    """
    root = store.root_or_usual(config.outings)
    for outing in reversed(store.ids(root)):
        folder = store.folder_of(root, outing)
        with contextlib.suppress(OSError):
            if not recording.glance(folder).closed:
                return folder
        break
    raise OptionError(
        f"no outing is being recorded in {root}: name a log or an outing, or give --source for live instruments"
    )


def named(what: str, config: Config) -> Path:
    """The log or outing that was named.

    Raises:
        OptionError: there is no such outing.
    """
    if not Path(what).exists() and store.ID.fullmatch(what):
        return store.folder_of(store.root_or_usual(config.outings), what)
    return Path(what)


def live(urls: tuple[str, ...], config: BoatConfig, seconds: float, attempt: Attempt) -> Outcome:
    """Listen until there is enough, or `seconds` are over, or Ctrl-C; says on stderr what is still missing.

    Raises:
        Thin: it was not enough.
        OptionError: a source is not of a known form.
    """
    run = Gathered()
    found: list[Outcome] = []

    async def listen() -> None:
        clock = asyncio.get_running_loop().time
        start_s = clock()
        intake = LiveIntake(urls, lambda: clock() - start_s)
        tasks = [asyncio.create_task(one, name=name) for name, one in intake.tasks().items()]
        state, tick, look_s = locate.initial(config), 0, LOOK_S
        try:
            while tick * STEP_S < seconds and not found:
                await asyncio.sleep(max(0.0, tick * STEP_S - (clock() - start_s)))
                state = locate.advance(state, intake.take(tick))
                run.take(state)
                tick += 1
                if tick * STEP_S >= look_s:
                    look_s += LOOK_S
                    found.extend(_tried(run, attempt, tick * STEP_S, intake))
        finally:
            await end(tasks)

    try:
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(listen())
    except ValueError as error:
        raise OptionError(str(error)) from None
    return found[0] if found else attempt(run)


def _tried(run: Gathered, attempt: Attempt, t_s: float, intake: LiveIntake) -> list[Outcome]:
    """The outcome, if there is one yet; else what is missing is said."""
    try:
        return [attempt(run)]
    except Thin as thin:
        silent = [
            f"{one['url']} {one['state']} {one['error']}{TAKEN if IN_USE in str(one['error']) else ''}"
            for one in intake.status()
            if one["error"]
        ]
        say(f"{t_s:4.0f} s  still missing: {'; '.join([*silent, *thin.missing])}")
    return []
