"""The invented days of sim/ through the judge of quiet spells, held against what a good helper would have said.

    python tests/campaigns/demo_day.py --seed 1 --n 2            # coarse: lines settled once a minute
    python tests/campaigns/demo_day.py --seed 1 --n 1 --whole    # every sentence through the whole flow
    python tests/campaigns/demo_day.py --golden [--update]       # eight minutes of it, against demo_day.json

Each of `n` seeds plays three days. `day`: load cells and a crew that tells. `day-alone`: neither, until the weight rod
touches. `april`: cold shallow water, where a soft bend and a touch mean no deep layer. `--golden` takes the turn
of 08:35 through the whole flow and compares minute by minute, field by field. One JSON object last; exit 1 when
an expectation is not met.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from day_coarse import Said, coarse

from assistant import day
from assistant.messages import Event, Frame
from assistant.outings import logbook
from assistant.outings.deep_water import DeepWater, deep_water
from assistant.outings.logbook import NoRecorder

LOCAL_START = {"day": 370, "day-alone": 370, "april": 420}
"""Minute of the local day at which each begins."""
DEEP = re.compile(r"\bdeep\b|layer|thermocline", re.IGNORECASE)  # lines may be put deeper


def at(said: Sequence[Said], start_min: int, clock: str) -> list[Said]:
    """Everything said from a local time "HH:MM" on."""
    hours, minutes = map(int, clock.split(":"))
    return [one for one in said if one.quiet.t_s >= 60.0 * (60 * hours + minutes - start_min)]


def heading_of(trial: str) -> float:
    """The heading a test says to hold; NaN: none."""
    found = re.match(r"hold (\d{3}) ", trial)
    return float(found.group(1)) if found else math.nan


def with_helpers(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected of the day with load cells and a crew that tells."""
    start = LOCAL_START["day"]
    early = [one for one in said if one not in at(said, start, "09:20")]
    late = [one for one in at(said, start, "09:20") if one not in at(said, start, "10:20")]
    hinted = [one for one in at(said, start, "08:49") if one not in at(said, start, "09:03")]
    before_any = [one for one in said if one not in at(said, start, "08:36")]
    by_ten = [one for one in at(said, start, "10:00") if one not in at(said, start, "10:11")]
    s2 = [one for one in at(said, start, "09:20") if one not in at(said, start, "09:58")]
    suspected = [words for one in said for words in one.quiet.suspects]
    return {
        "no word of a quiet spell before 09:20": all(one.quiet.word == "usual" for one in early),
        "a quiet spell by 10:20": any(one.quiet.word in ("unusual", "rare") for one in late),
        "nothing differs before the turn": not any(one.quiet.differs for one in before_any),
        "the first hint is physical: bends": all("rod bend" in " ".join(one.quiet.differs) for one in hinted),
        "the first hint is physical: cables": all("cables" in " ".join(one.quiet.differs) for one in hinted),
        "the touch raises belief in deep current": touch_raises(said, told),
        "220 to 280 by 10:10": bool(by_ten)
        and all(220 <= heading_of(one.quiet.trial) <= 280 for one in by_ten),
        "the shear named, not as proof": any(
            one.quiet.reason.startswith("likely: lure speed") for one in late
        ),
        "something dragging on S2": all(any(w.startswith("S2 ") for w in one.quiet.suspects) for one in s2),
        "no other line suspected": all(words.startswith("S2 ") for words in suspected),
        "11 strikes": sum(event.kind == "fish on" for event in told) == 11,
    }


def touch_raises(said: Sequence[Said], told: Sequence[Event]) -> bool:
    """Whether the minutes from the first touch on give more for a deep current along with the boat than those before;
    where nothing had seen the deep water, more than an ordinary lake does."""
    touched_s = next((event.t_s for event in told if event.kind == "touch"), math.nan)
    sigma = day.config_of("day").boat.deep_layer_sigma_mps
    ordinary = DeepWater(0.0, 0.0, ((sigma**2, 0.0), (0.0, sigma**2)), ())
    before, after = (
        [
            (one.water or ordinary).slows(math.radians(30.0))
            for one in said
            if low <= one.quiet.t_s - touched_s < high
        ]
        for low, high in ((-240.0, 0.0), (60.0, 300.0))
    )
    return bool(before and after) and (max(after) > max(before) or min(after) > 0.999)


