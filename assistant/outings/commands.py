"""`spreadwatch outings ...`: what the command line asks of recorded outings. Outings are named by id, never by path."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import click

from assistant.config import ConfigError, load
from assistant.errors import LogError, OptionError
from assistant.outings import store, tables

config_option = click.option(
    "--config",
    "directory",
    type=click.Path(path_type=Path),
    help="Directory whose boat.toml says where outings are.",
)


def told(work: Callable[[], str]) -> None:
    """Print what the work gives; an error that a user can mend ends in exit 2."""
    try:
        click.echo(work())
    except (ConfigError, LogError, OptionError, OSError) as error:
        click.echo(f"spreadwatch: {error}", err=True)
        raise click.exceptions.Exit(2) from None


def root_of(directory: Path | None) -> Path:
    """Where outings are, by the configuration."""
    return store.root_or_usual(load(directory).outings)


@click.group()
def outings() -> None:
    """Recorded outings: list, show, verify, export, delete, merge."""


@outings.command("list")
@config_option
def list_(directory: Path | None) -> None:
    """All outings, one a line, oldest first."""
    told(lambda: tables.listed(root_of(directory)))


@outings.command()
@click.argument("outing")
@click.option(
    "--judged", is_flag=True, help="Also what the judge of quiet spells said and says: takes a replay."
)
@config_option
def show(outing: str, judged: bool, directory: Path | None) -> None:
    """What is in one outing, as JSON."""

    def work() -> str:
        folder = store.folder_of(root_of(directory), outing)
        summary = tables.summary_of(folder)
        if judged:
            from assistant.outings.report import judgement

            summary["judged"] = judgement(folder)
        return json.dumps(summary, allow_nan=False)

    told(work)


@outings.command()
@click.argument("outing", nargs=-1)
@config_option
def verify(outing: tuple[str, ...], directory: Path | None) -> None:
    """Read every record of these outings (all, if none is named) and count what is not whole, as JSON."""
    told(lambda: json.dumps(tables.verified(root_of(directory), outing), allow_nan=False))


@outings.command()
@click.argument("outing")
@click.option(
    "--as",
    "form",
    type=click.Choice(["gpx", "csv", "parquet"]),
    default="gpx",
    show_default=True,
    help="Form.",
)
@click.option(
    "--to",
    "file",
    type=click.Path(path_type=Path),
    help="File to write; ID.gpx (.csv, .parquet) here if not given.",
)
@config_option
def export(outing: str, form: str, file: Path | None, directory: Path | None) -> None:
    """Write one outing for other programs: its track and events as GPX, or its Frames as CSV or Parquet."""
    from assistant.outings.export import FORMATS

    def work() -> str:
        folder = store.folder_of(root_of(directory), outing)
        data = FORMATS[form](folder)
        out = file or Path(f"{folder.name}.{form}")
        out.write_bytes(data)
        return f"{out}: {len(data)} bytes"

    told(work)


@outings.command()
@click.argument("outing")
@click.option("--yes", is_flag=True, help="Do not ask.")
@config_option
def delete(outing: str, yes: bool, directory: Path | None) -> None:
    """Delete one outing for good."""

    def work() -> str:
        folder = store.folder_of(root_of(directory), outing)
        if not yes:
            click.confirm(f"Delete {outing} for good?", abort=True)
        store.delete(folder)
        return f"{outing}: deleted"

    told(work)


@outings.command()
@click.argument("outing", nargs=-1, required=True)
@config_option
def merge(outing: tuple[str, ...], directory: Path | None) -> None:
    """Make one new outing of two or more of the same day; the old ones stay."""
    from assistant.outings.merge import merged

    def work() -> str:
        root = root_of(directory)
        new = merged(root, [store.folder_of(root, name) for name in outing])
        return f"{new}: made of {', '.join(outing)}, which stay until you delete them"

    told(work)


@click.command()
@click.argument("outing", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "file",
    type=click.Path(path_type=Path),
    help="HTML file to write (JSON beside it); ID.html here if not given.",
)
@click.option(
    "--utc-offset",
    type=click.FloatRange(-14.0, 14.0),
    default=0.0,
    help="Hours of your clock from UTC, such as -2.",
)
@click.option(
    "--config",
    "directory",
    type=click.Path(path_type=Path),
    help="What you know now; without it the outing's own configuration.",
)
def report(outing: Path, file: Path | None, utc_offset: float, directory: Path | None) -> None:
    """One outing (by id), or a raw log, as a page to read in the evening and as JSON."""
    from assistant.outings.report import write

    told(lambda: "\n".join(map(str, write(outing, directory, file, utc_offset))))


@click.command()
@click.argument("root", required=False, metavar="[DIR]", type=click.Path(path_type=Path))
@click.option(
    "--jobs", type=click.IntRange(1, 256), help="Processes on this machine; one a core if not given."
)
@click.option("--dask", "address", help="A Dask scheduler whose workers see the same folder, instead.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
@config_option
def season(
    root: Path | None, jobs: int | None, address: str | None, as_json: bool, directory: Path | None
) -> None:
    """All outings in DIR together: strikes per rod-hour by rod, depth and lure speed; soundings."""
    import os

    from assistant.outings import season as seasons

    def work() -> str:
        config = load(directory)
        make = seasons.fleet(address) if address else seasons.pool(jobs or os.cpu_count() or 1)
        one = seasons.gathered(root or store.root_or_usual(config.outings), config, make)
        return json.dumps(seasons.plain(one), allow_nan=False) if as_json else seasons.words(one)

    told(work)
