"""Wires that break: UDP, TCP and serial open, go and come back, and nothing is ever written to them."""

from __future__ import annotations

import asyncio
import os
import socket
from contextlib import suppress
from pathlib import Path

import pytest
from source_tools import DPT, VHW, clock, free_port, listening, until

from firmware_bridge import wires
from firmware_bridge.instruments import open_source

# --- UDP ----------------------------------------------------------------------------------------


async def test_udp_datagrams() -> None:
    """Several sentences in one, one without line end, a part of one: no datagram goes on in the next."""
    port = free_port(socket.SOCK_DGRAM)
    source = open_source(f"udp:{port}", clock)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        async with listening(source) as got:
            await until(lambda: source.state == "connected")
            before = clock()
            for data in (f"{VHW}\r\n{DPT}\r\n", DPT, VHW[:10], VHW[10:], f"{VHW}\n", "\xff\xfe"):
                sender.sendto(data.encode("latin-1"), ("127.0.0.1", port))
            await until(lambda: sum(source.framer.counts.values()) == 7)
            assert [sentence.text for sentence in got] == [VHW, DPT, DPT, VHW]
            assert all(before <= sentence.t_s <= clock() for sentence in got)
            assert {sentence.source for sentence in got} == {f"udp:{port}"}
    status = source.status()
    assert status.counts == {"good": 4, "bad_sum": 0, "no_sum": 1, "too_long": 0, "noise": 2}
    assert status.last_t_s is not None


async def test_udp_port_alone_means_this_machine_only() -> None:
    port = free_port(socket.SOCK_DGRAM)
    async with listening(source := open_source(f"udp:{port}", clock)):
        await until(lambda: source.state == "connected")
        lines = Path("/proc/net/udp").read_text().splitlines()
        assert any(f" 0100007F:{port:04X} " in line for line in lines)
        assert not any(f" 00000000:{port:04X} " in line for line in lines)


async def test_udp_port_taken_is_waited_for() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        port = other.getsockname()[1]
        source = open_source(f"udp:{port}", clock)
        async with listening(source):
            await until(lambda: bool(source.error))
            assert "in use" in source.error
            other.close()
            await until(lambda: source.state == "connected")


async def test_a_flood_leaves_time_for_everything_else() -> None:
    """While 200 datagrams are taken in one go, another task gets its turn between them."""
    port = free_port(socket.SOCK_DGRAM)
    source = open_source(f"udp:{port}", clock)
    turns = []

    async def other() -> None:
        while True:
            turns.append(source.framer.counts["good"])
            await asyncio.sleep(0)

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        async with listening(source) as got:
            await until(lambda: source.state == "connected")
            for _ in range(200):
                sender.sendto(f"{VHW}\n{DPT}\n".encode(), ("127.0.0.1", port))
            task = asyncio.create_task(other())
            await until(lambda: len(got) == 400)
            task.cancel()
    assert len(set(turns)) >= 100


# --- TCP ----------------------------------------------------------------------------------------


class Server:
    """Greets everyone who connects with lines and a cut one; keeps what it is sent, which must be nothing."""

    def __init__(self, lines: list[str]) -> None:
        self.greeting = "".join(f"{line}\r\n" for line in lines) + VHW[:12]
        self.writers: list[asyncio.StreamWriter] = []
        self.received = b""

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.append(writer)
        writer.write(self.greeting.encode())
        with suppress(ConnectionError):
            self.received += await reader.read()
        writer.close()

    async def start(self, port: int) -> None:
        self.server = await asyncio.start_server(self._talk, "127.0.0.1", port)

    async def kill(self) -> None:
        self.server.close()
        for writer in self.writers:
            writer.transport.abort()
        await self.server.wait_closed()


async def test_tcp_server_dies_and_comes_back() -> None:
    port = free_port(socket.SOCK_STREAM)
    server = Server([VHW, DPT])
    source = open_source(f"tcp:127.0.0.1:{port}", clock)
    async with listening(source) as got:
        await until(lambda: "refused" in source.error.lower() or "failed" in source.error.lower())
        for opened in (1, 2):
            await server.start(port)
            await until(lambda opened=opened: len(got) == 2 * opened)
            assert source.status().state == "connected"
            await asyncio.sleep(0.02)  # the cut sentence comes too
            await server.kill()
            await until(lambda: source.state == "waiting")
    assert [sentence.text for sentence in got] == [VHW, DPT] * 2
    assert source.opened == 2
    assert source.framer.counts["no_sum"] == 2  # the cut sentence of each connection, not glued to the next
    assert server.received == b""


async def test_a_silent_wire_is_opened_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """A connection that is open and says nothing may be half dead."""
    monkeypatch.setattr(wires, "SILENCE_S", 0.1)
    port = free_port(socket.SOCK_STREAM)
    server = Server([])
    await server.start(port)
    source = open_source(f"tcp:127.0.0.1:{port}", clock)
    async with listening(source):
        await until(lambda: source.opened >= 3)
    await server.kill()
    assert source.error == "nothing came for 0.1 s"


# --- serial -------------------------------------------------------------------------------------


class Pty:
    """A pseudo terminal behind a fixed name, as a serial adapter has one."""

    def __init__(self, name: Path) -> None:
        self.name, (self.master, slave) = name, os.openpty()
        name.unlink(missing_ok=True)
        name.symlink_to(os.ttyname(slave))
        os.close(slave)
        os.set_blocking(self.master, False)

    def unplug(self) -> bytes:
        """Pull it out; returns what had been written to it."""
        written = b""
        with suppress(BlockingIOError, OSError):
            written = os.read(self.master, 4096)
        os.close(self.master)
        self.name.unlink()
        return written


async def test_serial_is_unplugged_and_plugged_in_again(tmp_path: Path) -> None:
    device = tmp_path / "adapter"
    source = open_source(f"serial:{device}?baud=38400", clock)
    written = b""
    async with listening(source) as got:
        await until(lambda: "No such file" in source.error)
        for opened in (1, 2):
            pty = Pty(device)
            await until(lambda opened=opened: source.opened == opened)
            os.write(pty.master, f"{VHW[:7]}".encode())
            await asyncio.sleep(0.02)
            os.write(pty.master, f"{VHW[7:]}\r\n{DPT}\r\n$half".encode())
            await until(lambda opened=opened: len(got) == 2 * opened)
            written += pty.unplug()
            await until(lambda: source.state == "waiting")
    assert [sentence.text for sentence in got] == [VHW, DPT] * 2
    assert source.framer.counts["no_sum"] == 2
    assert written == b""


async def test_serial_silence_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wires, "SILENCE_S", 0.1)
    pty = Pty(tmp_path / "adapter")
    source = open_source(f"serial:{pty.name}", clock)
    async with listening(source):
        await until(lambda: source.opened >= 2)
    assert source.error == "nothing came for 0.1 s"
    assert pty.unplug() == b""
