"""The invented day's turn at 08:35, 170 degrees to port at 0.5 deg/s: what was said when, and what the lines did.

    python tests/campaigns/turn_told.py --seed 7

The simulator plays the day from some minutes before the turn until some after it, with its own instruments, layers and
decoys (S2's counter shows 60 for 52, C is fouled), its lines marched in steps of 0.1 s; the hump, passed half an hour
later, is left out. The sentences go through the whole flow with forecasts as the daemon makes them: every second in a
turn, every 5 s else. Right before the helm is put over the turn is asked for as a what-if. Prints what was said
(alerts, and the forecast's sentence every half minute, sooner where it warns), then for each rod the worst moment and
the slowest lure that the what-if gave against what came; one JSON object last. --n: seeds in a row, `held` over all.
"""

from __future__ import annotations

import argparse
import datetime
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from alert_truth import evenly
from numpy.typing import NDArray

from assistant import day as days
from assistant import pipeline
from assistant.ahead.following import Followed, followed, question_of, turning
from assistant.ahead.forecast import forecast
from assistant.ahead.headline import headline
from assistant.ahead.manoeuvre import planned
from assistant.ahead.outlook import Forecast, LineAhead, Worst
from assistant.ahead.pairs import closest, first_nodes
from assistant.ahead.recorded import as_input
from assistant.configured import Config
from assistant.locate import STEP_S
from assistant.lookahead import EVERY_S, TURNING_EVERY_S
from assistant.messages import BoatState, Frame, Inputs, Outlook, Sentence
from assistant.units import DISPLAY_UNITS, wrap_pi
from sim.feed import Feed
from sim.gear import read_spread, read_water
from sim.scenario import Scenario, read_scenario
from sim.world import World

Array = NDArray[np.float64]
CONFIGS = Path(__file__).resolve().parents[2] / "configs"
BEFORE_S, AFTER_S = (
    780.0,
    150.0,
)  # the S-curves come to the turn as on the day where 8700 - BEFORE_S is whole periods
GLANCE_S = 30.0
LAKE_OFFSET = datetime.timedelta(hours=-2)
FINE = {"line_step_s": 0.1, "line_elements": 28}


def around_the_turn(day: Scenario, before_s: float, after_s: float, faster: float = 1.0) -> Scenario:
    """The day from so long before its turn until so long after it; the turn itself as often as fast."""
    first, turn, then = day.legs[:3]
    turn = replace(turn, duration_s=turn.duration_s / faster, turn_radps=faster * turn.turn_radps)
    t0_s = first.duration_s - before_s
    hours, lake = t0_s / 3600.0, day.lake
    lake = replace(
        lake,
        surface_set_deg=(lake.surface_set_deg + lake.surface_turning_deg_h * hours) % 360.0,
        deep_set_deg=(lake.deep_set_deg + lake.deep_turning_deg_h * hours) % 360.0,
        hump_m=0.0,
    )
    lasting = {
        rod: {key: value for key, value in ails.items() if not key.endswith("_s")}
        for rod, ails in day.rods.items()
    }
    return replace(
        day,
        legs=(replace(first, duration_s=before_s), turn, replace(then, duration_s=after_s)),
        lake=lake,
        start_utc=day.start_utc + datetime.timedelta(seconds=t0_s),
        rods={rod: ails for rod, ails in lasting.items() if ails},
        aboard=replace(day.aboard, told=()),
        **FINE,
    )


