"""Reads which transducer of an XDR sentence is on or below which rod."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from assistant.config_files import Problems, nearest, read_keys
from assistant.config_keys import TRANSDUCER_KEYS
from assistant.configured import Rod, Transducer
from assistant.units import SPEEDS_MPS

NAME = re.compile(r"[A-Za-z0-9_./-]{1,20}")
MAX_TRANSDUCERS = 40


def read_transducers(
    file: Path, raw: object, rods: Sequence[Rod], problems: Problems
) -> dict[str, Transducer]:
    """Read `transducers` of boat.toml: XDR name -> rod, where it hangs, what its speed is in.

    Args:
        rods: those of spread.toml (empty where it could not be read).
    """
    if not isinstance(raw, dict) or len(raw) > MAX_TRANSDUCERS:
        example = '{ BALL = { rod = "R1", depth = "70 ft" } }'
        problems.add(file, "transducers", raw, f"want a table of at most {MAX_TRANSDUCERS} such as {example}")
        return {}
    found = {}
    for name, item in raw.items():
        where = f"transducers.{name}"
        if not NAME.fullmatch(name):
            problems.add(
                file, "transducers", name, "want the name in the sentence: 1..20 of A-Z a-z 0-9 _ . / -"
            )
        elif not isinstance(item, dict):
            problems.add(file, where, item, 'want a table such as { rod = "R1" }')
        else:
            good = read_keys(file, f"{where}.", item, TRANSDUCER_KEYS, problems)
            names = [rod.name for rod in rods]
            if names and good.get("rod", names[0]) not in names:
                problems.add(file, f"{where}.rod", good["rod"], f"no such rod; {nearest(good['rod'], names)}")
            unit = SPEEDS_MPS[good.get("speed_unit", "m/s")]
            found[name] = Transducer(good.get("rod", ""), good.get("depth"), unit)
    return found
