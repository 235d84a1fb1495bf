"""Recorded logs of real boats through reading, gate and estimate: a summary of every minute against a golden one.

    python tests/campaigns/real_logs.py [--only NAME] [--update]

The logs are those of the shared folder (README beside them); what is kept in real_logs.json are our own figures, no
text of a log: per minute the share of time each quantity is ok, doubtful, stale or dead, refused values by reason,
the median of log over ground speed (the factor of the speed log as that README has it, where both move) and the mean
surface current. A run says what differs by more than TOLERANCE; `--update` prints the change and writes the file.
Prints one line per log (minutes, sentences, rejects, factor, share of time ok) on stderr and one JSON object last;
exit 1 when a figure has moved or a factor is not the README's. `--seed` changes nothing: a log is what it is; `--n`
limits the number of logs.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

if __package__ in (None, ""):  # as a script: the repository is not on the path
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant import locate
from assistant.configured import BoatConfig
from assistant.messages import CHECKSUMS_IGNORED, BoatState
from assistant.raw_log import read_log
from assistant.units import KNOT_MPS

GOLDEN = Path(__file__).with_suffix(".json")
SHOWN = ("stw_mps", "heading_rad", "sog_mps", "drift_mps", "water_depth_m", "water_temp_c", "lat_deg")
LETTERS = {"ok": "o", "doubtful": "d", "stale": "s", "dead": "x"}
IGNORED = ("bay-2013-07-31-badsums.nmea",)  # replayed a second time with its checksums ignored
README_FACTOR = {  # column k of the README: median of log over ground speed, checksums not looked at
    "lake-2008-06-18.nmea": 0.95, "lake-2008-08-20.nmea": 0.94, "lake-2008-05-21-noise.nmea": 0.95,
    "lake-2014-06-18.nmea": 0.80, "lake-2007-12-01-stuck-wheel.nmea": 0.84, "bay-2013-08-01.nmea": 1.04,
    "bay-2013-07-31-badsums.nmea?checksums=ignored": 1.09, "race33-2014-08-21.nmea": 0.94,
    "lake-nl-multitalker-2018.log": 1.16, "coast-plaka-vhw-hdt-vtg.log": 1.04, "ocean-2010-11-21-relogged.nmea": 0.97,
}  # fmt: skip
FACTOR_OFF = 0.03
TOLERANCE = {"states": 0.05, "factor": 0.02, "current": 0.03, "rejects": 0}
BOAT = BoatConfig("marigold", "Marigold", variation_deg=1.0)


@dataclass
class Minute:
    """What one minute of a log came to."""

    frames: int = 0
    states: dict[str, Counter[str]] = field(default_factory=lambda: {name: Counter() for name in SHOWN})
    ratios: list[float] = field(default_factory=list)
    current: list[tuple[float, float]] = field(default_factory=list)
    rejects: Counter[str] = field(default_factory=Counter)

    def add(self, boat: BoatState) -> None:
        """One frame."""
        self.frames += 1
        for name in SHOWN:
            self.states[name][getattr(boat, name).state] += 1
        drift, set_ = boat.drift_mps.value, boat.set_rad.value
        if boat.drift_mps.state == "ok" and drift is not None and set_ is not None:
            self.current.append((drift * math.cos(set_), drift * math.sin(set_)))

    def summary(self) -> dict[str, Any]:
        """Shares of time by state, in hundredths, and the rest rounded to what its tolerance sees."""
        states = {}
        for name, counter in self.states.items():
            shares = {LETTERS[s]: round(n / self.frames, 2) for s, n in counter.items()}
            states[name] = shares
        mean = (
            [sum(axis) / len(self.current) for axis in zip(*self.current, strict=True)]
            if self.current
            else None
        )
        return {
            "states": states,
            "factor": round(_median(self.ratios), 3) if len(self.ratios) >= 10 else None,
            "current": None if mean is None else [round(axis, 3) for axis in mean],
            "rejects": dict(sorted(self.rejects.items())),
        }


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    return ordered[len(ordered) // 2]


@dataclass
class Run:
    """One log: its minutes and totals."""

    minutes: list[Minute] = field(default_factory=list)
    sentences: int = 0
    refused: int = 0

    def line(self, name: str) -> dict[str, Any]:
        """The one line of a log."""
        frames = max(1, sum(minute.frames for minute in self.minutes))
        ratios = [ratio for minute in self.minutes for ratio in minute.ratios]
        rejects = sum((minute.rejects for minute in self.minutes), Counter[str]())
        ok = {q: sum(m.states[q]["ok"] for m in self.minutes) / frames for q in SHOWN}
        return {
            "log": name,
            "minutes": round(frames / 60.0, 1),
            "sentences": self.sentences,
            "bad": self.refused,
            "rejects": rejects.total(),
            "factor": round(_median(ratios), 3) if len(ratios) >= 30 else None,
            "ok": {q.rpartition("_")[0]: round(share, 2) for q, share in ok.items()},
        }


def replayed(path: Path) -> Run:
    """A log through the first half of the flow."""
    log, run, state = read_log(path), Run(), locate.initial(BOAT)
    run.sentences = log.counts["good"] + (log.counts["bad_sum"] if CHECKSUMS_IGNORED in path.name else 0)
    run.refused = sum(log.counts.values()) - run.sentences
    seen = Counter[str]()
    for number, inputs in enumerate(log.inputs()):
        state, instant = locate.located(state, inputs, wanted=number % 4 == 0)
        if instant.boat is None:
            continue
        if not run.minutes or run.minutes[-1].frames == 60:
            run.minutes.append(Minute())
        minute = run.minutes[-1]
        minute.add(instant.boat)
        now = Counter(state.counts.rejects)
        minute.rejects += now - seen
        seen = now
        ratio = _ratio(state)
        if ratio is not None:
            minute.ratios.append(ratio)
    return run


def _ratio(state: locate.LocateState) -> float | None:
    """Speed log over ground speed as the gate last let them pass, where both move."""
    tracks = state.estimate.tracks
    speeds = [state.estimate.chosen.get(role) for role in ("speed", "ground")]
    if None in speeds:
        return None
    log, ground = (tracks[key] for key in speeds if key is not None)
    if ground.value <= KNOT_MPS or log.value <= 0.0 or abs(log.t_s - ground.t_s) > 2.0:
        return None
    return log.value / ground.value


def differences(old: Any, new: Any, where: str, tolerance: float | None = None) -> list[str]:
    """What moved by more than its field allows."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = sorted({*old, *new})
        missing = 0 if tolerance is not None else None  # a state or a reason that is not named is 0
        return [
            line
            for key in keys
            for line in differences(
                old.get(key, missing), new.get(key, missing), f"{where}.{key}", TOLERANCE.get(key, tolerance)
            )
        ]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return [
            line for k in range(len(old)) for line in differences(old[k], new[k], f"{where}[{k}]", tolerance)
        ]
    if isinstance(old, int | float) and isinstance(new, int | float):
        return [] if abs(old - new) <= (tolerance or 0.0) + 1e-9 else [f"{where}: {old} -> {new}"]
    return [] if old == new else [f"{where}: {old} -> {new}"]