def alone(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected without anything that sees the deep water before the touch."""
    touched_s = next((event.t_s for event in told if event.kind == "touch"), math.inf)
    early = [one for one in said if one.quiet.t_s < touched_s]
    return {
        "a touch soon after 09:00": 60.0 * (540 - LOCAL_START["day-alone"]) < touched_s < 60.0 * (560 - 370),
        "cannot tell before the touch": all(one.quiet.reason == "why: cannot tell" for one in early),
        "no word of deep water before it": not any(deep_words(one) for one in early),
        "no word of a quiet spell before 09:20": all(
            one.quiet.word == "usual"
            for one in said
            if one not in at(said, LOCAL_START["day-alone"], "09:20")
        ),
        "nothing suspected": not any(one.quiet.suspects for one in said),
        "the touch raises belief in deep current": touch_raises(said, told),
    }


def in_april(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected of cold shallow water."""
    return {
        "never a word about a deep layer": not any(deep_words(one) for one in said),
        "no deep current worked out": all(one.water is None for one in said),
        "a silence was judged": any(one.quiet.word in ("unusual", "rare") for one in said),
        "a touch and soft bends were told": {"touch", "bend"} <= {event.kind for event in told},
    }


def deep_words(one: Said) -> bool:
    """Whether anything said speaks of deep water."""
    quiet = one.quiet
    return bool(DEEP.search(" ".join([quiet.reason, quiet.trial, *quiet.differs, *quiet.suspects])))


EXPECTED: Mapping[str, Callable[[Sequence[Said], Sequence[Event]], dict[str, bool]]] = {
    "day": with_helpers,
    "day-alone": alone,
    "april": in_april,
}


def whole(name: str, seed: int, root: Path | None) -> tuple[list[Said], tuple[Event, ...]]:
    """A day through every step of the flow; what was said once a minute, and what was told. Recorded below a root."""
    config = day.config_of(name)
    recorder = logbook.begun(root, config, "simulated")
    one = day.Day(config, recorder)
    found: list[Said] = []
    for frame in one.frames(day.stamped(name, seed, None)):
        lull, quiet = one.lull, frame.quiet
        if (
            quiet is not None
            and lull.table is not None
            and (not found or quiet.t_s - found[-1].quiet.t_s >= 59.0)
        ):
            found.append(Said(quiet, deep_water(lull.table, config.boat)))
    recorder.close(one.now_s)
    return found, one.lull.told


GOLDEN = Path(__file__).with_suffix(".json")
TURN = """like = "day"
legs = [
    { duration_s = 45, speed_mph = 2.1, heading_deg = 200 },
    { duration_s = 340, speed_mph = 2.1, turn_deg_s = -0.5 },
    { duration_s = 95, speed_mph = 2.1, heading_deg = 30 },
]
told = [{ at_s = 20, rod = "P1", kind = "fish on" }, { at_s = 30, rod = "P1", kind = "back as it was" }]
touches = []

[water]
surface_drift_mps = 0.083
surface_set_deg = 210
deep_drift_mps = 0.25
deep_set_deg = 30
deep_turning_deg_h = 21
"""
"""The turn of the day, over the water of 08:35."""
FIELDS: Mapping[str, float] = {
    "heading_deg": 1.0, "stw_mps": 0.02, "drift_mps": 0.03, "depth_P1_m": 0.2, "depth_W_m": 0.2, "depth_C_m": 0.3,
    "pull_P1_n": 0.4, "pull_S1_n": 0.4, "pull_S2_n": 0.4, "strike_s": 0.01,
}  # fmt: skip
"""What is compared, and how far each may be off: another machine rounds otherwise."""


def golden_rows() -> list[dict[str, float | None]]:
    """The turn through simulator and flow: the last Frame of each minute."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "turn.toml"
        path.write_text(TURN, encoding="utf-8")
        one = day.Day(day.config_of("day"), NoRecorder())
        by_minute = {
            int(f.t_s // 60): f for f in one.frames(day.stamped(str(path), 5, None)) if f.t_s >= 30.0
        }
    return [_golden_row(frame) for _, frame in sorted(by_minute.items())]


def _golden_row(frame: Frame) -> dict[str, float | None]:
    seen = {rod: kinds["pull_n"].q.value for rod, kinds in frame.seen.items() if "pull_n" in kinds}
    heading = frame.boat["heading_rad"].value
    row: dict[str, float | None] = {
        "heading_deg": None if heading is None else math.degrees(heading),
        "stw_mps": frame.boat["stw_mps"].value,
        "drift_mps": frame.boat["drift_mps"].value,
        **{f"depth_{rod}_m": frame.lines[rod].depth_m.value for rod in ("P1", "W", "C")},
        **{f"pull_{rod}_n": seen.get(rod) for rod in ("P1", "S1", "S2")},
        "strike_s": frame.quiet.strike_s if frame.quiet else None,
    }
    return {name: None if value is None else round(value, 3) for name, value in row.items()}


def differing(
    rows: Sequence[Mapping[str, float | None]], wanted: Sequence[Mapping[str, float | None]]
) -> list[str]:
    """Fields that are off by more than they may be."""
    found = [] if len(rows) == len(wanted) else [f"{len(rows)} minutes, not {len(wanted)}"]
    for n, (row, want) in enumerate(zip(rows, wanted, strict=False)):
        for name, most in FIELDS.items():
            a, b = row[name], want[name]
            if (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > most):
                found.append(f"minute {n} {name}: {a}, not {b}")
    return found


def golden(update: bool) -> int:
    """Compare, or write anew and print what changed."""
    rows = golden_rows()
    wanted = json.loads(GOLDEN.read_text(encoding="utf-8")) if GOLDEN.exists() else []
    found = differing(rows, wanted)
    if update:
        GOLDEN.write_text("[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]\n", encoding="utf-8")
    print(json.dumps({"minutes": len(rows), "updated": update, "differing": found}))
    return 0 if update or not found else 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--n", type=int, default=1)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--outings", type=Path, help="folder in which the whole days are recorded")
    parser.add_argument("--golden", action="store_true")
    parser.add_argument("--update", action="store_true")
    parser.add_argument("--day", choices=list(EXPECTED), action="append")
    options = parser.parse_args(arguments)
    if options.golden:
        return golden(options.update)
    runs, met = [], True
    for seed in range(options.seed, options.seed + options.n):
        for name in options.day or EXPECTED:
            if options.whole:
                said, told = whole(name, seed, options.outings)
            else:
                said, state = coarse(name, day.config_of(name), seed)
                told = state.told
            found = EXPECTED[name](said, told)
            met = met and all(found.values())
            missed = [what for what, good in found.items() if not good]
            runs.append(
                {"seed": seed, "day": name, "met": sum(found.values()), "of": len(found), "missed": missed}
            )
            print(json.dumps(runs[-1]), file=sys.stderr, flush=True)
    print(json.dumps({"whole": options.whole, "all_met": met, "runs": runs}))
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
