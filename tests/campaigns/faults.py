"""Random faults of the instruments: is the shown state honest, and soon?

    python tests/campaigns/faults.py --seed 1 --n 200

Each injection is one drawn simulated day (sim_days.py) of 3 min with one fault of FAULTS on one sentence type (or
all of them), edited into the finished sentences between START_S and STOP_S. A frame is a lie when a quantity is "ok"
and the truth is further from it than 2.5 times the half-width of its 10-90 % band. Promised: within the quantity's
stale time + 1 s every lie the fault makes has ended (one that the same day tells without the fault, by an instrument
far out in the tail of its distribution, counts among the lies but is not the fault's); lies are at most 0.1 % of the
ok values (0.5 % in turns, which are counted apart), each day by its weight (sim_days.weighted_normals); silence is no
longer "ok" after the stale time + 1 s. Prints the matrix of faults on stderr (values and lies as counted, with no
weights), one JSON object last; exit 1 when a promise is broken. Speeds are held against the truth averaged over a
wave.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import reduce
from operator import xor
from typing import Any

import numpy as np
from sim_days import Second, angle_off, drawn_day, seconds_of, shown_of, wave_averaged, weighted_normals

from assistant.messages import Z90, BoatState

START_S, STOP_S, END_S = 90.0, 130.0, 180.0
LIMIT = 2.5
TURNING_RADPS = 0.02
AFTER_TURN_S = 10.0
SLACK_S = 1.0
ALLOWED, ALLOWED_IN_TURNS = 0.001, 0.005

Sent = tuple[float, str]  # time of arrival [s], text

STALE_S: Mapping[str, float] = {
    "stw_mps": 3.0, "heading_rad": 3.0, "sog_mps": 4.0, "cog_rad": 4.0, "set_rad": 4.0, "drift_mps": 4.0,
    "water_depth_m": 5.0, "water_temp_c": 30.0, "rate_of_turn_radps": 3.0, "lat_deg": 4.0, "lon_deg": 4.0,
}  # fmt: skip
"""Stale after, trust table of DEVELOPERS.md; the current is as old as the receiver's fix."""

NEEDS: Mapping[str, tuple[str, ...]] = {
    "VHW": ("set_rad", "drift_mps"),
    "HDG": (),  # the heading in VHW stands in
    "HDG VHW": ("set_rad", "drift_mps"),
    "RMC": (),  # VTG and GGA stand in
    "RMC VTG GGA": ("lat_deg", "lon_deg", "sog_mps", "cog_rad", "set_rad", "drift_mps"),
    "DPT": ("water_depth_m",),
    "MTW": ("water_temp_c",),
    "*": tuple(STALE_S),
}
"""What is lost when this sentence falls silent and no other of these days stands in."""


def summed(body: str) -> str:
    """A body with its checksum."""
    return f"${body}*{reduce(xor, body.encode(), 0):02X}"


def body_of(text: str) -> str:
    """What stands between $ and *."""
    return text[1:].rpartition("*")[0]


@dataclass
class Struck:
    """Editing state of one injection."""

    rng: np.random.Generator
    last: dict[str, str] = field(default_factory=dict)  # text by type before the fault


def _field(kind: str) -> int:
    return {"RMC": 7, "VHW": 5, "HDG": 1, "DPT": 1, "MTW": 1}.get(kind, 1)


def _spike(kind: str, text: str, factor: float, add: float) -> str:
    parts = body_of(text).split(",")
    at = _field(kind)
    if at < len(parts) and re.fullmatch(r"-?[\d.]+", parts[at]):
        parts[at] = f"{abs(float(parts[at]) * factor + add):.1f}"
        if kind == "VHW":
            parts[7] = f"{float(parts[5]) * 1.852:.2f}"
    return summed(",".join(parts))


