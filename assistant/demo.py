"""The demo: a simulated day on the lake, through the real flow, on this machine alone."""

from __future__ import annotations

import contextlib
import socket
import sys
from pathlib import Path

from assistant import config, daemon, day, player, sim_process
from assistant.outings import logbook
from assistant.terminal import StatusLine

HOST = "127.0.0.1"
RATE = 20.0  # of a whole day


def free_udp_port() -> int:
    """A UDP port on loopback that nobody has."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
    return port


def run_demo(seconds: float | None, port: int, broker_port: int) -> dict[str, object]:
    """Start simulator, flow, broker and page; returns the summary at the end.

    Raises:
        BrokerError: the broker does not start.
        OSError: no port for the page.
    """
    loaded = config.load()
    source = f"udp:{HOST}:{free_udp_port()}"
    line = StatusLine(sys.stderr, loaded.boat.units)
    options = daemon.Options(
        config=loaded,
        sources=(source,),
        broker=f"embedded:{broker_port}",
        port=port,
        seconds=seconds,
        simulated=True,
        show=line,
    )
    daemon.warm_up(loaded)
    with sim_process.running(["demo", "--to", source]):
        try:
            return daemon.run(options)
        finally:
            line.close()


def run_day(scenario: str, seconds: float | None, port: int, outings: str | None) -> dict[str, object]:
    """A whole invented day on the page at RATE times its speed; recorded as an outing where a folder is given.

    Raises:
        OSError: no port for the page.
    """
    loaded = day.config_of(scenario)
    daemon.warm_up(loaded)
    recorder = logbook.begun(Path(outings) if outings else None, loaded, "simulated")
    one = day.Day(loaded, recorder)
    try:
        with contextlib.closing(day.stamped(scenario, 0, None)) as lines:
            return player.show(loaded, one.frames(lines), lambda: one.lull.told, port, RATE, seconds)
    finally:
        recorder.close(one.now_s)
