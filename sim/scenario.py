"""Reads a scenario: one TOML file with the legs, the water, the instruments, their faults and what ails
which rod.

Keys of a scenario are the rows of LAKE (water.py), HANDLING (boat.py), INSTRUMENT_NUMBERS (instruments.py),
FAULT_NUMBERS (faults.py), SPREAD (gear.py) and those below; anything else is refused by name.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.units import MPH_MPS
from sim.aboard import Aboard, read_aboard
from sim.boat import HANDLING, Handling, Leg
from sim.checked import CheckError, Number, known_keys, number, numbers
from sim.faults import FAULT_NUMBERS, FAULTS, Fault
from sim.gear import SPREAD
from sim.instruments import INSTRUMENT_NUMBERS, NOT_FITTED, SENTENCES
from sim.tied import read_toml
from sim.water import LAKE, Lake

FOLDER = Path(__file__).parent / "scenarios"

TOP_KEYS = (
    "about",
    "start_utc",
    "origin",
    "repeat",
    "spread",
    "legs",
    "water",
    "boat",
    "instruments",
    "faults",
    "rods",
    "lines",
    "loads",
    "touches",
    "told",
    "like",
    "untold",
)
ORIGIN = (Number("lat_deg", -89.0, 89.0, 45.0), Number("lon_deg", -180.0, 180.0, -30.0))
LEG = (
    Number("duration_s", 0.1, 1e6),
    Number("speed_mph", 0.0, 20.0),
    Number("heading_deg", 0.0, 360.0, math.nan),
    Number("turn_deg_s", -30.0, 30.0, math.nan),
    Number("weave_deg", 0.0, 60.0, 0.0),  # easy S-curves about the heading
    Number("weave_s", 30.0, 3600.0, 360.0),  # one to each side
)
LINES = (Number("step_s", 0.02, 2.0, 0.1), Number("elements", 6.0, 200.0, 28.0))
"""Step and elements of the main line of the truth model. With the defaults, against steps of 0.02 s on 3.5 times the
elements: every depth of the demo spread within 2 cm (copper 5 cm) through half a circle over a layered current."""
START_UTC = datetime.datetime(2026, 7, 18, 8, 10, tzinfo=datetime.UTC)  # 06:10 on the lake, UTC-2
MEASURED = (
    "heading_rad",
    "stw_mps",
    "sog_mps",
    "cog_rad",
    "lat_deg",
    "lon_deg",
    "water_depth_m",
    "water_temp_c",
    "rate_of_turn_radps",
)


@dataclass(frozen=True, slots=True)
class Scenario:
    """One scenario, checked; angles in rad, speeds in m/s."""

    name: str
    path: Path
    about: str
    start_utc: datetime.datetime
    lat_deg: float
    lon_deg: float
    repeat: bool
    spread: str
    legs: tuple[Leg, ...]
    lake: Lake
    handling: Handling
    instruments: Mapping[str, float]
    fitted: tuple[str, ...]
    faults: tuple[Fault, ...]
    rods: Mapping[str, Mapping[str, float]]
    line_step_s: float
    line_elements: int
    aboard: Aboard

    @property
    def duration_s(self) -> float:
        """Time of one pass through the legs [s]."""
        return sum(leg.duration_s for leg in self.legs)


def names() -> list[str]:
    """Scenarios that come with the simulator."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def find(name_or_path: str) -> Path:
    """The file of a scenario given by name or by path.

    Raises:
        CheckError: there is none.
    """
    own = FOLDER / f"{name_or_path}.toml"
    if "/" not in name_or_path and own.is_file():
        return own
    path = Path(name_or_path)
    if path.is_file():
        return path
    raise CheckError(f"scenario: {name_or_path!r}; allowed: a path, or one of {', '.join(names())}")


def read_scenario(name_or_path: str) -> Scenario:
    """Read a scenario by name or path.

    Raises:
        CheckError: with file, key, value, allowed.
    """
    path = find(name_or_path)
    raw = read_toml(path)
    try:
        if "like" in raw:  # another scenario, but for what stands here
            raw = {**read_toml(find(str(raw["like"]))), **raw}
        return _scenario(raw, path)
    except CheckError as error:
        raise CheckError(f"{path}: {error}") from error


