"""The command line: each command reads its options and calls the module that does the work. No logic here."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable
from pathlib import Path

import click

from assistant import __version__
from assistant.calibrate.commands import calibrate
from assistant.config import ConfigError, load
from assistant.errors import LogError, OptionError
from assistant.outings.commands import outings, report, season
from firmware_bridge.errors import BrokerError


def duration_s(text: str) -> float:
    """A duration above 0; click's own range lets NaN pass."""
    with contextlib.suppress(ValueError):
        if 0.0 < float(text) <= 1e8:
            return float(text)
    raise click.BadParameter(f"{text!r}: want a number of seconds above 0, up to 1e8")


PATH = click.Path(path_type=Path)
PORT = click.IntRange(1, 65535)
KNOWN_ERRORS = (ConfigError, LogError, OptionError, BrokerError, OSError)

seconds_option = click.option(
    "--seconds", type=duration_s, metavar="SECONDS", help="Stop after so long; without it, at Ctrl-C."
)
config_option = click.option(
    "--config", "directory", type=PATH, help="Directory of boat.toml, spread.toml ..."
)


def print_summary(work: Callable[[], dict[str, object]]) -> None:
    """Do the work and print its summary as one line of JSON; an error that a user can mend ends in exit 2."""
    try:
        summary = work()
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None
    click.echo(json.dumps(summary, allow_nan=False))


def _told(error: Exception) -> int:
    click.echo(f"spreadwatch: {error}", err=True)
    return 2


@click.group()
def main() -> None:
    """Where every trolled line is, from the boat's own instruments."""


@main.command()
@seconds_option
@click.option(
    "--port", type=PORT, default=8620, show_default=True, help="Of the page; the next free if taken."
)
@click.option("--broker-port", type=PORT, default=1883, show_default=True, help="Of the broker; likewise.")
@click.option(
    "--day", "whole_day", type=click.Choice(["day", "day-alone", "april"]), is_flag=False, flag_value="day",
    help="A whole invented day instead, at 20 times its speed, with a bar to go to and fro.",
)  # fmt: skip
@click.option("--outings", help="Folder in which the whole day is recorded as an outing.")
def demo(
    seconds: float | None, port: int, broker_port: int, whole_day: str | None, outings: str | None
) -> None:
    """Show an invented day on the lake: simulator, broker and page, all on this machine."""
    from assistant.demo import run_day, run_demo

    if whole_day is None:
        print_summary(lambda: run_demo(seconds, port, broker_port))
    else:
        print_summary(lambda: run_day(whole_day, seconds, port, outings))


@main.command()
@config_option
@click.option("--source", "sources", multiple=True, help="serial:DEV?baud=4800, tcp:HOST:PORT, udp:PORT ...")
@click.option("--broker", help="none, embedded[:PORT] or mqtt(s)://[user:pass@]host[:port].")
@click.option("--port", type=PORT, help="Of the page; the next free one if taken.")
@click.option("--outings", help="Folder in which the outing is recorded; none: it is not.")
@seconds_option
def run(
    directory: Path | None,
    sources: tuple[str, ...],
    broker: str | None,
    port: int | None,
    outings: str | None,
    seconds: float | None,
) -> None:
    """Run with the boat's instruments."""
    from assistant.daemon import run_boat

    print_summary(lambda: run_boat(load(directory), sources, broker, port, seconds, outings))


