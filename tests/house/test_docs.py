"""What can be named is in README.md or DEVELOPERS.md; each test lists all that is missing at once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import click
import pytest

from assistant import config_facts, config_keys, config_reels, payloads
from assistant.__main__ import main
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES
from assistant.sensing import nmea


@pytest.fixture(scope="module")
def docs(root: Path) -> str:
    """Both documents as one text."""
    return "\n".join((root / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


def missing(docs: str, names: Iterable[str]) -> list[str]:
    """The names that do not stand in the documents as a word of their own."""
    return [name for name in names if not re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", docs)]


def test_commands_and_options(docs: str) -> None:
    assert isinstance(main, click.Group)
    names = [f"spreadwatch {name}" for name in main.commands]
    parameters = [p for command in main.commands.values() for p in command.params]
    names += [opt for p in parameters if isinstance(p, click.Option) for opt in p.opts]
    assert len(names) > 8
    assert missing(docs, names) == []


def test_configuration_keys(docs: str) -> None:
    tables = (config_keys.BOAT_KEYS, config_keys.ROD_KEYS, config_keys.TIP_KEYS, config_keys.PART_KEYS)
    tables += (config_keys.ATTACHED_KEYS, config_keys.BOARD_KEYS, config_keys.LABEL_KEYS)
    tables += (config_keys.TRANSDUCER_KEYS, (config_keys.SLIDES_KEY, config_keys.FAMILY))
    names = [key.name for table in tables for key in table]
    names += [key.name for key in (*config_facts.FACT_KEYS, *config_facts.INSTEAD_KEYS)]
    names += [key.name for key in (*config_reels.REEL_KEYS, *config_reels.MARK_KEYS)]
    names += [key.name for key in (*config_keys.BAND_KEYS, *config_keys.SETTING_KEYS, config_keys.SOURCE_KEY)]
    names += [*config_keys.LINE_COEFFICIENTS, *config_keys.BODY_COEFFICIENTS]
    names += [name for rows in config_keys.BODY_COEFFICIENTS.values() for name in rows]
    assert missing(docs, names) == []


def test_sentences(docs: str) -> None:
    assert {"RMC", "VHW", "XDR"} <= set(nmea.KINDS)
    assert missing(docs, nmea.KINDS) == []


def test_topics_and_published_values(docs: str) -> None:
    topics = [f"spreadwatch/<boat>/{topic.suffix}" for topic in payloads.TOPICS]
    assert missing(docs, [*topics, "spreadwatch/<boat>/online", *BOAT_QUANTITIES, *LINE_QUANTITIES]) == []


def test_scenarios_and_faults(docs: str, root: Path) -> None:
    """sim is run as a program of its own; its tables are read here only for their names."""
    from sim.faults import FAULTS

    scenarios = [file.stem for file in (root / "sim/scenarios").glob("*.toml")]
    assert scenarios
    assert missing(docs, [*scenarios, *FAULTS]) == []


def test_a_missing_name_is_seen() -> None:
    assert missing("`--seconds-left`, spreadwatch run", ["--seconds", "spreadwatch run"]) == ["--seconds"]
