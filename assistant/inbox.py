"""What people and sensors at the rods say between two steps: settings, notes from the page, notes over MQTT."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import replace

from assistant.errors import OptionError
from assistant.messages import AlertAction, Event, Inputs, LineSetting, Note
from assistant.notes import parse_note
from assistant.sensing.below import TYPED
from assistant.web.settings import Refused

WAITING = 100  # of each kind between two steps; the newest stay
SENSOR_TOPIC = "sensor"  # below spreadwatch/<boat>/


class Inbox:
    """Takes in from anywhere in the loop; `into` empties it.

    Args:
        rods: names of the rods there are; now_s: t_s [s] of what comes now.
    """

    def __init__(self, rods: Collection[str], now_s: Callable[[], float]) -> None:
        self._rods = tuple(rods)
        self._now_s = now_s
        self._settings: list[LineSetting] = []
        self._notes: list[Note] = []
        self._actions: list[AlertAction] = []
        self._events: list[Event] = []
        self.refused: Counter[str] = Counter()
        self.error = ""  # the last refusal of a sensor's message

    def set(self, setting: LineSetting) -> None:
        """A setting of the operator, already checked."""
        self._settings = [*self._settings, setting][-WAITING:]

    def act(self, action: AlertAction) -> None:
        """What the crew did about an alert, already checked."""
        self._actions = [*self._actions, action][-WAITING:]

    def happened(self, event: Event) -> None:
        """Something the crew told, already checked and on its way to the disk."""
        self._events = [*self._events, event][-WAITING:]

    def typed(self, body: bytes) -> None:
        """A note that a person typed.

        Raises:
            Refused: anything wrong with it.
        """
        try:
            self._add(parse_note(body, self._rods, self._now_s(), TYPED))
        except OptionError as error:
            raise Refused(422, str(error)) from None

    def sensor(self, body: bytes) -> None:
        """A note that came over MQTT; one that is wrong is counted."""
        try:
            self._add(parse_note(body, self._rods, self._now_s(), "mqtt"))
        except OptionError as error:
            self.refused["sensor message"] += 1
            self.error = str(error)

    def _add(self, note: Note) -> None:
        self._notes = [*self._notes, note][-WAITING:]

    def into(self, inputs: Inputs) -> Inputs:
        """The step's inputs with what came since the last time.

        Notes, actions and events get the flow's time: a replay's runs ahead of ours at a gap.
        """
        settings, self._settings = tuple(self._settings), []
        notes, self._notes = tuple(replace(note, t_s=inputs.t_s) for note in self._notes), []
        actions, self._actions = tuple(replace(one, t_s=inputs.t_s) for one in self._actions), []
        events, self._events = tuple(replace(one, t_s=inputs.t_s) for one in self._events), []
        return replace(inputs, settings=settings, notes=notes, actions=actions, events=events)
