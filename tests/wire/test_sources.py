"""Sources by URL: what is allowed, files and standard input to their end, several at once."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from source_tools import DPT, VHW, clock, free_port, listening, until

from firmware_bridge.instruments import SCHEMES, open_source

# --- URLs ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "url",
    [
        "serial:/dev/ttyUSB0?baud=4800",
        "serial:/dev/ttyUSB0",
        "tcp:127.0.0.1:10110",
        "tcp:[::1]:10110",
        "udp:10110",
        "udp:0.0.0.0:10110",
        "file:/a/b:c.log",
        "stdin:",
        "signalk-ws:192.168.1.5:3000",
        "signalk-ws:[::1]:3000/signalk/v1/stream?subscribe=all",
        "signalk-tcp:192.168.1.5:8375",
    ],
)
def test_urls(url: str) -> None:
    status = open_source(url, clock).status()
    assert (status.url, status.state, status.opened, status.bytes_read) == (url, "waiting", 0, 0)


@pytest.mark.parametrize(
    "url",
    [
        "",
        "udp",
        "udp:",
        "udp:0",
        "udp:65536",
        "udp:127.0.0.1:x",
        "tcp:10110",
        "tcp::10110",
        "tcp:host:",
        "serial:",
        "serial:?baud=4800",
        "serial:/dev/x?speed=1",
        "serial:/dev/x?baud=fast",
        "file:",
        "stdin:x",
        "http://x",
        "UDP:10110",
        "signalk-ws:3000",
        "signalk-ws:host",
        "signalk-ws:host:x/signalk",
        "signalk-tcp:8375",
        "signalk:host:3000",
    ],
)
def test_a_bad_url_names_itself_and_what_is_allowed(url: str) -> None:
    with pytest.raises(ValueError) as caught:
        open_source(url, clock)
    assert repr(url) in str(caught.value)
    assert all(scheme.form in str(caught.value) for scheme in SCHEMES.values())


# --- file and standard input --------------------------------------------------------------------


async def test_file_comes_whole_and_ends(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_text(f"# note\n{VHW}\r\n" * 3000 + DPT)
    source = open_source(f"file:{path}", clock)
    texts = [sentence.text async for sentence in source]
    assert texts == [VHW] * 3000 + [DPT]
    assert source.status().state == "ended"
    assert source.status().counts["noise"] == 3000
    assert source.bytes_read == path.stat().st_size
    assert [sentence async for sentence in source] == []


async def test_missing_file_is_waited_for(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    source = open_source(f"file:{path}", clock)
    async with listening(source) as got:
        await until(lambda: "No such file" in source.error)
        other = tmp_path / "b.log"
        other.write_text(f"{VHW}\n")
        other.rename(path)
        await until(lambda: source.state == "ended")
    assert [sentence.text for sentence in got] == [VHW]


async def test_named_pipe(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    source = open_source(f"file:{path}", clock)
    async with listening(source) as got:
        await until(lambda: source.state == "connected")
        descriptor = os.open(path, os.O_WRONLY)
        os.write(descriptor, f"{VHW}\n{DPT}".encode())
        await until(lambda: len(got) == 1)
        os.close(descriptor)
        await until(lambda: source.state == "ended")
    assert [sentence.text for sentence in got] == [VHW, DPT]


READ_STDIN = textwrap.dedent(
    """
    import asyncio
    from firmware_bridge.instruments import open_source

    async def main():
        source = open_source("stdin:", asyncio.get_running_loop().time)
        async for sentence in source:
            print(sentence.text)
        print(source.status().state)

    asyncio.run(main())
    """
)


@pytest.mark.parametrize("how", ["pipe", "file", "null"])
def test_standard_input(how: str, tmp_path: Path, root: Path) -> None:
    """From another program, from a file, and closed as a service has it."""
    path = tmp_path / "in.log"
    path.write_text(f"{VHW}\r\n{DPT}\r\n")
    command = [sys.executable, "-W", "error", "-c", READ_STDIN]
    if how == "pipe":
        result = subprocess.run(command, input=path.read_bytes(), capture_output=True, timeout=30, cwd=root)
    else:
        with (path if how == "file" else Path(os.devnull)).open("rb") as stdin:
            result = subprocess.run(command, stdin=stdin, capture_output=True, timeout=30, cwd=root)
    expected = [] if how == "null" else [VHW, DPT]
    assert result.stderr == b""
    assert result.stdout.decode().split() == [*expected, "ended"]


# --- several at once ----------------------------------------------------------------------------


async def test_several_sources_do_not_disturb_each_other(tmp_path: Path) -> None:
    port = free_port(socket.SOCK_DGRAM)
    path = tmp_path / "a.log"
    path.write_text(f"{VHW}\n" * 500)
    sources = [open_source(url, clock) for url in (f"udp:{port}", f"file:{path}", "tcp:127.0.0.1:9")]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        async with listening(sources[0]) as udp, listening(sources[1]) as file, listening(sources[2]) as tcp:
            await until(lambda: sources[0].state == "connected")
            sender.sendto(DPT.encode(), ("127.0.0.1", port))
            await until(lambda: len(udp) == 1 and len(file) == 500 and bool(sources[2].error))
            assert tcp == []
