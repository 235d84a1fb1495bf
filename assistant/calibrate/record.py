"""Writes calibration.toml: one table for each step, whole or not at all, everything else in the file left as it is."""

from __future__ import annotations

import contextlib
import json
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path

from assistant.calibrate.outcome import Value
from assistant.config_calibration import CALIBRATION, read_calibration
from assistant.config_files import ConfigError, Problems

HEAD = (
    '# Written by "spreadwatch calibrate". What stands here comes before the same in boat.toml and reels.toml;\n'
    "# without a table, those count again.\n"
)


def block(step: str, date: str, evidence: str, table: Mapping[str, Value]) -> str:
    """One table as TOML."""
    lines = [f"[{step}]", f"date = {date}", f"evidence = {_text(evidence)}"]
    return "\n".join([*lines, *(f"{key} = {_value(value)}" for key, value in table.items())]) + "\n"


def _text(value: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in value)[:120]
    return json.dumps(plain, ensure_ascii=False)


def _value(value: Value) -> str:
    return _text(value) if isinstance(value, str) else json.dumps(value, allow_nan=False)


def replaced(text: str, step: str, new: str) -> str:
    """The file with this table in place of the one of its name, or after all others."""
    kept: list[str] = []
    inside, placed = False, False
    for line in text.splitlines(keepends=True):
        if line.lstrip().startswith("["):
            inside = line.split("#")[0].strip() == f"[{step}]"
            if inside:
                kept.append(new + "\n")
                placed = True
        if not inside:
            kept.append(line)
    if placed:
        return "".join(kept).rstrip("\n") + "\n"
    return (text or HEAD).rstrip("\n") + "\n\n" + new


def write(directory: Path, step: str, date: str, evidence: str, table: Mapping[str, Value]) -> Path:
    """Put one table into the directory's calibration.toml; what was there before is kept as calibration.toml.bak.

    Raises:
        ConfigError: the file that is there, or would be there, cannot be read back.
        OSError: it cannot be written; then nothing has changed.
    """
    path = directory / CALIBRATION
    old = path.read_text(encoding="utf-8") if path.exists() else ""
    text = replaced(old, step, block(step, date, evidence, table))
    _check(path, old)
    _check(path, text)
    if old:
        _put(directory / f"{CALIBRATION}.bak", old)
    _put(path, text)
    return path


def _check(path: Path, text: str) -> None:
    problems = Problems()
    try:
        read_calibration(path, tomllib.loads(text), (), problems)
    except tomllib.TOMLDecodeError as error:
        problems.note(path, f"not TOML ({error}); mend that line")
    if problems.lines:
        raise ConfigError(problems.lines)


def _put(path: Path, text: str) -> None:
    """Write beside, sync, rename, sync the folder: a power cut leaves the old file or the new one."""
    beside = path.with_name(path.name + ".new")
    try:
        with beside.open("w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