def drop(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """Nothing comes."""
    return []


def freeze(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """The sentence keeps its last values (a receiver keeps its clock running)."""
    held, now = body_of(s.last.get(kind, sent[1])).split(","), body_of(sent[1]).split(",")
    if kind in ("RMC", "GGA", "ZDA"):
        held[1] = now[1]
    return [(sent[0], summed(",".join(held)))]


def spike(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """One in six is far off."""
    if s.rng.random() > 1.0 / 6.0:
        return [sent]
    factor, add = ((0.0, 0.0), (3.0, 5.0), (1.0, 60.0))[int(s.rng.integers(3))]
    return [(sent[0], _spike(kind, sent[1], factor, add))]


def late(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """Everything comes 2 s late."""
    return [(sent[0] + 2.0, sent[1])]


def duplicate(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """Everything comes twice."""
    return [sent, (sent[0] + 0.01, sent[1])]


def swapped(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """Neighbours change places: every other one waits for the next."""
    held = s.last.pop("held", None)
    if held is None:
        s.last["held"] = sent[1]
        return []
    return [sent, (sent[0] + 0.01, held)]


def bad_checksum(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """The sum is wrong: framing never lets it through."""
    return []


def damaged(s: Struck, kind: str, sent: Sent) -> list[Sent]:
    """Two equal digits changed alike, so that the checksum holds by luck: one in twenty."""
    digits = [k for k, c in enumerate(sent[1]) if c.isdigit() and k < sent[1].index("*")]
    if s.rng.random() > 0.05 or len(digits) < 2:
        return [sent]
    text = list(sent[1])
    a, b = s.rng.choice(digits, 2, replace=False)
    flip = int(s.rng.integers(1, 8))
    for k in (a, b):
        text[k] = chr(ord(text[k]) ^ flip)
    return [(sent[0], "".join(text))]


def clock(change: Callable[[str, str], tuple[str, str]]) -> Callable[[Struck, str, Sent], list[Sent]]:
    """A fault of the date and time in RMC."""

    def edit(s: Struck, kind: str, sent: Sent) -> list[Sent]:
        parts = body_of(sent[1]).split(",")
        parts[1], parts[9] = change(parts[1], parts[9])
        return [(sent[0], summed(",".join(parts)))]

    return edit


Edit = Callable[[Struck, str, Sent], list[Sent]]
SENTENCES = ("VHW", "HDG", "RMC", "DPT", "MTW")
INSTRUMENTS = ("VHW", "HDG VHW", "RMC VTG GGA", "DPT", "MTW")

FAULTS: Mapping[str, tuple[Edit, tuple[str, ...]]] = {
    "drop": (drop, (*SENTENCES, *INSTRUMENTS[1:3], "*")),
    "freeze": (freeze, (*SENTENCES, *INSTRUMENTS[1:3])),
    "spike": (spike, SENTENCES),
    "late": (late, INSTRUMENTS),
    "duplicate": (duplicate, (*SENTENCES, "*")),
    "swapped": (swapped, SENTENCES),
    "bad checksum": (bad_checksum, INSTRUMENTS),
    "lucky checksum": (damaged, SENTENCES),
    "time backwards": (clock(lambda t, d: ("000001.00", d)), ("RMC",)),
    "week rollover": (clock(lambda t, d: (t, "021206")), ("RMC",)),
    "leap second": (clock(lambda t, d: ("235960.00", d)), ("RMC",)),
    "blank date": (clock(lambda t, d: (t, "")), ("RMC",)),
}
"""Fault -> what it does to a sentence of the struck type, and the types it may strike."""

SILENT = ("drop", "bad checksum")


def kind_of(text: str) -> str:
    """The three letters of the type."""
    return text[3:6]


def struck(day: list[Second], fault: str, target: str, rng: np.random.Generator) -> list[Second]:
    """The day with the fault in it."""
    edit, state = FAULTS[fault][0], Struck(rng)
    sent: list[Sent] = []
    for second in day:
        for one in second.sentences:
            kind = kind_of(one[1])
            hit = (target == "*" or kind in target) and START_S <= one[0] < STOP_S
            sent += edit(state, kind, one) if hit else [one]
            if one[0] < START_S:
                state.last[kind] = one[1]
    sent.sort(key=lambda one: one[0])
    out, at = [], 0
    for second in day:
        begin = at
        while at < len(sent) and sent[at][0] <= second.t_s:
            at += 1
        out.append(Second(second.t_s, tuple(sent[begin:at]), second.truth))
    return out


def off(name: str, shown: float, true: float) -> float:
    """Distance of shown and true."""
    return abs(angle_off(shown, true)) if name in ("heading_rad", "cog_rad", "set_rad") else abs(shown - true)


def lies(name: str, shown: BoatState, truth: Mapping[str, float]) -> bool:
    """Whether a quantity is called ok and is too far from the truth."""
    estimate = getattr(shown, name)
    if estimate.state != "ok":
        return False
    return off(name, estimate.value, truth[name]) > LIMIT * Z90 * float(estimate.sigma)


class Matrix:
    """Lies, ok frames and the longest lie by fault."""

    def __init__(self) -> None:
        self.runs: Counter[str] = Counter()
        self.weight = 1.0  # of the day that is looked at
        self.ok: dict[bool, float] = {False: 0.0, True: 0.0}
        self.weighed: dict[bool, float] = {False: 0.0, True: 0.0}  # lies
        self.lies: dict[bool, Counter[tuple[str, str, str]]] = {False: Counter(), True: Counter()}
        self.longest: dict[str, float] = defaultdict(float)
        self.doubtful: dict[str, Counter[str]] = defaultdict(Counter)
        self.failures: list[str] = []
        self._own: set[tuple[str, float]] = set()  # lies of the day without a fault

    def without_fault(self, day: list[Second]) -> None:
        """What the day says falsely by itself."""
        self._own = {
            (name, second.t_s)
            for second, shown, truth in wave_averaged(list(shown_of(day)))
            for name in STALE_S
            if lies(name, shown, truth)
        }

    def run(self, seed: int, fault: str, target: str, day: list[Second]) -> None:
        """One injection."""
        self.runs[fault] += 1
        since: dict[str, float] = {}
        turned_s = -math.inf
        for second, shown, truth in wave_averaged(list(shown_of(day))):
            t_s = second.t_s
            if abs(truth["rate_of_turn_radps"]) > TURNING_RADPS:
                turned_s = t_s
            if t_s < 60.0:
                continue
            turning = t_s - turned_s <= AFTER_TURN_S
            for name, stale_s in STALE_S.items():
                lie = self._frame(name, shown, truth, turning, (fault, target))
                lie = lie and (name, t_s) not in self._own
                since.setdefault(name, t_s) if lie else since.pop(name, None)
                lasted = t_s - since[name] + 0.25 if lie else 0.0
                self.longest[fault] = max(self.longest[fault], lasted)
                if lasted > stale_s + SLACK_S:
                    self.failures.append(
                        f"seed {seed} {fault} {target}: {name} lies for {lasted:.1f} s at {t_s}"
                    )
                    since[name] = t_s
            self._silence(seed, fault, target, t_s, shown)

    def _frame(
        self, name: str, shown: BoatState, truth: Mapping[str, float], turning: bool, case: tuple[str, str]
    ) -> bool:
        estimate = getattr(shown, name)
        self.doubtful[case[0]][estimate.state] += 1
        if estimate.state != "ok":
            return False
        self.ok[turning] += self.weight
        lie = lies(name, shown, truth)
        self.weighed[turning] += self.weight * lie
        self.lies[turning][(*case, name)] += lie
        return lie

    def _silence(self, seed: int, fault: str, target: str, t_s: float, shown: BoatState) -> None:
        if fault not in SILENT:
            return
        for name in NEEDS[target]:
            late = START_S + STALE_S[name] + SLACK_S + 1.0 < t_s < STOP_S
            words = f"seed {seed} {fault} {target}: {name} still ok when silent"
            if late and getattr(shown, name).state == "ok" and words not in self.failures:
                self.failures.append(words)

    def share(self, turning: bool) -> float:
        """Lies among ok values, every day by its weight."""
        return self.weighed[turning] / max(1.0, self.ok[turning])

    def table(self) -> list[dict[str, Any]]:
        """A row per fault."""
        lies = Counter[str]()
        for counter in self.lies.values():
            for (fault, _, _), n in counter.items():
                lies[fault] += n
        return [
            {
                "fault": fault,
                "runs": n,
                "ok": round(self.doubtful[fault]["ok"] / self.doubtful[fault].total(), 4),
                "lies": lies[fault],
                "longest_s": round(self.longest[fault], 2),
            }
            for fault, n in self.runs.items()
        ]


def main() -> int:
    """Command line of the campaign."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=200, help="injections")
    args = parser.parse_args()
    cases = [(fault, target) for fault, (_, targets) in FAULTS.items() for target in targets]
    order = np.random.default_rng([args.seed, 9]).permutation(len(cases))
    matrix = Matrix()
    days: list[Second] = []
    normals = weighted_normals(args.seed, -(-args.n // 4))
    for k in range(args.n):
        fault, target = cases[int(order[k % len(cases)])]
        if k % 4 == 0:  # a day is struck in four ways: making it costs more than looking at it
            one, matrix.weight = normals[k // 4]
            drawn = drawn_day(args.seed + k, END_S, one)
            days = list(seconds_of(drawn, args.seed + k, END_S))
            matrix.without_fault(days)
        matrix.run(
            args.seed + k,
            fault,
            target,
            struck(days, fault, target, np.random.default_rng([args.seed + k, 8])),
        )
    rows = matrix.table()
    for row in rows:
        print("  ".join(f"{name} {value!s:14}" for name, value in row.items()), file=sys.stderr)
    shares = {"straight": matrix.share(False), "turns": matrix.share(True)}
    failures = [*matrix.failures]
    failures += [f"lies {shares['straight']:.3%}"] if shares["straight"] > ALLOWED else []
    failures += [f"lies in turns {shares['turns']:.3%}"] if shares["turns"] > ALLOWED_IN_TURNS else []
    worst = (matrix.lies[False] + matrix.lies[True]).most_common(8)
    print(
        json.dumps(
            {
                "campaign": "faults", "seed": args.seed, "n": args.n,
                "lie_share": {k: round(v, 6) for k, v in shares.items()},
                "ok_values": sum(count["ok"] for count in matrix.doubtful.values()),
                "most_lies": {" ".join(case): n for case, n in worst if n},
                "matrix": rows,
                "failures": len(failures), "first": failures[:30],
            }
        )
    )  # fmt: skip
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
