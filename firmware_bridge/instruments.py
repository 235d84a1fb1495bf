"""Sources by URL. Each looks after its own wire for ever: opens it, frames, opens it again.

    serial:DEV?baud=4800   tcp:HOST:PORT   udp:PORT   udp:ADDRESS:PORT   file:PATH   stdin:
    signalk-ws:HOST:PORT   signalk-tcp:HOST:PORT

Any of them may end in ?checksums=ignored, see framing.py. Lines of Signal K are taken from each; the last two are for
servers, which want to be asked (by the path of a WebSocket, by a line over TCP).
A new kind of source is a row of SCHEMES and an async generator in wires.py. Nothing else is ever sent.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Mapping
from contextlib import aclosing
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

from assistant.messages import Sentence
from firmware_bridge import wires
from firmware_bridge.framing import Framer, split_unchecked

Clock = Callable[[], float]  # [s] since the daemon's start, monotonic
SourceState = Literal["waiting", "connected", "ended"]

FIRST_WAIT_S = 0.1  # before a broken wire is opened again; doubled at every failure
LONGEST_WAIT_S = 2.0


@dataclass(frozen=True, slots=True)
class SourceStatus:
    """What to show about a source; `error` is the last one, `opened` counts openings."""

    url: str
    state: SourceState
    error: str
    opened: int
    bytes_read: int
    last_t_s: float | None  # arrival of the last bytes
    counts: Mapping[str, int]  # parts by framing.REASONS


@dataclass(slots=True)
class Source:
    """One source. Iterating it never raises for what the wire does, and ends only with a file or stdin."""

    url: str
    wire: wires.Wire
    clock: Clock
    ends: bool  # a file has an end, an instrument is waited for
    framer: Framer = field(default_factory=Framer)
    state: SourceState = "waiting"
    error: str = ""
    opened: int = 0
    bytes_read: int = 0
    last_t_s: float | None = None
    _ended: bool = False

    def status(self) -> SourceStatus:
        """A snapshot to show."""
        return SourceStatus(
            self.url,
            self.state,
            self.error,
            self.opened,
            self.bytes_read,
            self.last_t_s,
            dict(self.framer.counts),
        )

    def __aiter__(self) -> AsyncIterator[Sentence]:
        return self.sentences()

    async def sentences(self) -> AsyncGenerator[Sentence, None]:
        """The sentences as they come; close it (contextlib.aclosing) to close the wire at once."""
        wait_s = FIRST_WAIT_S
        while not self._ended:
            before = self.bytes_read
            async with aclosing(self._once()) as sentences:
                async for sentence in sentences:
                    yield sentence
            if self.bytes_read > before:
                wait_s = FIRST_WAIT_S
            if not self._ended:
                await asyncio.sleep(wait_s * random.uniform(0.5, 1.0))  # not all at once after a power cut
                wait_s = min(2.0 * wait_s, LONGEST_WAIT_S)

    async def _once(self) -> AsyncGenerator[Sentence, None]:
        """What one opening of the wire brings, until it breaks or ends."""
        try:
            async with aclosing(self.wire()) as chunks:
                async for data in chunks:
                    if not data:
                        self.state, self.opened = "connected", self.opened + 1
                        continue
                    for sentence in self._framed(data):
                        yield sentence
                    await asyncio.sleep(0)  # a flood must not keep everything else waiting
            self._ended = self.ends
        except wires.FAULTS as fault:
            self.error = str(fault) or type(fault).__name__
        finally:
            self.state = "ended" if self._ended else "waiting"
        for text in self.framer.flush():  # the next opening does not go on in mid-sentence
            yield Sentence(self.clock() if self.last_t_s is None else self.last_t_s, self.url, text)

    def _framed(self, data: bytes) -> list[Sentence]:
        t_s = self.clock()
        self.bytes_read += len(data)
        self.last_t_s = t_s
        return [Sentence(t_s, self.url, text) for text in self.framer.feed(data)]


def _serial(rest: str) -> wires.Wire:
    device, mark, query = rest.partition("?")
    key, _, baud = query.partition("=")
    if not device or (mark and key != "baud"):
        raise ValueError("no device, or a setting other than baud")
    speed = _whole(baud, 50, 4_000_000) if mark else 4800
    return partial(wires.serial_wire, device, speed)


def _tcp(rest: str, asking: bytes = b"") -> wires.Wire:
    host, _, port = rest.rpartition(":")
    if not host:
        raise ValueError("no host")
    return partial(wires.tcp_wire, host.strip("[]"), _whole(port, 1, 65535), asking)


STREAM = "/signalk/v1/stream?subscribe=self"  # Signal K 1.7, "Streaming API"
SUBSCRIBE = b'{"context":"vessels.self","subscribe":[{"path":"*"}]}\r\n'  # likewise, "Subscription Protocol"


def _signalk_ws(rest: str) -> wires.Wire:
    place, slash, path = rest.partition("/")
    host, _, port = place.rpartition(":")
    if not host:
        raise ValueError("no host")
    url = f"ws://{host}:{_whole(port, 1, 65535)}{slash + path if slash else STREAM}"
    return partial(wires.websocket_wire, url)


def _signalk_tcp(rest: str) -> wires.Wire:
    return _tcp(rest, SUBSCRIBE)


def _udp(rest: str) -> wires.Wire:
    address, _, port = rest.rpartition(":")
    return partial(wires.udp_wire, address.strip("[]") or "127.0.0.1", _whole(port, 1, 65535))


def _file(rest: str) -> wires.Wire:
    if not rest:
        raise ValueError("no path")
    return partial(wires.file_wire, rest)


def _stdin(rest: str) -> wires.Wire:
    if rest:
        raise ValueError("nothing may follow")
    return wires.stdin_wire


def _whole(text: str, low: int, high: int) -> int:
    if not (text.isascii() and text.isdigit() and low <= int(text) <= high):
        raise ValueError(f"{text!r} is no whole number from {low} to {high}")
    return int(text)


@dataclass(frozen=True, slots=True)
class Scheme:
    """How the part after "<scheme>:" becomes a wire."""

    form: str
    parse: Callable[[str], wires.Wire]
    ends: bool


SCHEMES: Mapping[str, Scheme] = {
    "serial": Scheme("serial:DEV?baud=4800", _serial, ends=False),
    "tcp": Scheme("tcp:HOST:PORT", _tcp, ends=False),
    "signalk-ws": Scheme("signalk-ws:HOST:PORT", _signalk_ws, ends=False),
    "signalk-tcp": Scheme("signalk-tcp:HOST:PORT", _signalk_tcp, ends=False),
    "udp": Scheme("udp:PORT or udp:ADDRESS:PORT", _udp, ends=False),
    "file": Scheme("file:PATH", _file, ends=True),
    "stdin": Scheme("stdin:", _stdin, ends=True),
}
"""Scheme -> what it looks like, how it is read."""


def open_source(url: str, clock: Clock) -> Source:
    """Prepare the source of a URL; it opens its wire when it is iterated.

    Args:
        url: one of the forms of SCHEMES.
        clock: asked for the arrival time [s] of each chunk of bytes.

    Raises:
        ValueError: not one of those forms; the text names the URL, what is wrong and the forms.
    """
    plain, unchecked = split_unchecked(url)
    name, colon, rest = plain.partition(":")
    forms = ", ".join(scheme.form for scheme in SCHEMES.values())
    scheme = SCHEMES.get(name)
    if scheme is None or not colon:
        raise ValueError(f"source {url!r}: unknown kind {name!r}; use one of {forms}")
    try:
        wire = scheme.parse(rest)
    except ValueError as error:
        raise ValueError(f"source {url!r}: {error}; use {scheme.form} (or one of {forms})") from None
    return Source(url, wire, clock, scheme.ends, Framer(unchecked=unchecked))
