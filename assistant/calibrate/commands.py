"""`spreadwatch calibrate ...`: guided steps; each shows what it found and asks before anything is written."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.config import ConfigError, load
from assistant.config_calibration import CALIBRATION
from assistant.configured import Config, ReelMark
from assistant.errors import LogError, OptionError
from assistant.typed import SCALES, quantity
from assistant.units import DISPLAY_UNITS

if TYPE_CHECKING:  # every command of the program loads this file: the arithmetic waits until it is asked for
    from assistant.calibrate.evidence import Gathered
    from assistant.calibrate.outcome import Outcome

DEPTHS_M, COUNTERS_M = (0.3, 100.0), (1.0, 200.0)
GUIDES = {
    "speed": "Steer out and back on one line, a minute or more each way, throttle untouched; again at another speed "
    "at least half a mile an hour apart. Lines in or out does not matter, weed on the wheel does.",
    "compass": "Steer one slow circle to each side, six minutes each, or eight legs of half a minute; throttle "
    "untouched, iron and phones where they always are.",
    "latency": "Turn 60 degrees or more to one side, hold for a quarter of a minute, then to the other; six turns, "
    "at 3 to 5 degrees a second.",
    "sounder": "Lie still over flat bottom and measure the depth with a lead line while the sounder runs.",
    "counter": "Let out line on the dock and tape it at three places or more: a third, two thirds and all you fish.",
}
directory_option = click.option(
    "--config",
    "directory",
    type=click.Path(path_type=Path, file_okay=False, exists=True),
    help=f"Your own directory; {CALIBRATION} is written there.",
)
yes_option = click.option("--yes", is_flag=True, help="Write without asking.")


def told(work: Callable[[], None]) -> None:
    """Do the work; an error that a user can mend ends in exit 2."""
    try:
        work()
    except (ConfigError, LogError, OptionError, OSError) as error:
        click.echo(f"spreadwatch: {error}", err=True)
        raise click.exceptions.Exit(2) from None


def _options(step: Callable[..., None]) -> Callable[..., None]:
    """What every step under way takes."""
    for option in (
        click.argument("log", required=False),
        click.option("--source", "urls", multiple=True, help="Live instruments, as of spreadwatch run."),
        click.option(
            "--minutes",
            type=click.FloatRange(0.1, 240.0),
            help="Live: listen so long (30). Recorded: the last so many.",
        ),
        yes_option,
        directory_option,
    ):
        step = option(step)
    return step


def _run(
    name: str,
    attempt: Callable[[Gathered, Config, str], Outcome],
    log: str | None,
    urls: tuple[str, ...],
    minutes: float | None,
    yes: bool,
    directory: Path | None,
) -> None:
    """One step under way: gather, work out, show, ask, write."""

    def work() -> None:
        from assistant.calibrate import sources as readings

        config = load(directory)
        if log is not None and urls:
            raise OptionError("a log and --source: want one of them")
        click.echo(GUIDES[name], err=True)
        if urls:
            seconds = 60.0 * (minutes or 30.0)
            outcome = readings.live(
                urls, config.boat, seconds, lambda run: attempt(run, config, ", ".join(urls))
            )
        else:
            path = readings.named(log, config) if log is not None else readings.being_recorded(config)
            run = readings.recorded(path, config.boat, None if minutes is None else 60.0 * minutes)
            outcome = attempt(run, config, path.name)
        _keep(outcome, yes, directory)

    told(work)


def shown(outcome: Outcome) -> str:
    """What was found, residuals, before -> after."""
    rows = [f"  {what} {before} -> {after}" for what, before, after in outcome.changes]
    return "\n".join(
        [outcome.evidence, *(f"  {line}" for line in (*outcome.residuals, *outcome.words)), *rows]
    )


def _keep(outcome: Outcome, yes: bool, directory: Path | None) -> None:
    from assistant.calibrate import record

    click.echo(shown(outcome))
    if directory is None:
        raise OptionError(f"not written: give --config, your own directory, for {CALIBRATION}")
    if not yes:
        click.confirm(f"Write this into {directory / CALIBRATION}?", abort=True)
    path = record.write(directory, outcome.step, _today(), outcome.evidence, outcome.table)
    load(directory)
    click.echo(f"{path}: [{outcome.step}] written; it counts from the next start")


@click.group()
def calibrate() -> None:
    """Calibrate an instrument: guided steps that write calibration.toml with date and evidence.

    Readings come from LOG (a raw log, or an outing by its id), from live instruments (--source), or, with neither,
    from the outing that a running daemon records.
    """


@calibrate.command("speed", help=f"The speed log, factor by speed. {GUIDES['speed']}")
@_options
def speed_(**options: Any) -> None:
    """The speed log."""
    from assistant.calibrate import speed

    _run("speed", lambda run, config, where: speed.calibrate(run, config.boat, where), **options)


@calibrate.command("compass", help=f"The compass, offset and deviation. {GUIDES['compass']}")
@_options
def compass_(**options: Any) -> None:
    """The compass."""
    from assistant.calibrate import compass

    _run("compass", lambda run, config, where: compass.calibrate(run, config.boat, where), **options)


@calibrate.command("latency", help=f"How far the GPS course trails the compass. {GUIDES['latency']}")
@_options
def latency_(**options: Any) -> None:
    """The lag of the course."""
    from assistant.calibrate import latency

    _run("latency", lambda run, config, where: latency.calibrate(run, config.boat, where), **options)


@calibrate.command("sounder", help=f"What a sounding lacks to the depth. {GUIDES['sounder']}")
@click.option("--depth", required=True, help="As measured, from the surface, such as 14.5ft.")
@_options
def sounder_(depth: str, **options: Any) -> None:
    """The sounder."""
    from assistant.calibrate import sounder

    def attempt(run: Gathered, config: Config, where: str) -> Outcome:
        true_m = quantity(
            "--depth", depth, SCALES["m"], DISPLAY_UNITS[config.boat.units]["m"].label, DEPTHS_M
        )
        return sounder.calibrate(run, config.boat, where, true_m)

    _run("sounder", attempt, **options)


@calibrate.command("counter", help=f"The counter of ROD's reel. {GUIDES['counter']}")
@click.argument("rod")
@click.option("--mark", "marks", multiple=True, help="What the counter shows = what was taped: 50ft=44ft.")
@yes_option
@directory_option
def counter_(rod: str, marks: tuple[str, ...], yes: bool, directory: Path | None) -> None:
    """A counter."""
    from assistant.calibrate import counter

    def work() -> None:
        config = load(directory)
        one = next((r for r in config.rods if r.name == rod), None)
        if one is None:
            raise OptionError(f"rod {rod!r}: want one of {', '.join(r.name for r in config.rods)}")
        typed = marks or _asked()
        taped = [_mark(text, config) for text in typed]
        _keep(counter.calibrate(config, one, taped, f"rod {rod}"), yes, directory)

    told(work)


def _asked() -> tuple[str, ...]:
    """Marks typed one after the other."""
    click.echo(GUIDES["counter"], err=True)
    typed = []
    while text := click.prompt(
        "counter = taped, such as 50ft=44ft; empty to end", default="", show_default=False
    ):
        typed.append(text)
    return tuple(typed)


def _mark(text: str, config: Config) -> ReelMark:
    label = DISPLAY_UNITS[config.boat.units]["m"].label
    showed, equals, taped = text.partition("=")
    if not equals:
        raise OptionError(f"--mark {text!r}: want what the counter shows = what was taped, such as 50ft=44ft")
    pair = [quantity("--mark", one, SCALES["m"], label, COUNTERS_M) for one in (showed, taped)]
    return ReelMark(pair[0], pair[1], _today())


def _today() -> str:
    """The date on the boat."""
    return datetime.datetime.now().astimezone().date().isoformat()