@main.command()
@click.argument("log", type=PATH)
@config_option
@click.option("--with", "now", type=PATH, metavar="DIR", help="Beside it, the same with this configuration.")
@click.option("--same-rigs", is_flag=True, help="With --with: rods and rigs as they were then.")
@click.option("--frames", type=PATH, help="Write the Frames to this file, one line of JSON each.")
@click.option("--page", is_flag=True, help="Show it on the page instead, with a bar to go to and fro.")
@click.option("--port", type=PORT, default=8620, help="Of that page; the next free one if taken.")
@seconds_option
def replay(
    log: Path,
    directory: Path | None,
    now: Path | None,
    same_rigs: bool,
    frames: Path | None,
    page: bool,
    port: int,
    seconds: float | None,
) -> None:
    """Put an outing (by its id) or a raw log through the same flow as fast as it goes."""
    from assistant.replay import replay_to, shown_on_page

    if now is not None:
        from assistant.replay_beside import side_by_side

        print_summary(
            lambda: side_by_side(log, directory, now, same_rigs, frames, port if page else None, seconds)
        )
    elif same_rigs:
        raise click.UsageError("--same-rigs: only with --with DIR")
    elif page:
        print_summary(lambda: shown_on_page(log, directory, port, seconds))
    else:
        print_summary(lambda: replay_to(log, directory, frames))


@main.command()
@click.argument("log", type=PATH)
@config_option
def alerts(log: Path, directory: Path | None) -> None:
    """How much would have been told on an outing or the day of a raw log: rates, floods, what most often."""
    from assistant.replay import told_in

    print_summary(lambda: told_in(log, directory))


@main.command(context_settings={"ignore_unknown_options": True, "help_option_names": []})
@click.argument("arguments", nargs=-1, type=click.UNPROCESSED)
def simulate(arguments: tuple[str, ...]) -> None:
    """Play a scenario of the simulator: SCENARIO --to udp:... (--help for all)."""
    from assistant.sim_process import become

    become(arguments)


@main.command()
@click.argument("cases", nargs=-1, required=True)
def solve(cases: tuple[str, ...]) -> None:
    """Solve towing cases from JSON files; one line of JSON a case."""
    from assistant.solve import main as solve_cases

    sys.exit(solve_cases(list(cases)))


@main.command()
@click.argument("rod")
@click.option("--out", help="Line out on the counter, such as 150ft; with --card how far the card goes.")
@click.option("--setting", help="Of the planer's dial; as rigged if not given.")
@click.option("--speed", help="Through the water, such as 2.4mph (that is taken if not given).")
@click.option("--water", help="Temperature, such as 50F.")
@click.option("--card", is_flag=True, help="The rod's line-out card: wanted depth to number on its counter.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object, in SI.")
@config_option
def depth(
    rod: str,
    out: str | None,
    setting: str | None,
    speed: str | None,
    water: str | None,
    card: bool,
    as_json: bool,
    directory: Path | None,
) -> None:
    """Where the line of ROD will run, asked at the dock."""
    from assistant import dock
    from assistant.dock_ask import Question

    work = dock.card if card else dock.answer
    try:
        click.echo(work(load(directory), rod, Question(out, setting, speed, water), as_json))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


@main.command()
@click.argument("side")
@click.argument("degrees", type=float)
@click.option("--rate", type=float, default=2.0, show_default=True, help="Degrees a second.")
@click.option("--speed", help="Through the water, such as 2.4mph (that is taken if not given).")
@click.option("--bottom", help="Depth of the bottom, the same everywhere, such as 110ft.")
@click.option("--heading", type=float, help="Now, degrees true: only headings that can be run are offered.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object, in SI.")
@config_option
def turn(
    side: str,
    degrees: float,
    rate: float,
    speed: str | None,
    bottom: str | None,
    heading: float | None,
    as_json: bool,
    directory: Path | None,
) -> None:
    """What each line does in a turn of so many DEGREES to SIDE (port, starboard), and which turn keeps all clear."""
    from assistant.turn import answer

    try:
        click.echo(answer(load(directory), side, degrees, rate, speed, as_json, bottom, heading))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


