"""A directory of TOML files -> one validated, frozen Config, or one error that lists all that is wrong.

    boat.toml  spread.toml  facts.toml  lines/*.toml  bodies/*.toml

What a user's directory does not hold comes from the packaged files; where both have a file, the user's wins.
"""

from __future__ import annotations

from pathlib import Path

from assistant.config_alerts import ALERTS, read_alerts
from assistant.config_below import read_transducers
from assistant.config_calibration import CALIBRATION, read_calibration, with_counters
from assistant.config_facts import FACTS, read_facts
from assistant.config_files import (
    ConfigError,
    Problems,
    nearest,
    read_body,
    read_coefficient,
    read_keys,
    read_line,
    read_toml,
)
from assistant.config_keys import BOAT_KEYS, FLEAS_RANGE
from assistant.config_reels import read_reels
from assistant.config_spread import Known, read_rods
from assistant.configured import BoatConfig, Config

__all__ = ["ConfigError", "default_dir", "load"]

MAX_FILES = 200  # per folder
TOP_FILES = ("boat.toml", "spread.toml")
REELS = "reels.toml"  # a boat's own; there is no packaged one
BEYOND_BOAT = (
    "sources",
    "broker",
    "page_port",
    "signalk",
    "signalk_port",
    "signalk_vessel",
    "outings",
    "speak",
)
"""Keys of boat.toml that are fields of Config itself."""


def default_dir() -> Path:
    """The packaged configuration: inside the installed package, else ../configs of a checkout.

    Raises:
        ConfigError: neither is there.
    """
    here = Path(__file__).resolve().parent
    for candidate in (here / "configs", here.parent / "configs"):
        if (candidate / "boat.toml").is_file():
            return candidate
    raise ConfigError([f"{here / 'configs'}: packaged configuration missing; install again"])


def find_files(directory: Path, folder: str, problems: Problems) -> dict[str, Path]:
    """The files of one folder by stem: the packaged ones, replaced by the user's where it has its own."""
    found = {file.stem: file for file in sorted((default_dir() / folder).glob("*.toml"))}
    own = sorted((directory / folder).glob("*.toml"))
    if len(own) > MAX_FILES:
        problems.note(directory / folder, f"{len(own)} files, want at most {MAX_FILES}; keep what is used")
    found.update((file.stem, file) for file in own[:MAX_FILES])
    return found


def check_top(directory: Path, problems: Problems) -> None:
    """A directory that is none, is empty, or holds a misspelt file must not silently become the demo."""
    if not directory.is_dir():
        raise ConfigError([f"{directory}: no such directory; give one with boat.toml or spread.toml"])
    own = {entry.name for entry in directory.iterdir() if entry.suffix == ".toml"}
    known = {*TOP_FILES, REELS, FACTS, ALERTS, CALIBRATION}
    for name in sorted(own - known):
        allowed = nearest(name, known)
        problems.note(directory / name, f"no such configuration file; {allowed}")
    folders = [folder for folder in ("lines", "bodies") if (directory / folder).is_dir()]
    if not own & known and not folders:
        problems.note(
            directory,
            "no boat.toml, spread.toml, lines/ or bodies/ in it; give the one that has, or begin with a boat.toml",
        )


def load(directory: Path | None = None) -> Config:
    """Load and validate a configuration; with no directory, the packaged one (the demo spread).

    Raises:
        ConfigError: with every problem of every file.
    """
    directory = directory or default_dir()
    problems = Problems()
    check_top(directory, problems)
    homes = {name: directory if (directory / name).exists() else default_dir() for name in TOP_FILES}
    tops = {name: home / name for name, home in homes.items()}
    line_files, body_files = (find_files(directory, folder, problems) for folder in ("lines", "bodies"))
    lines = {stem: line for stem, file in line_files.items() if (line := read_line(file, problems))}
    bodies = {stem: body for stem, file in body_files.items() if (body := read_body(file, problems))}
    boat_table, spread_table = (read_toml(tops[name], problems) for name in TOP_FILES)
    boat = {} if boat_table is None else read_keys(tops["boat.toml"], "", boat_table, BOAT_KEYS, problems)
    if (fleas := boat.get("fleas_mm_per_hour")) is not None:
        boat["fleas_mm_per_hour"] = read_coefficient(
            tops["boat.toml"], "fleas_mm_per_hour", fleas, FLEAS_RANGE, problems
        )
    known = Known(frozenset(line_files), frozenset(body_files), bodies)
    rods = () if spread_table is None else read_rods(tops["spread.toml"], spread_table, known, problems)
    if (transducers := boat.get("transducers")) is not None:
        boat["transducers"] = read_transducers(tops["boat.toml"], transducers, rods, problems)
    register = read_toml(directory / REELS, problems) if (directory / REELS).exists() else None
    reels = read_reels(directory / REELS, register or {}, line_files, rods, problems)
    found = read_toml(directory / CALIBRATION, problems) if (directory / CALIBRATION).exists() else None
    calibration = read_calibration(directory / CALIBRATION, found or {}, rods, problems)
    wishes = read_toml(directory / ALERTS, problems) if (directory / ALERTS).exists() else None
    alerts = read_alerts(directory / ALERTS, wishes or {}, rods, problems)
    own = {stem for stem, file in (line_files | body_files).items() if file.is_relative_to(directory)}
    facts = read_facts(directory, default_dir(), own, known, problems)
    if "signalk_port" in boat and not boat.get("signalk"):
        problems.note(tops["boat.toml"], "signalk_port: wants signalk = true as well")
    if problems.lines:
        raise ConfigError(problems.lines)
    beyond = {key: boat.pop(key) for key in BEYOND_BOAT if key in boat}
    origin = {name.removesuffix(".toml"): str(file) for name, file in tops.items()}
    return Config(
        BoatConfig(**{**boat, **calibration.boat}), rods, lines, bodies,
        origin=origin, reels=with_counters(reels, calibration.counters), facts=facts, alerts=alerts, **beyond,
    )  # fmt: skip
