"""Publishing to an MQTT broker that may be slow, frozen, down or back at any time: nobody ever waits for it.

`offer` puts each topic's newest payload in that topic's slot and returns at once; one task takes them out and
publishes them one by one with QoS 1. So at most one message is on its way, and a broker that thaws gets the
newest state, never a queue of old ones. Keepalive 5 s and a timeout of 3 s on every call notice a silent
broker; then it is tried again and again with a jittered back-off of about a second. spreadwatch/<boat>/online
holds "online", and "offline" after a clean end or, by the last will, after any other.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
import re
import secrets
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, replace

from aiomqtt import Client, MqttError, Will

from firmware_bridge.broker import Embedded, free_port, parse_url
from firmware_bridge.errors import BrokerError

__all__ = ["BrokerError", "Message", "Publisher", "Status", "free_port", "parse_url"]

KEEPALIVE_S = 5
TIMEOUT_S = 3.0
BACK_OFF_S = (0.2, 0.4, 0.8)  # the last one repeats; each times 0.5..1.5
GOODBYE_S = 1.0
BOAT_PATTERN = "[a-z0-9-]+"

Message = tuple[bytes, bool, int]
"""(payload, retained, qos)"""


@dataclass(frozen=True, slots=True)
class Status:
    """The connection as it is, to be shown. `reason` says why it is not all well."""

    broker: str
    connected: bool = False
    reason: str = "not started"
    probe_ok: bool | None = None  # our own probe came back; None = not tried yet
    since_s: float | None = None  # of the publisher's clock
    connects: int = 0
    published: int = 0


def _end_if_cancelled() -> None:
    """asyncio.wait_for of Python 3.11, which publishing uses, loses a cancellation that races with the answer."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


