"""Lure depth as shown against where the simulator's own line model had the lure: a scenario, told in sentences only.

Source of the truth: sim/ with its own line model (box scheme, another integrator), nominal coefficients of configs/.
--live runs `spreadwatch run` on UDP at the pace of the clock beside `spreadwatch simulate`; without it the same
sentences go through a file and `spreadwatch replay`. Prints a table (stderr) and one JSON object last.
"""

from __future__ import annotations

import argparse
import json
import math
import socket
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
SKIP_S = 20.0  # after the start: the first fixes
TURNING_RADPS = 0.02  # a turn, not the yaw of waves: from here until TAIL_S after it
TAIL_S = 90.0
Row = Mapping[str, Any]


def lines_of(path: Path) -> list[Row]:
    """JSON lines of a file."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def simulated(scenario: str, to: str, truth: Path, seed: int, seconds: float | None) -> None:
    """Play a scenario to its end."""
    options = ["--to", to, "--truth", str(truth), "--seed", str(seed)]
    options += ["--seconds", str(seconds)] if seconds else []
    subprocess.run([sys.executable, "-m", "sim", scenario, *options], check=True, cwd=ROOT)


def replayed(scenario: str, seed: int, seconds: float | None, folder: Path) -> tuple[list[Row], list[Row]]:
    """Frames and truth by way of a file."""
    log, truth, frames = folder / "log.nmea", folder / "truth.jsonl", folder / "frames.jsonl"
    simulated(scenario, f"file:{log}", truth, seed, seconds)
    subprocess.run(
        [sys.executable, "-m", "assistant", "replay", str(log), "--frames", str(frames)],
        check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return lines_of(frames), lines_of(truth)


def live(scenario: str, seed: int, seconds: float | None, folder: Path) -> tuple[list[Row], list[Row]]:
    """Frames and truth of a real run: simulator -> UDP -> daemon -> broker -> here."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        broker = probe.getsockname()[1]
    truth = folder / "truth.jsonl"
    options = ["--outings", "none", "--source", f"udp:{port}", "--broker", f"embedded:{broker}"]
    daemon = subprocess.Popen([sys.executable, "-m", "assistant", "run", *options], stdout=subprocess.DEVNULL)
    try:
        listener = listening(broker, daemon, folder / "frames.jsonl")
        simulated(scenario, f"udp:{port}", truth, seed, seconds)
    finally:
        daemon.terminate()
        daemon.wait(20)
    listener.terminate()
    listener.wait(10)
    text = "\n".join(
        (folder / "frames.jsonl").read_text(encoding="utf-8").split("\n")[:-1]
    )  # whole lines only
    return [json.loads(line) for line in text.splitlines() if line.startswith("{")], lines_of(truth)


def listening(port: int, daemon: subprocess.Popen[bytes], out: Path) -> subprocess.Popen[str]:
    """A subscriber to the frames, once the broker is up."""
    command = ["mosquitto_sub", "-p", str(port), "-t", "spreadwatch/+/frame"]
    while daemon.poll() is None:
        with out.open("w") as file:  # a pipe nobody reads would fill and stop it
            listener = subprocess.Popen(command, stdout=file, stderr=subprocess.DEVNULL, text=True)
        try:
            listener.wait(2)  # it leaves at once while nobody listens there
        except subprocess.TimeoutExpired:
            return listener
    raise RuntimeError("the daemon ended before its broker was up")


def pairs(frames: Iterable[Row], truth: Sequence[Row]) -> list[tuple[Row, dict[str, float], bool]]:
    """(frame, true lure depth [m] by rod at its UTC, in or after a turn); the truth between its rows by line."""
    times = [utc_s(row["utc"]) for row in truth]
    rods = {rod: [row["lines"][rod]["depth_m"] for row in truth] for rod in truth[0]["lines"]}
    turning = [
        t
        for t, row in zip(times, truth, strict=True)
        if abs(row["boat"]["rate_of_turn_radps"]) > TURNING_RADPS
    ]
    out = []
    for frame in frames:
        at = utc_s(frame["utc"]) if frame["utc"] else math.nan
        if times[0] + SKIP_S <= at <= times[-1]:
            depths = {rod: float(np.interp(at, times, values)) for rod, values in rods.items()}
            out.append((frame, depths, any(0.0 <= at - t <= TAIL_S for t in turning)))
    if not out:
        raise RuntimeError("no frame falls into the time of the truth: the daemon got no sentences")
    return out


def utc_s(text: str) -> float:
    """Seconds of an ISO 8601 UTC."""
    return datetime.fromisoformat(text).timestamp()


def figures(matched: list[tuple[Row, dict[str, float], bool]], rod: str) -> dict[str, float]:
    """Errors of one rod's depth [m], and how often the truth was inside the band."""
    errors, inside, turn_errors = [], [], []
    for frame, depths, turning in matched:
        q = frame["lines"][rod]["depth_m"]
        if q["value"] is None:
            continue
        true = depths[rod]
        errors.append(abs(q["value"] - true))
        inside.append(q["low"] <= true <= q["high"])
        if turning:
            turn_errors.append(abs(q["value"] - true) / true)
    ordered = sorted(errors)
    return {
        "frames": len(errors),
        "median_m": round(statistics.median(errors), 3),
        "p95_m": round(ordered[int(0.95 * (len(ordered) - 1))], 3),
        "worst_m": round(ordered[-1], 3),
        "turn_median_percent": round(100 * statistics.median(turn_errors), 2) if turn_errors else None,
        "turn_worst_percent": round(100 * max(turn_errors), 2) if turn_errors else None,
        "inside_band": round(sum(inside) / len(inside), 3),
    }


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the comparison; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenario", default="turn-180")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=1, help="seeds in a row")
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--live", action="store_true")
    args = parser.parse_args(argv)
    matched: list[tuple[Row, dict[str, float], bool]] = []
    for seed in range(args.seed, args.seed + args.n):
        with tempfile.TemporaryDirectory() as folder:
            way = live if args.live else replayed
            matched += pairs(*way(args.scenario, seed, args.seconds, Path(folder)))
    rods = {rod: figures(matched, rod) for rod in matched[0][1]}
    print(f"{'rod':4}" + "".join(f"{name:>21}" for name in next(iter(rods.values()))), file=sys.stderr)
    for rod, row in rods.items():
        print(f"{rod:4}" + "".join(f"{value!s:>21}" for value in row.values()), file=sys.stderr)
    result = {"scenario": args.scenario, "seed": args.seed, "n": args.n, "live": args.live, "rods": rods}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