def _scenario(raw: Mapping[str, Any], path: Path) -> Scenario:
    known_keys(raw, TOP_KEYS)
    origin = _checked(raw, "origin", ORIGIN)
    fitted = _table(raw, "instruments").get("without", list(NOT_FITTED))
    if not isinstance(fitted, list) or any(name not in SENTENCES for name in fitted):
        raise CheckError(f"instruments.without: {fitted!r}; allowed: a list of {', '.join(SENTENCES)}")
    repeat = raw.get("repeat", False)
    if not isinstance(repeat, bool):
        raise CheckError(f"repeat: {repeat!r}; allowed: true, false")
    lines = _checked(raw, "lines", LINES)
    start = raw.get("start_utc", START_UTC)
    if not isinstance(start, datetime.datetime) or start.tzinfo is None:
        raise CheckError(
            f"start_utc: {start!r}; allowed: a date and time with its offset, 2026-07-18T08:10:00Z"
        )
    return Scenario(
        name=path.stem,
        path=path,
        about=str(raw.get("about", "")),
        start_utc=start.astimezone(datetime.UTC),
        lat_deg=origin["lat_deg"],
        lon_deg=origin["lon_deg"],
        repeat=repeat,
        spread=str(raw.get("spread", "spread.toml")),
        legs=_legs(raw.get("legs")),
        lake=Lake(**_checked(raw, "water", LAKE)),
        handling=Handling(**_checked(raw, "boat", HANDLING)),
        instruments=_checked(raw, "instruments", INSTRUMENT_NUMBERS, "without"),
        fitted=tuple(name for name in SENTENCES if name not in fitted),
        faults=tuple(_fault(row, f"faults[{i}].") for i, row in enumerate(_rows(raw, "faults"))),
        rods=dict(_rod(row, f"rods[{i}].") for i, row in enumerate(_rows(raw, "rods"))),
        line_step_s=lines["step_s"],
        line_elements=int(lines["elements"]),
        aboard=read_aboard(raw),
    )


def _table(raw: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    table = raw.get(key, {})
    if not isinstance(table, dict):
        raise CheckError(f"{key}: {table!r}; allowed: a table")
    return table


def _rows(raw: Mapping[str, Any], key: str) -> Sequence[Mapping[str, Any]]:
    rows = raw.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise CheckError(f"{key}: {rows!r}; allowed: a list of tables")
    return rows


def _checked(raw: Mapping[str, Any], key: str, rows: Sequence[Number], *others: str) -> dict[str, float]:
    table = _table(raw, key)
    known_keys(table, (*(row.key for row in rows), *others), f"{key}.")
    return numbers(table, rows, f"{key}.")


def _legs(raw: Any) -> tuple[Leg, ...]:
    if not isinstance(raw, list) or not raw or not all(isinstance(leg, dict) for leg in raw):
        raise CheckError(
            f"legs: {raw!r:.60}; allowed: one or more tables with {', '.join(n.key for n in LEG)}"
        )
    legs = []
    for i, row in enumerate(raw):
        where = f"legs[{i}]."
        known_keys(row, (n.key for n in LEG), where)
        v = numbers(row, LEG, where)
        turns = not math.isnan(v["turn_deg_s"])
        if turns == (not math.isnan(v["heading_deg"])) or (i == 0 and turns):
            raise CheckError(
                f"{where}heading_deg, turn_deg_s: {row!r}; allowed: one of them, on the first leg a heading"
            )
        heading = None if turns else math.radians(v["heading_deg"])
        turn = math.radians(v["turn_deg_s"]) if turns else 0.0
        weave = math.radians(v["weave_deg"]), v["weave_s"]
        legs.append(Leg(v["duration_s"], v["speed_mph"] * MPH_MPS, heading, turn, *weave))
    return tuple(legs)


def _fault(row: Mapping[str, Any], where: str) -> Fault:
    known_keys(row, ("kind", "quantity", "sentence", *(n.key for n in FAULT_NUMBERS)), where)
    kind, quantity, sentence = str(row.get("kind")), row.get("quantity"), row.get("sentence")
    if kind not in FAULTS:
        raise CheckError(f"{where}kind: {kind!r}; allowed: {', '.join(FAULTS)}")
    target = FAULTS[kind]
    allowed = MEASURED if target == "quantity" else (*SENTENCES, "*")
    if row.get(target) not in allowed or (quantity is not None) == (sentence is not None):
        raise CheckError(
            f"{where}{target}: {row.get(target)!r}; allowed: for {kind!r} one of {', '.join(allowed)}"
        )
    return Fault(kind=kind, quantity=quantity, sentence=sentence, **numbers(row, FAULT_NUMBERS, where))


def _rod(row: Mapping[str, Any], where: str) -> tuple[str, dict[str, float]]:
    known_keys(row, ("rod", *(n.key for n in SPREAD)), where)
    rod = row.get("rod")
    if not isinstance(rod, str):
        raise CheckError(f"{where}rod: {rod!r}; allowed: the name of a rod")
    return rod, {n.key: number(row[n.key], n, where) for n in SPREAD if n.key in row}
