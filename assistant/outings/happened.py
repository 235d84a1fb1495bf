"""Takes in what the crew tells: it sets what it means on the rod, and is told saved only when it is on the disk."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import replace

from assistant.configured import BodyType, Rod
from assistant.errors import OptionError
from assistant.inbox import Inbox
from assistant.notes import kinds
from assistant.outings.entries import Told
from assistant.outings.happenings import Before, parse_event, settings_of
from assistant.outings.logbook import NOT_RECORDING, NoRecorder
from assistant.outings.recorder import Recorder
from assistant.payloads import to_json
from assistant.web.settings import Refused, limits_of, parse_setting

EVENT_TOPIC = "event"  # below spreadwatch/<boat>/
SAVED_WITHIN_S = 3.0  # longer than a sync of a usual disk


class Happened:
    """Events from page, command line and MQTT.

    Args:
        rods: all there are; bodies: their bodies, for the dials; inbox: where settings and notes go;
        recorder: what writes events down; now_s: t_s [s] now.
    """

    def __init__(
        self,
        rods: Sequence[Rod],
        bodies: Mapping[str, BodyType],
        inbox: Inbox,
        recorder: Recorder | NoRecorder,
        now_s: Callable[[], float],
    ) -> None:
        self._limits = {rod.name: limits_of(rod, bodies) for rod in rods}
        self._inbox, self._recorder, self._now_s = inbox, recorder, now_s
        self.before = Before()

    async def asked(self, body: bytes) -> dict[str, object]:
        """An event from the page or the command line; answers when it is on the disk.

        Raises:
            Refused: anything wrong with it; or it was taken, but is not on the disk (503), and why.
        """
        told = self._take(body, "typed")
        try:
            async with asyncio.timeout(SAVED_WITHIN_S):
                number: int = await asyncio.wrap_future(told)
                return {"saved": number}
        except TimeoutError:
            reason = self._recorder.status.reason or "the disk does not answer"
        except OSError as error:
            reason = str(error)
        raise Refused(503, f"taken, but {NOT_RECORDING}: {reason}")

    def heard(self, body: bytes) -> None:
        """An event that came over MQTT; one that is wrong is counted."""
        try:
            self._take(body, "mqtt")
        except Refused as refused:
            self._inbox.refused["event message"] += 1
            self._inbox.error = str(refused)

    def _take(self, body: bytes, source: str) -> Future[int]:
        """Check an event, do what it means, and have it written."""
        try:
            asked = parse_event(body, list(self._limits), kinds(), self._now_s(), source)
        except OptionError as error:
            raise Refused(422, str(error)) from None
        if asked.note is not None:
            self._inbox.typed(to_json(dict(asked.note)))
        if asked.setting:
            self._inbox.set(parse_setting(settings_of(asked), self._limits, self._now_s()))
        told = self._recorder.tell(Told(asked.event, self.before.means(asked.event.rod)))
        self._inbox.happened(replace(asked.event, number=self._recorder.number))
        return told
