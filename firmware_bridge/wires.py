"""Wires as streams of bytes: serial port, TCP, WebSocket, UDP, file, standard input.

Nothing is ever written to one, but that a Signal K server may be asked for its data once it is connected.

Each wire is an async generator: it opens, yields b"" once to say that it is open, then yields what arrives.
It raises one of FAULTS when the wire breaks, stays silent for SILENCE_S or cannot be opened; only a file and
standard input end by themselves. What goes with it (a socket, a port) is closed when the generator is.
"""

from __future__ import annotations

import asyncio
import os
import stat
import termios
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing
from typing import TypeVar

import serial
from websockets.asyncio.client import connect
from websockets.exceptions import WebSocketException

FAULTS = (
    OSError,
    ValueError,
    termios.error,
    WebSocketException,
)  # SerialException, TimeoutError are OSErrors

CHUNK = 4096  # bytes: about 80 sentences between two looks at everything else
SILENCE_S = 10.0  # a wire that brings nothing for so long is opened anew; instruments talk every second
OPEN_S = 5.0  # time a connection may take
CLOSE_S = 1.0  # a WebSocket may take to say goodbye
MESSAGE_BYTES = 1 << 20  # a larger message ends the connection
DATAGRAMS = 512  # waiting ones; beyond that the oldest is dropped

STDIN = 0

Result = TypeVar("Result")
Wire = Callable[[], AsyncGenerator[bytes, None]]


async def _within(seconds: float, what: str, awaited: Awaitable[Result]) -> Result:
    """Await for so long [s] at most; a timeout says `what`, having no words of its own."""
    try:
        async with asyncio.timeout(seconds):
            return await awaited
    except TimeoutError:
        raise TimeoutError(f"{what} for {seconds:g} s") from None


async def serial_wire(device: str, baud: int) -> AsyncGenerator[bytes, None]:
    """A serial port, 8N1. Unplugging it ends in an OSError (in a SILENCE_S at the latest)."""
    port = await asyncio.to_thread(serial.Serial, device, baud, timeout=0, exclusive=True)
    try:
        yield b""
        while True:
            await _within(SILENCE_S, "nothing came", _readable(port.fileno()))
            yield port.read(CHUNK)  # raises when the port says it is readable and has nothing: unplugged
    finally:
        port.close()


async def _readable(descriptor: int) -> None:
    loop = asyncio.get_running_loop()
    ready = asyncio.Event()
    loop.add_reader(descriptor, ready.set)
    try:
        await ready.wait()
    finally:
        loop.remove_reader(descriptor)


async def tcp_wire(host: str, port: int, asking: bytes = b"") -> AsyncGenerator[bytes, None]:
    """A TCP server that talks as soon as one connects, or has been sent what it wants to be asked."""
    opening = asyncio.open_connection(host, port, limit=16 * CHUNK)
    reader, writer = await _within(OPEN_S, "no answer", opening)
    try:
        if asking:
            writer.write(asking)
        yield b""
        while True:
            data = await _within(SILENCE_S, "nothing came", reader.read(CHUNK))
            if not data:
                raise ConnectionResetError("the server closed the connection")
            yield data
    finally:
        writer.transport.abort()


_ONE_LINE = bytes.maketrans(b"\r\n", b"  ")  # JSON has line ends between its parts only


async def websocket_wire(url: str) -> AsyncGenerator[bytes, None]:
    """A WebSocket server; each of its messages is a line."""
    opening = connect(
        url, open_timeout=OPEN_S, close_timeout=CLOSE_S, max_size=MESSAGE_BYTES, compression=None, proxy=None
    )
    async with opening as socket:
        yield b""
        while True:
            message = await _within(SILENCE_S, "nothing came", socket.recv(decode=False))
            yield message.translate(_ONE_LINE) + b"\n"


class _Datagrams(asyncio.DatagramProtocol):
    """Keeps the newest datagrams until they are asked for."""

    def __init__(self) -> None:
        self.waiting: asyncio.Queue[bytes] = asyncio.Queue(DATAGRAMS)

    def datagram_received(self, data: bytes, addr: object) -> None:
        if self.waiting.full():
            self.waiting.get_nowait()
        self.waiting.put_nowait(data + b"\n")  # no sentence goes on in the next datagram, maybe another's


async def udp_wire(address: str, port: int) -> AsyncGenerator[bytes, None]:
    """Datagrams sent to `address`; being silent is no fault of a socket that nobody has to connect to."""
    loop = asyncio.get_running_loop()
    transport, protocol = await loop.create_datagram_endpoint(_Datagrams, local_addr=(address, port))
    try:
        yield b""
        while True:
            yield await protocol.waiting.get()
    finally:
        transport.close()


async def file_wire(path: str) -> AsyncGenerator[bytes, None]:
    """A file from its start to its end; of a named pipe, what is written to it."""
    descriptor = await asyncio.to_thread(os.open, path, os.O_RDONLY | os.O_NONBLOCK)
    async with aclosing(_descriptor_wire(descriptor)) as chunks:
        async for data in chunks:
            yield data


async def stdin_wire() -> AsyncGenerator[bytes, None]:
    """Standard input until its end."""
    async with aclosing(_descriptor_wire(os.dup(STDIN))) as chunks:
        async for data in chunks:
            yield data


async def _descriptor_wire(descriptor: int) -> AsyncGenerator[bytes, None]:
    """Read a descriptor to its end and close it. A disk never makes one wait long; everything else may."""
    with os.fdopen(descriptor, "rb", buffering=0) as stream:
        yield b""
        kind = os.fstat(descriptor).st_mode
        if stat.S_ISREG(kind) or (
            stat.S_ISCHR(kind) and not os.isatty(descriptor)
        ):  # a file, the null device
            while data := stream.read(CHUNK):
                yield data
            return
        was_blocking = os.get_blocking(descriptor)
        reader = asyncio.StreamReader(limit=16 * CHUNK)
        loop = asyncio.get_running_loop()
        transport, _ = await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), stream)
        try:
            while data := await reader.read(CHUNK):
                yield data
        finally:
            if not stream.closed:
                os.set_blocking(descriptor, was_blocking)  # shared with whoever else has this terminal
            transport.close()