@main.command()
@click.argument("side", required=False)
@click.argument("degrees", required=False)
@click.option("--rate", help="Degrees a second; 2 if neither this nor a radius is given.")
@click.option("--radius", help="Of the turn, such as 120ft.")
@click.option("--to", "speed", help="Speed through the water to change to, such as 1.8mph.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object, in SI.")
@click.option("--port", type=PORT, default=8620, show_default=True, help="Of the daemon's page.")
def ahead(as_json: bool, port: int, **said: str | None) -> None:
    """Ask the running daemon what its lines will do; with SIDE (port 90, starboard 60, straight, fish): what if."""
    from assistant.tell_ahead import asked

    try:
        click.echo(asked(port, {name: word for name, word in said.items() if word is not None}, as_json))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


@main.command()
@click.option("--out", is_flag=True, help="Setting out; without it the lines come in.")
@click.option("--fish", metavar="ROD", help="The rod with a fish on: what is near its line comes in first.")
@click.option("--wind", type=float, help="Where it comes from, degrees true.")
@click.option("--heading", type=float, help="Now, degrees true.")
@click.option("--speed", help="Through the water, such as 2.4mph (that is taken if not given).")
@click.option("--json", "as_json", is_flag=True, help="As one JSON object, in SI.")
@config_option
def clear(
    out: bool,
    fish: str | None,
    wind: float | None,
    heading: float | None,
    speed: str | None,
    as_json: bool,
    directory: Path | None,
) -> None:
    """In which order the lines come in, or go out: one rod at a time, how long it takes, what heading to hold."""
    from assistant.clear import answer

    try:
        click.echo(answer(load(directory), out, fish, wind, heading, speed, as_json))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


@main.command()
@click.argument("rod")
@click.argument("kind")
@click.argument("value")
@click.option("--unit", help="Of VALUE, where it has none in it: ft, m, mph, kn, m/s, F, C, lb, N, kg, deg.")
@click.option("--depth", help="Where it holds, such as 70ft.")
@click.option("--port", type=PORT, default=8620, show_default=True, help="Of the daemon's page.")
def note(rod: str, kind: str, value: str, unit: str | None, depth: str | None, port: int) -> None:
    """Tell the running daemon what a sensor at ROD showed or you saw: P1 bend soft, R1 speed 1.9mph."""
    from assistant.tell import tell

    said = {"rod": rod, "kind": kind, "value": value, "unit": unit, "depth": depth}
    try:
        click.echo(tell(port, {name: word for name, word in said.items() if word is not None}))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


@main.command()
@click.option("--peer", type=click.Choice(["moordyn"]), help="Also time the same lines in this program.")
@click.option(
    "--minutes",
    type=click.FloatRange(0.1, 60.0),
    help="How long the daemon runs; a third of one if not said.",
)
def bench(peer: str | None, minutes: float | None) -> None:
    """Measure speed, memory and latency on this machine; one JSON object."""
    from assistant.bench import measure

    print_summary(lambda: measure(peer, minutes))


@main.command()
@click.argument("words", nargs=-1, required=True, metavar="[ROD] KIND [VALUE]")
@click.option("--corrects", type=click.IntRange(1), help="Number of the event that this one replaces.")
@click.option("--port", type=PORT, default=8620, show_default=True, help="Of the daemon's page.")
def mark(words: tuple[str, ...], corrects: int | None, port: int) -> None:
    """Tell the running daemon what happened: fish on, S2 fish on, P1 line out 180ft, S1 trip, withdrawn."""
    from assistant.notes import kinds
    from assistant.outings.happenings import from_words
    from assistant.tell import mark as send

    try:
        said = from_words(words, kinds())
        click.echo(send(port, said if corrects is None else {**said, "corrects": corrects}))
    except KNOWN_ERRORS as error:
        raise click.exceptions.Exit(_told(error)) from None


main.add_command(outings)
main.add_command(report)
main.add_command(season)
main.add_command(calibrate)


@main.command()
def version() -> None:
    """Say which version this is."""
    click.echo(f"spreadwatch {__version__}")


if __name__ == "__main__":
    main(prog_name="spreadwatch")