class Publisher:
    """Newest-state publisher for one boat: `offer(...)` from anywhere in the loop, `run()` as one task.

    Args:
        url: none, embedded[:PORT] or mqtt(s)://[user:pass@]host[:port][?ca=PATH].
        boat: [a-z0-9-]+, the <boat> of the topics.
        clock: seconds, monotonic; used for Status.since_s only.
        inbox: topic suffix -> called with each payload that comes there. A retained one is passed over: it is old.

    Raises:
        ValueError: `url` or `boat` is not of that form.
    """

    def __init__(
        self,
        url: str,
        boat: str,
        clock: Callable[[], float],
        inbox: Mapping[str, Callable[[bytes], None]] | None = None,
    ) -> None:
        if not re.fullmatch(BOAT_PATTERN, boat):
            raise ValueError(f"boat {boat!r}: the id must match {BOAT_PATTERN}, as it is part of every topic")
        self._broker = parse_url(url)
        self._prefix = f"spreadwatch/{boat}/"
        self._clock = clock
        self._inbox = {f"{self._prefix}{suffix}": take for suffix, take in (inbox or {}).items()}
        self._slots: dict[str, Message] = {}
        self._wake = asyncio.Event()
        self._identifier = f"spreadwatch-{boat}-{secrets.token_hex(4)}"
        self._probed: asyncio.Future[None] | None = None
        self._embedded = Embedded(self._broker.port) if self._broker.kind == "embedded" else None
        self._logger = logging.getLogger("spreadwatch.mqtt")
        self._status = Status(
            str(self._broker), reason="no broker wanted" if url == "none" else "not started"
        )

    @property
    def status(self) -> Status:
        """The connection as it is now."""
        return self._status

    @property
    def port(self) -> int:
        """The broker's port; of an embedded one, the one it really listens on once started."""
        return self._broker.port

    def offer(self, messages: Mapping[str, Message]) -> None:
        """Take the newest state, {topic suffix: (payload, retained, qos)}; never blocks, never fails."""
        if self._broker.kind == "none":
            return
        self._slots.update(messages)
        self._wake.set()

    async def start(self) -> None:
        """Start the embedded broker, if one is wanted, so that `port` is known; `run` does it otherwise.

        Raises:
            BrokerError: it does not come up.
        """
        if self._embedded is not None:
            self._broker = replace(self._broker, port=await self._embedded.start())
            self._status = replace(self._status, broker=str(self._broker))

    async def run(self) -> None:
        """Keep connected and publish until cancelled; then say "offline" and leave."""
        if self._broker.kind == "none":
            await asyncio.Event().wait()
        failures = 0
        try:
            while True:
                connects = self._status.connects
                try:
                    await self.start()
                    await self._session()
                except* (MqttError, BrokerError, OSError) as group:
                    self._down(group)
                failures = 0 if self._status.connects > connects else failures + 1
                pause = BACK_OFF_S[min(failures, len(BACK_OFF_S) - 1)]
                await asyncio.sleep(pause * random.uniform(0.5, 1.5))
        finally:
            self._status = replace(self._status, connected=False, reason="stopped", since_s=self._clock())
            if self._embedded is not None:
                await self._embedded.stop()

    def _down(self, group: BaseExceptionGroup[Exception]) -> None:
        first: BaseException = group
        while isinstance(first, BaseExceptionGroup):
            first = first.exceptions[0]
        reason = str(first) or type(first).__name__
        if self._status.connected or self._status.reason != reason:
            self._logger.warning("broker %s: %s", self._broker, reason)
        self._status = replace(
            self._status, connected=False, reason=reason, probe_ok=None, since_s=self._clock()
        )

    @contextlib.asynccontextmanager
    async def _connection(self) -> AsyncIterator[Client]:
        will = Will(f"{self._prefix}online", b"offline", qos=1, retain=True)
        client = Client(
            self._broker.host, self._broker.port,
            username=self._broker.username, password=self._broker.password,
            tls_context=await asyncio.to_thread(self._broker.tls_context), identifier=self._identifier,
            will=will, keepalive=KEEPALIVE_S, timeout=TIMEOUT_S, logger=self._quiet_logger(),
            max_queued_incoming_messages=100,  # a flood on a topic that we subscribe to must not grow
        )  # fmt: skip
        paho = client._client
        paho.connect_timeout = TIMEOUT_S
        try:
            await client.__aenter__()
        except BaseException:
            # A broker that accepts and stays silent would keep this socket and, thawed, send its last will.
            paho.on_disconnect = (
                None  # it would ask a future that is already cancelled, in a callback of the loop
            )
            paho.disconnect()
            raise
        try:
            yield client
        finally:
            with contextlib.suppress(MqttError):
                await client.__aexit__(None, None, None)

    def _quiet_logger(self) -> logging.Logger:
        logger = self._logger.getChild("paho")
        logger.setLevel(logging.CRITICAL)
        return logger

    async def _session(self) -> None:
        """One connection, from connect to its loss, which raises."""
        async with self._connection() as client:
            self._status = replace(
                self._status,
                connected=True,
                reason="",
                since_s=self._clock(),
                connects=self._status.connects + 1,
            )
            try:
                await client.publish(f"{self._prefix}online", b"online", qos=1, retain=True)
                for topic in self._inbox:
                    await client.subscribe(topic, qos=0)
                async with asyncio.TaskGroup() as tasks:
                    tasks.create_task(self._listen(client), name="mqtt.listen")
                    tasks.create_task(self._self_test(client), name="mqtt.self-test")
                    tasks.create_task(self._publish(client), name="mqtt.publish")
            except asyncio.CancelledError:
                with contextlib.suppress(MqttError):
                    await client.publish(
                        f"{self._prefix}online", b"offline", qos=1, retain=True, timeout=GOODBYE_S
                    )
                raise

    async def _listen(self, client: Client) -> None:
        """Notice the loss of the connection even when there is nothing to publish; take in probe and inbox."""
        async for message in client.messages:
            take = self._inbox.get(str(message.topic))
            if take is not None:
                if not message.retain and isinstance(message.payload, bytes):
                    take(message.payload)
                continue
            probed = self._probed
            if probed is not None and not probed.done() and message.payload == self._identifier.encode():
                probed.set_result(None)

    async def _self_test(self, client: Client) -> None:
        """Publish a probe and wait for it: a broker that denies us drops messages and calls it success."""
        topic = f"{self._prefix}probe"
        self._probed = asyncio.get_running_loop().create_future()
        await client.subscribe(topic, qos=1)
        await client.publish(topic, self._identifier.encode(), qos=1)
        try:
            async with asyncio.timeout(TIMEOUT_S):
                await self._probed
        except TimeoutError:
            reason = (
                f"our own probe on {topic} did not come back: does the broker let us publish and read there?"
            )
            self._logger.warning("broker %s: %s", self._broker, reason)
            self._status = replace(self._status, probe_ok=False, reason=reason)
            return
        await client.unsubscribe(topic)
        self._status = replace(self._status, probe_ok=True)

    async def _publish(self, client: Client) -> None:
        while True:
            await self._wake.wait()
            self._wake.clear()
            while self._slots:
                suffix = next(iter(self._slots))
                message = self._slots.pop(suffix)
                await self._send(client, suffix, message)
                _end_if_cancelled()

    async def _send(self, client: Client, suffix: str, message: Message) -> None:
        payload, retained, qos = message
        try:
            await client.publish(f"{self._prefix}{suffix}", payload, qos=qos, retain=retained)
        except MqttError:
            self._slots.setdefault(suffix, message)  # nothing newer came meanwhile: it is still the newest
            self._wake.set()
            raise
        self._status = replace(self._status, published=self._status.published + 1)
