"""A real mosquitto under the test's thumb, and a second client to look at what it holds."""

from __future__ import annotations

import asyncio
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import aiomqtt

from firmware_bridge.broker import free_port


class Mosquitto:
    """One mosquitto on a loopback port, to be started, killed, frozen and thawed."""

    def __init__(self, program: str, folder: Path, extra: str = "", port_from: int = 18830) -> None:
        self.program = program
        self.port = free_port(port_from)
        self.config = folder / "mosquitto.conf"
        self.config.write_text(
            f"user root\npersistence false\nlistener {self.port} 127.0.0.1\nallow_anonymous true\n{extra}\n"
        )
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [self.program, "-c", str(self.config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(200):
            with socket.socket() as probe:
                probe.settimeout(0.2)
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise AssertionError("mosquitto does not come up")

    def send(self, what: signal.Signals) -> None:
        assert self.process is not None
        self.process.send_signal(what)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None


async def until(condition: Callable[[], bool], timeout_s: float) -> float:
    """Wait for `condition`; the seconds it took. Fails after `timeout_s`."""
    loop = asyncio.get_running_loop()
    start = loop.time()
    while not condition():
        assert loop.time() - start < timeout_s, f"not within {timeout_s} s"
        await asyncio.sleep(0.02)
    return loop.time() - start


async def retained(port: int, wanted: int, timeout_s: float = 3.0, **options: object) -> dict[str, bytes]:
    """{topic: payload} of the retained messages a client that comes later finds, once `wanted` are there."""
    found: dict[str, bytes] = {}
    async with aiomqtt.Client("127.0.0.1", port, **options) as client:  # type: ignore[arg-type]
        await client.subscribe("spreadwatch/#")
        try:
            async with asyncio.timeout(timeout_s):
                async for message in client.messages:
                    if message.retain:
                        assert isinstance(message.payload, bytes)
                        found[str(message.topic)] = message.payload
                    if len(found) >= wanted:
                        break
        except TimeoutError:
            pass
    return found


async def cancelled(task: asyncio.Task[None]) -> None:
    """End a task the way the daemon does."""
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


class Machine:
    """How late the machine itself wakes an idle thread: what no program can be blamed for."""

    def __init__(self) -> None:
        self.latest_s = 0.0
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._watch)

    def _watch(self) -> None:
        while not self._end.is_set():
            due = time.monotonic() + 0.05
            time.sleep(0.05)
            self.latest_s = max(self.latest_s, time.monotonic() - due)

    def __enter__(self) -> Machine:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()
