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
    """Recorded outings: list, show, verify."""


@outings.command("list")
@config_option
def list_(directory: Path | None) -> None:
    """All outings, one a line, oldest first."""
    told(lambda: tables.listed(root_of(directory)))


@outings.command()
@click.argument("outing")
@config_option
def show(outing: str, directory: Path | None) -> None:
    """What is in one outing, as JSON."""
    told(lambda: json.dumps(tables.summary_of(store.folder_of(root_of(directory), outing)), allow_nan=False))


@outings.command()
@click.argument("outing", nargs=-1)
@config_option
def verify(outing: tuple[str, ...], directory: Path | None) -> None:
    """Read every record of these outings (all, if none is named) and count what is not whole, as JSON."""
    told(lambda: json.dumps(tables.verified(root_of(directory), outing), allow_nan=False))
