"""`python -m sim SCENARIO --to TARGET`: plays a scenario as the boat's instruments would."""

from __future__ import annotations

import argparse
import contextlib
import math
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from sim import scenario as scenarios
from sim.chain import NoSolution
from sim.checked import CheckError
from sim.feed import Feed
from sim.gear import read_spread, read_water
from sim.sinks import LINE_END, TARGET_FORMS, Sink, SinkError, StampedSink, open_sink
from sim.world import World

UNPACED = ("file:", "stamped:")
"""Targets that take everything as fast as it comes."""

HERE = Path(__file__).resolve().parent.parent


def config_folder(given: Path | None) -> Path:
    """The folder with boat.toml, spread.toml, lines/ and bodies/: as given, of the checkout, or of the wheel.

    Raises:
        CheckError: there is none.
    """
    for folder in (given,) if given is not None else (HERE / "configs", HERE / "assistant" / "configs"):
        if (folder / "boat.toml").is_file():
            return folder
    raise CheckError(
        f"--config: {given or HERE / 'configs'}; wanted: a folder with boat.toml and spread.toml"
    )


def _rate(text: str) -> float:
    rate = float(text)
    if not (math.isfinite(rate) and 0.0 < rate <= 1e6):
        raise argparse.ArgumentTypeError(f"{text}; allowed: above 0, up to 1e6 times real time")
    return rate


def _seconds(text: str) -> float:
    seconds = float(text)
    if not (math.isfinite(seconds) and 0.0 <= seconds <= 1e7):
        raise argparse.ArgumentTypeError(f"{text}; allowed: 0 to 1e7")
    return seconds


def _seed(text: str) -> int:
    seed = int(text)
    if seed < 0:
        raise argparse.ArgumentTypeError(f"{text}; allowed: 0 or more")
    return seed


def parser() -> argparse.ArgumentParser:
    """The command line."""
    p = argparse.ArgumentParser(
        prog="python -m sim", description="Play a scenario as the boat's instruments would."
    )
    p.add_argument("scenario", help=f"a path, or one of {', '.join(scenarios.names())}")
    p.add_argument("--to", required=True, metavar="TARGET", help=TARGET_FORMS)
    p.add_argument("--seed", type=_seed, default=0, help="of waves and noise (default 0)")
    p.add_argument("--rate", type=_rate, help="times real time (default 1; a file as fast as possible)")
    p.add_argument("--truth", type=Path, metavar="OUT.jsonl", help="also write what is true, once a second")
    p.add_argument(
        "--seconds", type=_seconds, help="stop after so much simulated time (default: one pass of the legs)"
    )
    p.add_argument(
        "--config", type=Path, metavar="DIR", help="folder with boat.toml, spread.toml, lines/, bodies/"
    )
    return p


def _build(options: argparse.Namespace) -> tuple[Feed, float]:
    scenario = scenarios.read_scenario(options.scenario)
    folder = config_folder(options.config)
    water = read_water(folder)
    wanted = options.truth is not None
    rods = None if wanted else scenario.aboard.rods
    rigs = read_spread(folder / scenario.spread, folder, water, scenario.rods, rods)
    world = World(scenario, rigs, water, options.seed)
    endless = math.inf if scenario.repeat and not options.to.startswith(UNPACED) else scenario.duration_s
    return Feed(
        scenario, world, options.seed, wanted
    ), endless if options.seconds is None else options.seconds


def _play(feed: Feed, seconds: float, sink: Sink, truth: TextIO | None, rate: float | None) -> None:
    sink.wait_for_reader()
    start = time.monotonic()
    for out in feed.run(seconds):
        if rate is not None:
            ahead = start + out.t_s / rate - time.monotonic()
            if ahead > 0.0:
                time.sleep(ahead)
        if isinstance(sink, StampedSink):
            sink.stamped(out)
        elif out.kind == "sentence":
            sink.send(out.text.encode("latin-1") + LINE_END)
        if truth is not None and out.kind == "truth":
            truth.write(out.text + "\n")
            truth.flush()


def _stop(signum: int, frame: object) -> None:
    raise KeyboardInterrupt


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Returns:
        0 at the end or when told to stop, 1 when a line could not be followed, 2 for bad input.
    """
    options = parser().parse_args(arguments)
    rate = options.rate if options.rate is not None or options.to.startswith(UNPACED) else 1.0
    for told in (signal.SIGTERM, signal.SIGINT):  # a job in a shell's background starts deaf to SIGINT
        signal.signal(told, _stop)
    try:
        feed, seconds = _build(options)
        with contextlib.ExitStack() as stack:
            truth = stack.enter_context(options.truth.open("w", encoding="utf-8")) if options.truth else None
            _play(feed, seconds, stack.enter_context(open_sink(options.to)), truth, rate)
    except KeyboardInterrupt:
        return 0
    except (CheckError, SinkError) as error:
        print(error, file=sys.stderr)
        return 2
    except NoSolution as error:
        print(f"{options.scenario}: {error}", file=sys.stderr)
        return 1
    except OSError as error:
        print(f"{error}; wanted: a path that can be written", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