def packed(minutes: list[dict[str, Any]]) -> str:
    """The minutes of a log, one short line of JSON each: a state that held all along is its letter alone."""

    def short(minute: dict[str, Any]) -> list[Any]:
        states = [minute["states"][name] for name in SHOWN]
        letters = [next(iter(shares)) if len(shares) == 1 else shares for shares in states]
        return [letters, minute["factor"], minute["current"], minute["rejects"]]

    return ",\n".join(json.dumps(short(minute), separators=(",", ":")) for minute in minutes)


def unpacked(lines: list[list[Any]]) -> list[dict[str, Any]]:
    """The minutes as summaries again."""
    return [
        {
            "states": {
                name: {shares: 1.0} if isinstance(shares, str) else shares
                for name, shares in zip(SHOWN, letters, strict=True)
            },
            "factor": factor,
            "current": current,
            "rejects": rejects,
        }
        for letters, factor, current, rejects in lines
    ]


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--n", type=int, help="logs")
    parser.add_argument("--only", help="a part of the name")
    parser.add_argument("--update", action="store_true", help="write the summary as it is now")
    args = parser.parse_args()
    shared = Path(os.environ.get("SPREADWATCH_SHARED") or Path(__file__).resolve().parents[3] / "shared")
    names = sorted(path.name for path in (shared / "nmea").iterdir() if path.suffix in (".nmea", ".log"))
    names += [f"{name}?{CHECKSUMS_IGNORED}" for name in IGNORED]
    chosen = [name for name in names if args.only is None or args.only in name][: args.n]
    stored = json.loads(GOLDEN.read_text(encoding="utf-8")) if GOLDEN.exists() else {}
    golden = {name: unpacked(minutes) for name, minutes in stored.items()}
    runs = {name: replayed(shared / "nmea" / name) for name in chosen}
    lines, changes, failures = [], [], []
    for name, run in runs.items():
        lines.append(run.line(name))
        print("  ".join(f"{key} {value}" for key, value in lines[-1].items()), file=sys.stderr)
        new = [minute.summary() for minute in run.minutes]
        changes += differences(golden.get(name, []), new, re.sub(r"\.(nmea|log)", "", name))
        factor, known = lines[-1]["factor"], README_FACTOR.get(name)
        if known is not None and (factor is None or abs(factor - known) > FACTOR_OFF):
            failures.append(f"{name}: factor {factor}, README {known}")
    if args.update:
        print("\n".join(changes), file=sys.stderr)
        golden |= {name: [minute.summary() for minute in run.minutes] for name, run in runs.items()}
        body = ",\n".join(f"{json.dumps(name)}: [\n{packed(golden[name])}\n]" for name in sorted(golden))
        GOLDEN.write_text(f"{{\n{body}\n}}\n", encoding="utf-8")
    failures += [] if args.update else changes
    print(
        json.dumps(
            {"campaign": "real_logs", "logs": lines, "changes": len(changes), "failures": failures[:30]}
        )
    )
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
