"""Takes in what the crew tells: it sets what it means on the rod, and is told saved only when it is on the disk.

One that corrects another takes its place, its time and how the line ran before it, and what that one set is undone.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import replace

from assistant.configured import BodyType, Rod
from assistant.errors import OptionError
from assistant.inbox import Inbox
from assistant.messages import Event, LineSetting
from assistant.notes import kinds, parse_note
from assistant.outings.entries import Told
from assistant.outings.happenings import Before, parse_event, settings_of
from assistant.outings.logbook import NOT_RECORDING, NoRecorder
from assistant.outings.recorder import Recorder
from assistant.outings.set_back import SetBack
from assistant.payloads import to_json
from assistant.sensing.below import KINDS as NOTED
from assistant.sensing.below import TYPED
from assistant.web.settings import Refused, limits_of, parse_setting

EVENT_TOPIC = "event"  # below spreadwatch/<boat>/
CHANGES: Mapping[str, str | Mapping[bool, str]] = {
    "line_out_m": "line out",
    "setting": "setting",
    "rod_state": "rod state",
    "tripped": {True: "trip", False: "re-armed"},
    "cleaned": {True: "cleaned"},
}
"""Field of a LineSetting -> the kind of event that it is, by its value where that says it all."""
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
        self._set_back = SetBack(rods)
        self._means: dict[
            int, Mapping[str, Mapping[str, float]]
        ] = {}  # of every rod before each event, by number
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

    def noted(self, body: bytes) -> None:
        """A note that a person typed: an event as well.

        Raises:
            Refused: anything wrong with it.
        """
        self._inbox.typed(body)
        asked = json.loads(body)
        note = parse_note(body, list(self._limits), self._now_s(), TYPED)
        value = asked["value"] if asked.get("unit") is None else f"{asked['value']} {asked['unit']}"
        self._tell(Event(note.t_s, NOTED[note.kind].word, note.rod, value))

    def changed(self, setting: LineSetting) -> None:
        """What a person changed on a rod, already checked: an event for each field."""
        self._inbox.set(setting)
        for name, kind in CHANGES.items():
            value = getattr(setting, name)
            word = kind if isinstance(kind, str) else kind.get(value)
            if value is None or word is None:
                continue
            self._tell(Event(setting.t_s, word, setting.rod, value if isinstance(kind, str) else None))
            one = LineSetting(setting.t_s, setting.rod, **{name: value})
            self._set_back.took(one, self._recorder.number)

    def _take(self, body: bytes, source: str) -> Future[int]:
        """Check an event, do what it means, and have it written."""
        try:
            asked = parse_event(body, list(self._limits), kinds(), self._now_s(), source)
        except OptionError as error:
            raise Refused(422, str(error)) from None
        corrects = asked.event.corrects
        if corrects is not None and corrects not in self._means:
            raise Refused(
                422,
                f"corrects {corrects}: no event of this outing has that number, or it was corrected before",
            )
        setting = None
        if asked.setting:
            setting = parse_setting(settings_of(asked), self._limits, self._now_s())
        if asked.note is not None:
            self._inbox.typed(to_json(dict(asked.note)))
        if corrects is not None and (back := self._set_back.undone(corrects, self._now_s())) is not None:
            self._inbox.set(back)
        told = self._tell(asked.event)
        if setting is not None:
            self._inbox.set(setting)
            self._set_back.took(setting, self._recorder.number)
        return told

    def _tell(self, event: Event) -> Future[int]:
        """Have an event written, with how its line ran before; one that corrects another, before that one."""
        means = self._means.pop(event.corrects or 0, None) or self.before.of_all()
        told = self._recorder.tell(Told(event, means.get(event.rod or "", {})))
        number = self._recorder.number
        if number is not None and event.kind != "withdrawn":
            self._means[number] = means
        self._inbox.happened(replace(event, number=number))
        return told
