"""The broker: where it is (`parse_url`), or one of our own as a child process on loopback (`Embedded`)."""

from __future__ import annotations

import asyncio
import re
import socket
import ssl
import sys
from dataclasses import dataclass
from urllib.parse import SplitResult, parse_qs, unquote, urlsplit

from firmware_bridge.errors import BrokerError

LOOPBACK = "127.0.0.1"
DEFAULT_PORT = 1883  # IANA: 1883 mqtt, 8883 secure-mqtt
DEFAULT_TLS_PORT = 8883
START_TIMEOUT_S = 10.0
MAX_PAYLOAD_BYTES = 262_144  # iotcore's own limit, 20 kB, is close to the frame of a large spread

# The child leaves when its stdin closes, so that it never outlives us, and does not listen to Ctrl-C, so that
# we can still say "offline". rumqttd logs every packet as an error, hence CRITICAL.
_CHILD = """
import logging, os, signal, sys, threading
from iotcore import IotCoreBroker
signal.signal(signal.SIGINT, signal.SIG_IGN)
logging.getLogger("rumqttd").setLevel(logging.CRITICAL)
broker = IotCoreBroker(listen=sys.argv[1], port=int(sys.argv[2]), max_payload_size=int(sys.argv[3]))
threading.Thread(target=lambda: (os.read(0, 1), os._exit(0)), daemon=True).start()
broker.run_forever()
"""


@dataclass(frozen=True, slots=True)
class BrokerUrl:
    """A broker URL taken apart. `kind` is "none", "embedded" or "external"."""

    kind: str
    host: str = LOOPBACK
    port: int = DEFAULT_PORT
    username: str | None = None
    password: str | None = None
    tls: bool = False
    ca: str | None = None  # a file of certificates to trust; None = the system's

    def __str__(self) -> str:
        """The URL to show: never with its password."""
        if self.kind == "none":
            return "none"
        where = f"{f'[{self.host}]' if ':' in self.host else self.host}:{self.port}"
        user = f"{self.username}@" if self.username else ""
        return f"embedded {where}" if self.kind == "embedded" else f"mqtt{'s' * self.tls}://{user}{where}"

    def tls_context(self) -> ssl.SSLContext | None:
        """What mqtts needs; None for mqtt.

        Raises:
            BrokerError: the file of certificates cannot be read.
        """
        if not self.tls:
            return None
        try:
            return ssl.create_default_context(cafile=self.ca)
        except (OSError, ssl.SSLError) as error:
            raise BrokerError(f"broker ?ca={self.ca}: no readable certificates in it ({error})") from None


def _port(parts: SplitResult, url: str, default: int) -> int:
    try:
        return parts.port or default
    except ValueError:
        raise ValueError(f"broker {url!r}: the port must be 1..65535") from None


def parse_url(url: str) -> BrokerUrl:
    """Read `none`, `embedded[:PORT]` or `mqtt(s)://[user:pass@]host[:port][?ca=PATH]`.

    Raises:
        ValueError: anything else; the text says what is allowed, without the password.
    """
    if url == "none":
        return BrokerUrl("none")
    if match := re.fullmatch(r"embedded(?::(\d{1,5}))?", url):
        port = int(match[1] or DEFAULT_PORT)
        if not 1 <= port <= 65535:
            raise ValueError(f"broker {url!r}: the port must be 1..65535")
        return BrokerUrl("embedded", port=port)
    shown = re.sub(r"//[^@/]*@", "//...@", url)
    parts = urlsplit(url)
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path not in ("", "/"):
        raise ValueError(
            f"broker {shown!r}: want none, embedded, embedded:PORT or mqtt(s)://[user:pass@]host[:port][?ca=PATH]"
        )
    query = parse_qs(parts.query, keep_blank_values=True)
    tls = parts.scheme == "mqtts"
    if set(query) - {"ca"} or (query and not tls):
        raise ValueError(f"broker {shown!r}: after ? only ca=PATH, and only with mqtts")
    return BrokerUrl(
        "external",
        host=parts.hostname,
        port=_port(parts, shown, DEFAULT_TLS_PORT if tls else DEFAULT_PORT),
        username=unquote(parts.username) if parts.username else None,
        password=unquote(parts.password) if parts.password else None,
        tls=tls,
        ca=query["ca"][0] if "ca" in query else None,
    )


def free_port(start: int, host: str = LOOPBACK, tries: int = 200) -> int:
    """The first port from `start` on that a listener on `host` can have.

    Raises:
        BrokerError: none of `tries` ports is free.
    """
    for port in range(start, min(start + tries, 65536)):
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
                probe.listen(1)
            except OSError:
                continue
            return port
    raise BrokerError(f"no free port on {host} from {start} to {min(start + tries, 65536) - 1}")


class Embedded:
    """A broker as a child process, on loopback only: `async with Embedded(1883) as port`."""

    def __init__(self, start_port: int) -> None:
        self.port = start_port
        self._process: asyncio.subprocess.Process | None = None

    @property
    def running(self) -> bool:
        """Whether the child is alive."""
        return self._process is not None and self._process.returncode is None

    async def start(self) -> int:
        """Start unless running; the port may be a later one than asked for. Returns the port.

        Raises:
            BrokerError: it does not come up.
        """
        if self.running:
            return self.port
        await self.stop()
        self.port = free_port(self.port)
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-c", _CHILD, LOOPBACK, str(self.port), str(MAX_PAYLOAD_BYTES),
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL,
            start_new_session=True,
        )  # fmt: skip
        try:
            async with asyncio.timeout(START_TIMEOUT_S):
                await self._until_listening()
        except TimeoutError:
            await self.stop()
            raise BrokerError(f"embedded broker not up within {START_TIMEOUT_S:.0f} s") from None
        return self.port

    async def _until_listening(self) -> None:
        while self.running:
            try:
                _, writer = await asyncio.open_connection(LOOPBACK, self.port)
            except OSError:
                await asyncio.sleep(0.05)
                continue
            writer.close()
            await writer.wait_closed()
            return
        code = self._process.returncode if self._process else None
        raise BrokerError(f"embedded broker on port {self.port} ended at once with code {code}")

    async def stop(self) -> None:
        """End the child and release the port. Safe to call twice."""
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin is not None:
            process.stdin.close()
        try:
            async with asyncio.timeout(3.0):
                await process.wait()
        except TimeoutError:
            process.kill()
            await process.wait()