class Live:
    """The flow with its forecasts, as the daemon runs it."""

    def __init__(self, loaded: Config) -> None:
        self._fish_mps = loaded.boat.fish_speed_mps
        self._flow = pipeline.initial(loaded, "simulated")
        self._followed, self._due_s = Followed(), 0.0
        self._outlook: Outlook | None = None

    def step(self, t_s: float, sentences: Sequence[Sentence]) -> tuple[Frame | None, Forecast | None]:
        """One step; the Frame (every half second) and the forecast made after it, if it was time for one."""
        inputs = Inputs(t_s, tuple(sentences), outlook=self._outlook)
        self._outlook, frame = None, None
        if round(t_s / STEP_S) % days.FRAME_EVERY:
            self._flow = pipeline.advance(self._flow, inputs)
        else:
            self._flow, frame = pipeline.step(self._flow, inputs)
        boat = None if frame is None else pipeline.locate.boat_now(self._flow.boat)
        _, stw, heading = self._flow.boat.steering
        was_turning = turning(self._followed)
        self._followed = followed(self._followed, t_s, stw, heading, self._flow.lines.spread.motion, boat)
        if turning(self._followed) != was_turning:
            self._due_s = 0.0
        return frame, None if boat is None or t_s < self._due_s else self._look_ahead(t_s, boat)

    def _look_ahead(self, t_s: float, boat: BoatState) -> Forecast | None:
        lines = self._flow.lines.spread
        asked = question_of(self._followed, boat, [rod.rod_state for rod in lines.rods], self._fish_mps)
        if asked is None:
            return None
        self._due_s = t_s + (TURNING_EVERY_S if turning(self._followed) else EVERY_S)
        response = self._followed.learned.response()
        told = forecast(lines, asked.manoeuvre, response, self._followed.soundings)
        if told is None:
            return None
        told = replace(told, kind=asked.kind, state=asked.state, cause=asked.cause)
        self._outlook = as_input(told)
        return told

    def what_if(self, angle_rad: float, rate_radps: float) -> Forecast:
        """A turn from now on, as it may be asked for on the page."""
        response = self._followed.learned.response()
        told = forecast(
            self._flow.lines.spread, planned(angle_rad, rate_radps), response, self._followed.soundings
        )
        assert told is not None
        return told


@dataclass
class Played:
    """What was said, with the times; truth: a row every half second."""

    rods: tuple[str, ...]
    said: list[tuple[float, str]] = field(default_factory=list)
    boat: list[tuple[float, float, float]] = field(
        default_factory=list
    )  # t_s, turned since the start [rad], m/s
    depths_m: list[list[float]] = field(default_factory=list)
    speeds_mps: list[list[float]] = field(default_factory=list)
    pairs_m: list[Array] = field(default_factory=list)
    asked: Forecast | None = None
    _sounding: frozenset[str] = frozenset()
    _urgent: str = ""
    _glanced_s: float = -GLANCE_S

    def note(self, t_s: float, world: World) -> None:
        """What is so now."""
        boat, lines = world.boat_quantities(), world.line_quantities()
        before = self.boat[-1] if self.boat else None
        heading = boat["heading_rad"]
        turned = 0.0 if before is None else before[1] + wrap_pi(heading - self._heading)
        self._heading = heading
        self.boat.append((t_s, turned, boat["stw_mps"]))
        self.depths_m.append([lines[rod]["depth_m"] for rod in self.rods])
        self.speeds_mps.append([lines[rod]["lure_speed_mps"] for rod in self.rods])
        points = np.stack([evenly(one.line.nodes_m[::-1]) for one in world.lines])[None]
        skip = np.zeros((len(self.rods), len(self.rods)), np.bool_)
        self.pairs_m.append(closest(points, first_nodes(points[0]), skip).by_pair_m)

    def hear(self, frame: Frame) -> None:
        """Alerts that begin, and those that end."""
        now = {alert.key: alert for alert in frame.alerts if alert.phase != "gone"}
        for key, alert in now.items():
            if key not in self._sounding:
                how = alert.priority.upper() if alert.audible else f"{alert.priority}, no sound"
                self.said.append((frame.t_s, f"{how}: {alert.text}"))
        self.said += [(frame.t_s, f"gone: {key}") for key in sorted(self._sounding - set(now))]
        self._sounding = frozenset(now)

    def read(self, told: Forecast, units: str) -> None:
        """The forecast's sentence: every GLANCE_S, and where it first warns of bottom, crossing, a lure that hangs."""
        top = headline(told, units)
        urgent = next((word for word in ("bottom", "cross", "hangs") if word in top.said), "")
        if (urgent and urgent != self._urgent) or told.t_s >= self._glanced_s + GLANCE_S:
            self.said.append((told.t_s, f"forecast: {top.text}"))
            self._glanced_s = told.t_s
        self._urgent = urgent


