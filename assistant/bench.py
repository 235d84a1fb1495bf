"""`spreadwatch bench`: how fast, how big, how late, on this machine. Every number is measured in this run."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from assistant import config, dock, line_bench, locate, peer_bench, pipeline
from assistant.bench_feed import feed, on_grid
from assistant.configured import Config
from assistant.demo import HOST, free_udp_port
from assistant.flood_bench import Flood
from assistant.lines.peer import load as load_peer
from assistant.locate import STEP_S
from assistant.messages import Inputs, Sentence
from assistant.meter import quantile
from assistant.replay_bench import replay_rate
from firmware_bridge.framing import Framer
from firmware_bridge.mqtt import free_port

DECODE_S = 400.0  # of boat time decoded: 20 000 sentences
STEPS = 2000
DAEMON_S = 20.0
SETTLED_S = 5.0  # of the daemon's run left out of its CPU share: start and compiled code


def sentences_per_s() -> float:
    """Sentences a second through framing, decoding, gate and estimate (no lines)."""
    ticks = [inputs for inputs in on_grid(DECODE_S) if inputs.sentences]
    chunks = ["".join(f"{s.text}\r\n" for s in inputs.sentences).encode() for inputs in ticks]
    state = locate.initial(config.load().boat)
    framer = Framer()
    count = 0
    start_s = time.perf_counter()
    for inputs, chunk in zip(ticks, chunks, strict=True):
        sentences = tuple(Sentence(inputs.t_s, "bench", text) for text in framer.feed(chunk))
        state = locate.advance(state, Inputs(inputs.t_s, sentences))
        count += len(sentences)
    return count / (time.perf_counter() - start_s)


def step_ms(loaded: Config) -> dict[str, float | None]:
    """Time of one pipeline.step of the whole spread at 50 sentences a second [ms]."""
    state = pipeline.initial(loaded, "simulated")
    times_s = []
    for inputs in on_grid(STEPS * STEP_S):
        start_s = time.perf_counter()
        state, _ = pipeline.step(state, inputs)
        times_s.append(time.perf_counter() - start_s)
    steady = times_s[100:]  # the first ones settle the lines
    return {"p50": milli(quantile(steady, 0.5)), "p99": milli(quantile(steady, 0.99))}


def milli(value_s: float | None) -> float | None:
    """Seconds to milliseconds, to three digits."""
    return None if value_s is None else float(f"{1000.0 * value_s:.3g}")


def start_s() -> dict[str, float]:
    """From the start of the program to its first frame, without and with compiled code at hand [s]."""
    code = "from assistant import config, daemon; daemon.warm_up(config.load())"
    with tempfile.TemporaryDirectory() as cache:
        times = []
        for _ in ("cold", "cached"):
            begin_s = time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", code], env=child_env(cache), check=True, stderr=subprocess.DEVNULL
            )
            times.append(round(time.perf_counter() - begin_s, 2))
    return {"cold": times[0], "cached": times[1]}


def child_env(cache: str | None = None) -> dict[str, str]:
    """The environment of a program of ours; `cache` is where its compiled code goes."""
    home = str(Path(__file__).resolve().parent.parent)
    paths = os.pathsep.join(filter(None, [home, os.environ.get("PYTHONPATH")]))
    return {**os.environ, "PYTHONPATH": paths, **({"NUMBA_CACHE_DIR": cache} if cache else {})}


def cpu_s(pid: int) -> float:
    """CPU time a process has used [s], from /proc."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def send(port: int, until_s: float) -> None:
    """Send the feed to a UDP port in real time until `until_s` of the monotonic clock."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        begin_s = time.monotonic()
        for t_s, texts in feed(until_s - begin_s):
            time.sleep(max(0.0, begin_s + t_s - time.monotonic()))
            for text in texts:
                out.sendto(f"{text}\r\n".encode(), (HOST, port))


def started(source: str, seconds: float) -> subprocess.Popen[bytes]:
    """The daemon with its own broker on one source, for so long [s]; nothing is recorded."""
    run = ["run", "--outings", "none", "--source", source, "--broker", f"embedded:{free_port(18830)}"]
    return subprocess.Popen(
        [sys.executable, "-m", "assistant", *run, "--port", "18620", "--seconds", str(seconds)],
        env=child_env(),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )


def daemon_run(run_s: float) -> dict[str, object]:
    """Peak memory, share of one core and latency of daemon and broker at 50 sentences a second, for so long [s]."""
    port = free_udp_port()
    begin_s = time.monotonic()
    process = started(f"udp:{HOST}:{port}", run_s + SETTLED_S)
    send(port, begin_s + SETTLED_S)
    used_s, from_s = cpu_s(process.pid), time.monotonic()
    send(port, from_s + run_s - 2.0)
    share = (cpu_s(process.pid) - used_s) / (time.monotonic() - from_s)
    peak = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii").partition("VmHWM:")[2].split()[0]
    out, _ = process.communicate(timeout=60.0)
    summary = json.loads(out)
    return {
        "memory_mb": round(int(peak) / 1024.0, 1),
        "cpu_percent": round(100.0 * share, 1),
        "latency_ms": summary["latency_ms"],
        "event_loop_late_ms": summary["event_loop_late_ms"],
        "step_late_ms": summary["step_late_ms"],
        "forecasts": summary["forecasts"],
        "slips": summary["slips"],
    }


def flood_run(run_s: float) -> dict[str, object]:
    """The daemon's share of one core, latency and what it heard at ten times a fast line's rate, for so long [s]."""
    flood = Flood()
    process = started(f"serial:{flood.name}?baud=115200", run_s + 2.0 * SETTLED_S)
    try:
        wait_for_reader(process.pid, flood.name)
        flood.start()
        time.sleep(SETTLED_S)
        used_s, from_s, sent = cpu_s(process.pid), time.monotonic(), flood.fed.sent_bytes
        time.sleep(run_s)
        share = (cpu_s(process.pid) - used_s) / (time.monotonic() - from_s)
        rate = (flood.fed.sent_bytes - sent) / (time.monotonic() - from_s)
        flood.halt()
        out, _ = process.communicate(timeout=60.0)
    finally:
        process.kill()
        flood.stop()
    summary = json.loads(out)
    return {
        "bytes_per_s": round(rate),
        "cpu_percent": round(100.0 * share, 1),
        "heard_share": round(summary["sentences"] / flood.fed.good, 5),
        "slips": summary["slips"],
        "port_behind_s": round(flood.fed.worst_behind_s, 3),
        "latency_ms": summary["latency_ms"],
    }


def wait_for_reader(pid: int, terminal: str) -> None:
    """Wait until a process has opened a terminal.

    Raises:
        TimeoutError: it has not within a minute.
    """
    until_s = time.monotonic() + 60.0
    while time.monotonic() < until_s:
        with contextlib.suppress(OSError):
            if any(str(link.readlink()) == terminal for link in Path(f"/proc/{pid}/fd").iterdir()):
                return
        time.sleep(0.1)
    raise TimeoutError(f"{terminal} was not opened")


def measure(peer: str | None, minutes: float | None = None) -> dict[str, object]:
    """All of it, one after the other, so that nothing measured disturbs anything else."""
    if peer is not None:
        load_peer()  # says at once that it is missing
    loaded = config.load()
    result: dict[str, object] = {
        "start_s": start_s(),
        "step_ms": step_ms(loaded),
        "turn_realtime_factor": round(line_bench.turn_realtime_factor()),
        "turn_realtime_factor_12": round(line_bench.turn_realtime_factor_12()),
        "ensemble_s": round(line_bench.ensemble_cpu_s(), 4),
        "curve_us": dock.curve_us(),
        "forecast_s": round(line_bench.forecast_cpu_s(), 3),
        "sentences_per_s": round(sentences_per_s()),
        "replay_rate": replay_rate(),
        **daemon_run(DAEMON_S if minutes is None else 60.0 * minutes),
        "flood": flood_run(DAEMON_S),
    }
    if peer is not None:
        result["peer"] = peer_bench.peer_moordyn()
    return result
