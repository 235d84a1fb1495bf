"""Where the sentences go: a file, UDP, TCP clients, a pseudo terminal. A sink that nobody reads loses, never waits."""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import sys
import time
import tty
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Protocol

LINE_END = b"\r\n"
LOOPBACK = "127.0.0.1"
LOOK_S = 0.05
"""How often a sink looks whether its first reader has come [s]."""


class SinkError(ValueError):
    """The target cannot be used: what it was and what is allowed."""


class Sink(Protocol):
    """Takes sentences as bytes with line end."""

    def send(self, line: bytes) -> None:
        """Pass one sentence on, or lose it."""

    def wait_for_reader(self) -> None:
        """Return when somebody listens, where that can be known."""


class Stamped(Protocol):
    """Something with a time: feed.Out."""

    @property
    def t_s(self) -> float:
        """When [s]."""

    @property
    def kind(self) -> str:
        """What it is."""

    @property
    def text(self) -> str:
        """What it says."""


class FileSink:
    """Writes a file."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("wb")

    def send(self, line: bytes) -> None:
        """Write one sentence."""
        self._file.write(line)

    def wait_for_reader(self) -> None:
        """A file needs none."""

    def close(self) -> None:
        """Flush and close."""
        self._file.close()


class StampedSink:
    """Writes sentences and what the crew tells with their times, each a line of JSON, to a file or (-) to stdout."""

    def __init__(self, path: str) -> None:
        self._file = sys.stdout if path == "-" else Path(path).open("w", encoding="ascii")  # noqa: SIM115

    def send(self, line: bytes) -> None:
        """A sentence without a time says nothing here."""
        raise NotImplementedError

    def stamped(self, out: Stamped) -> None:
        """Write one thing."""
        t_s = round(out.t_s, 3)
        if out.kind == "sentence":
            self._file.write(json.dumps({"t_s": t_s, "text": out.text}) + "\n")
        elif out.kind == "told":
            self._file.write(json.dumps({"t_s": t_s, "told": json.loads(out.text)}) + "\n")

    def wait_for_reader(self) -> None:
        """A file needs none."""

    def close(self) -> None:
        """Flush and close."""
        self._file.flush()
        if self._file is not sys.stdout:
            self._file.close()


class UdpSink:
    """Sends each sentence as one datagram."""

    def __init__(self, host: str, port: int) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._to = (host, port)

    def send(self, line: bytes) -> None:
        """Send one sentence; a refused port is no error, somebody may listen later."""
        with contextlib.suppress(ConnectionRefusedError, BlockingIOError):
            self._socket.sendto(line, self._to)

    def wait_for_reader(self) -> None:
        """A datagram knows no reader."""

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()


class TcpSink:
    """Listens; sends to every client that is connected, drops one that does not read."""

    def __init__(self, host: str, port: int) -> None:
        self._server = socket.create_server((host, port))
        self._server.setblocking(False)
        self._clients: list[socket.socket] = []

    def _accept(self) -> None:
        with contextlib.suppress(BlockingIOError):
            while True:
                client, _ = self._server.accept()
                client.setblocking(False)
                self._clients.append(client)

    def send(self, line: bytes) -> None:
        """Send one sentence to all clients."""
        self._accept()
        for client in list(self._clients):
            try:
                if client.send(line) == len(line):
                    continue
            except (BlockingIOError, ConnectionError):
                pass
            client.close()
            self._clients.remove(client)

    def wait_for_reader(self) -> None:
        """Return at the first client."""
        while not self._clients:
            select.select([self._server], [], [], LOOK_S)
            self._accept()

    def close(self) -> None:
        """Close all."""
        for client in self._clients:
            client.close()
        self._server.close()


class PtySink:
    """A pseudo terminal whose device path is printed on the first line of stdout."""

    def __init__(self) -> None:
        self._master, device = os.openpty()
        tty.setraw(device)
        self.path = os.ttyname(device)
        os.close(device)
        os.set_blocking(self._master, False)
        print(self.path, flush=True)

    def _read_by_somebody(self) -> bool:
        poll = select.poll()
        poll.register(self._master, select.POLLHUP)
        return not any(event & select.POLLHUP for _, event in poll.poll(0))

    def send(self, line: bytes) -> None:
        """Write one sentence; a full line loses it."""
        if self._read_by_somebody():
            with contextlib.suppress(BlockingIOError, OSError):
                os.write(self._master, line)

    def wait_for_reader(self) -> None:
        """Return when the device has been opened."""
        while not self._read_by_somebody():
            time.sleep(LOOK_S)

    def close(self) -> None:
        """Hang up."""
        os.close(self._master)


def _address(text: str) -> tuple[str, int]:
    host, _, port = text.rpartition(":")
    if not port.isdigit() or not 0 < int(port) < 65536:
        raise ValueError("port")
    return host or LOOPBACK, int(port)


def _file(rest: str) -> FileSink:
    if not rest:
        raise ValueError("path")
    return FileSink(Path(rest))


def _stamped(rest: str) -> StampedSink:
    if not rest:
        raise ValueError("path")
    return StampedSink(rest)


AnySink = FileSink | StampedSink | UdpSink | TcpSink | PtySink
TARGETS: Mapping[str, Callable[[str], AnySink]] = {
    "udp": lambda rest: UdpSink(*_address(rest)),
    "tcp-listen": lambda rest: TcpSink(*_address(rest)),
    "file": _file,
    "stamped": _stamped,
    "pty": lambda rest: PtySink(),
}
TARGET_FORMS = "udp:[HOST:]PORT, tcp-listen:[HOST:]PORT, file:PATH, stamped:PATH, pty:"


@contextlib.contextmanager
def open_sink(target: str) -> Iterator[AnySink]:
    """Open a target by its URL; closed when the block ends.

    Raises:
        SinkError: not one of TARGET_FORMS, or it cannot be opened.
    """
    kind, _, rest = target.partition(":")
    if kind not in TARGETS:
        raise SinkError(f"--to: {target!r}; allowed: {TARGET_FORMS}")
    try:
        sink = TARGETS[kind](rest)
    except ValueError as error:
        raise SinkError(f"--to: {target!r}; allowed: {TARGET_FORMS}") from error
    except OSError as error:
        raise SinkError(
            f"--to: {target!r}: {error}; wanted: a free port or a path that can be written"
        ) from error
    try:
        yield sink
    finally:
        sink.close()