def played(scenario: Scenario, loaded: Config, seed: int, before_s: float) -> Played:
    """The scenario through the flow, beside the truth."""
    names = tuple(rod.name for rod in loaded.rods)
    aboard = scenario.aboard
    cells = tuple(cell for cell in aboard.loads if cell.rod in names)
    touches = tuple(rod for rod in aboard.touches if rod in names)
    scenario = replace(scenario, aboard=replace(aboard, loads=cells, touches=touches))
    water = read_water(CONFIGS)
    rigs = read_spread(CONFIGS / "spread.toml", CONFIGS, water, scenario.rods)
    rigs = sorted((rig for rig in rigs if rig.rod in names), key=lambda rig: names.index(rig.rod))
    world = World(scenario, rigs, water, seed)
    live, out = Live(loaded), Played(names)
    turn = scenario.legs[1]
    waiting: list[Sentence] = []
    tick = 0
    for row in Feed(scenario, world, seed, truth=False).run(scenario.duration_s):
        while row.t_s > tick * STEP_S + 1e-9:
            t_s = tick * STEP_S
            frame, told = live.step(t_s, waiting)
            if frame is not None:
                out.note(t_s, world)
                out.hear(frame)
            if told is not None:
                out.read(told, loaded.boat.units)
            if t_s == before_s:
                out.asked = live.what_if(turn.turn_radps * turn.duration_s, abs(turn.turn_radps))
            waiting, tick = [], tick + 1
        waiting.append(Sentence(row.t_s, days.SOURCE, row.text))
    return out


def compared(run: Played, before_s: float) -> dict[str, Any]:
    """The what-if against what came."""
    assert run.asked is not None
    times = np.array([row[0] for row in run.boat])
    rows = (times >= before_s) & (times <= before_s + run.asked.times_s[-1])
    since = times[rows] - before_s
    depths, speeds = np.array(run.depths_m)[rows], np.array(run.speeds_mps)[rows]
    rods = {}
    for k, rod in enumerate(run.rods):
        line = run.asked.lines.get(rod)
        if line is not None:
            rods[rod] = _rod(run.asked, line, since, (depths[:, k], speeds[:, k]))
    pairs = np.array(run.pairs_m)[rows]
    gaps = []
    for pair in run.asked.pairs[:3]:
        a, b = sorted(run.rods.index(rod) for rod in pair.rods)
        k = int(pairs[:, a, b].argmin())
        gaps.append({"rods": list(pair.rods), **_against(pair.gap, float(pairs[k, a, b]), float(since[k]))})
    return {"rods": rods, "pairs": gaps}


def _rod(asked: Forecast, line: LineAhead, since: Array, truth: tuple[Array, Array]) -> dict[str, Any]:
    """One rod: the larger of rise and sink, as a depth, and its slowest lure."""
    depth, speed = truth
    now = float(line.depth_m[0, 0])
    rises = line.rise.value >= line.sink.value
    column = line.depth_m[:, 0]
    k = int(column.argmin() if rises else column.argmax())
    worst = Worst(*line.depth_m[k].tolist(), float(asked.times_s[k]))
    true = int(depth.argmin() if rises else depth.argmax())
    slow = int(speed.argmin())
    return {
        "now_m": round(now, 2),
        "now_true_m": round(float(depth[0]), 2),
        "does": "rises" if rises else "sinks",
        "depth_m": _against(worst, float(depth[true]), float(since[true])),
        "slowest_mps": _against(line.slowest, float(speed[slow]), float(since[slow])),
    }


def _against(said: Worst, true: float, true_at_s: float) -> dict[str, Any]:
    """A worst moment as it was foreseen, and as it came."""
    return {
        "said": [round(value, 2) for value in (said.value, said.low, said.high)],
        "said_at_s": round(said.at_s, 1),
        "true": round(true, 2),
        "true_at_s": round(true_at_s, 1),
        "held": bool(said.low <= true <= said.high),
    }


def shown(run: Played, found: dict[str, Any], scenario: Scenario, loaded: Config) -> str:
    """Both tables."""
    start = scenario.start_utc + LAKE_OFFSET
    rows = ["time      since helm  turned  mph  what was said"]
    times = [row[0] for row in run.boat]
    mph = DISPLAY_UNITS["angler"]["m/s"].scale
    before_s = scenario.legs[0].duration_s
    began = int(np.searchsorted(times, before_s))
    for t_s, text in sorted(run.said):
        k = min(int(np.searchsorted(times, t_s)), len(times) - 1)
        turned = math.degrees(run.boat[k][1] - run.boat[began][1]) if t_s > before_s else 0.0
        clock = f"{start + datetime.timedelta(seconds=t_s):%H:%M:%S}"
        rows.append(f"{clock}  {t_s - before_s:8.1f} s  {turned:5.0f}°  {run.boat[k][2] * mph:.1f}  {text}")
    unit, speed = (DISPLAY_UNITS[loaded.boat.units][one] for one in ("m", "m/s"))
    rows += [
        "",
        f"rod  worst depth [{unit.label}], as asked before the turn, and as it came; slowest lure [{speed.label}]",
    ]
    for rod, one in found["rods"].items():
        depth, slow = one["depth_m"], one["slowest_mps"]
        came = f"{depth['true'] * unit.scale:.0f} at {depth['true_at_s']:.0f} s{_out(depth)}"
        slowest = f"{_band(slow, speed.scale, 1)}; came {slow['true'] * speed.scale:.1f}{_out(slow)}"
        worst = f"{one['does']} to {_band(depth, unit.scale, 0)} at {depth['said_at_s']:.0f} s"
        rows.append(f"{rod:<4} {worst:<34} came {came:<24} {slowest}")
    for one in found["pairs"]:
        rows.append(
            f"{' and '.join(one['rods'])}: {_band(one, unit.scale, 0)} {unit.label} apart at {one['said_at_s']:.0f} s; "
            f"came {one['true'] * unit.scale:.0f} at {one['true_at_s']:.0f} s{_out(one)}"
        )
    return "\n".join(row.rstrip() for row in rows)


def _out(one: dict[str, Any]) -> str:
    return "" if one["held"] else " (outside)"


def _band(one: dict[str, Any], scale: float, digits: int) -> str:
    value, low, high = (f"{scale * part:.{digits}f}" for part in one["said"])
    return f"{value} ({low}-{high})"


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the campaign; returns what it prints last."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--n", type=int, default=1, help="seeds in a row")
    parser.add_argument("--before", type=float, default=BEFORE_S)
    parser.add_argument("--after", type=float, default=AFTER_S)
    parser.add_argument("--faster", type=float, default=1.0, help="the turn at so many times its rate")
    parser.add_argument("--rods", nargs="*", help="of the spread; all if not given")
    args = parser.parse_args(argv)
    loaded = days.config_of("day")
    if args.rods:
        loaded = replace(loaded, rods=tuple(rod for rod in loaded.rods if rod.name in args.rods))
    scenario = around_the_turn(read_scenario("day"), args.before, args.after, args.faster)
    runs = []
    for seed in range(args.seed, args.seed + args.n):
        run = played(scenario, loaded, seed, args.before)
        found = compared(run, args.before)
        print(shown(run, found, scenario, loaded))
        since = [(round(t_s - args.before, 2), text) for t_s, text in run.said]
        runs.append({"seed": seed, "said": since, **found})
    kinds = {
        "depth": [rod["depth_m"] for run in runs for rod in run["rods"].values()],
        "slowest": [rod["slowest_mps"] for run in runs for rod in run["rods"].values()],
        "gap": [pair for run in runs for pair in run["pairs"]],
    }
    held = {name: f"{sum(one['held'] for one in rows)} of {len(rows)}" for name, rows in kinds.items()}
    result = {"seed": args.seed, "n": args.n, "held": held, "runs": runs}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
