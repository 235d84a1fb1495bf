"""First half of the flow: sentences -> readings -> gate -> how the boat moves. Pure, and free of the line model.

`located` says for one instant what the second half (the lines, pipeline.py) needs of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from assistant.configured import BoatConfig
from assistant.estimate import boat as estimate
from assistant.estimate import manual
from assistant.estimate.boat import ModelVariation, Steering
from assistant.messages import (
    BOAT_QUANTITIES,
    Accepted,
    AlertAction,
    BoatState,
    Estimate,
    Event,
    Inputs,
    LineSetting,
    Misfit,
    Note,
    Outlook,
    Reading,
    Seen,
    Sentence,
)
from assistant.sensing import below, nmea, quality, signalk, talkers, variation
from assistant.sensing.utc import UtcTracker

STEP_S = 0.25
"""Period of the grid of the flow [s]: t_s of a step is a whole number of these."""

NOT_BEFORE = "2026-01-01"
"""A live date earlier than this program comes from a receiver that has lost count of its weeks."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What came in so far."""

    sentences: int = 0  # good ones, used or not
    unused: int = 0  # of a type nobody uses; values of Signal K paths that nobody uses count one by one
    rejects: Mapping[str, int] = field(default_factory=dict)  # values, by "<type or quantity> <reason>"


@dataclass(frozen=True, slots=True)
class LocateState:
    """Everything this half remembers between two steps."""

    gate: quality.GateState
    estimate: estimate.EstimatorState
    utc: UtcTracker
    steering: Steering  # at the last step
    counts: Counts = Counts()
    words: below.Words = field(default_factory=dict)  # of sensors on or below the rods, and of the crew
    streams: signalk.Streams = field(default_factory=dict)
    wires: talkers.Wires = field(default_factory=dict)


class Instant(NamedTuple):
    """What the lines need of one instant of the grid."""

    t_s: float
    settings: Sequence[LineSetting]
    settle: bool
    steering: Steering
    utc: str | None = None
    boat: BoatState | None = None  # only where a Frame is wanted
    seen: Mapping[str, Mapping[str, Seen]] = {}  # likewise
    actions: Sequence[AlertAction] = ()
    events: Sequence[Event] = ()
    outlook: Outlook | None = None


def initial(config: BoatConfig) -> LocateState:
    """The state before the first input."""
    nowhere = Steering(0.0, Estimate(), Estimate())
    return LocateState(quality.GateState(), estimate.initial(config), UtcTracker(NOT_BEFORE), nowhere)


@dataclass(slots=True)
class _Gathering:
    """What one step takes in, on its way through the gate; lives within `advance` only."""

    config: BoatConfig
    gate: quality.GateState
    words: below.Words
    utc: UtcTracker
    streams: signalk.Streams
    wires: talkers.Wires
    accepted: list[Accepted] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    unused: int = 0

    def hear(self, sentence: Sentence) -> None:
        """A sentence, or a line of Signal K."""
        readings: Sequence[Reading]
        rejects: Sequence[str]
        if signalk.is_signalk(sentence.text):
            self.streams, said = signalk.heard(self.streams, sentence)
            self.unused += said.unused
            self.utc = self.utc.observe(sentence.t_s, said.utc or said.stamp, firm=said.utc is not None)
            readings, rejects = said.readings, said.rejects
        else:
            self.wires, sentence = talkers.apart(self.wires, sentence)
            decoded = nmea.decode(sentence)
            self.unused += not decoded.used
            self.utc = self.utc.observe(sentence.t_s, decoded.utc, decoded.time_of_day_s)
            readings, rejects = decoded.readings, decoded.rejects
        self.refused.extend(rejects)
        for reading in readings:
            self.read(reading)

    def read(self, reading: Reading) -> None:
        """A reading: of a rod's transducer, or of the boat."""
        placed = below.of_transducer(reading, self.config.transducers)
        if placed is not None:
            place, reading = placed
            self.words, self.gate, reason = below.heard(
                self.words, self.gate, place.rod, reading, depth_m=place.depth_m
            )
        else:
            self.gate, good, reason = quality.gate(self.gate, reading)
            if good is not None:
                self.accepted.append(good)
        if reason is not None and reason != "unused":
            self.refused.append(f"{reading.quantity} {reason}")

    def note(self, note: Note) -> None:
        """A note of a sensor or the crew."""
        self.words, self.gate, reason = below.noted(self.words, self.gate, note)
        if reason is not None:
            self.refused.append(f"note {reason}")


def advance(state: LocateState, inputs: Inputs) -> LocateState:
    """Decode, gate, estimate how the boat moves; count what is refused, by reason."""
    gathering = _Gathering(
        state.estimate.config, state.gate, state.words, state.utc, state.streams, state.wires
    )
    for sentence in inputs.sentences:
        gathering.hear(sentence)
    for note in inputs.notes:
        gathering.note(note)
    old, refused = state.counts, gathering.refused
    rejects = dict(Counter(old.rejects) + Counter(refused)) if refused else old.rejects
    counts = Counts(old.sentences + len(inputs.sentences), old.unused + gathering.unused, rejects)
    boat = state.estimate
    place = estimate.wants_variation(boat)
    now = (inputs.utc or gathering.utc.at(inputs.t_s)) if place is not None else None
    if place is not None and now is not None:
        boat = boat._replace(model=ModelVariation(variation.model_rad(*place, now), *place))
    if inputs.events:
        told_utc = inputs.utc or gathering.utc.at(inputs.t_s)
        boat = boat._replace(manual=manual.heard(boat.manual, inputs.events, told_utc))
    estimated, steering = estimate.advance(boat, gathering.accepted, inputs.t_s)
    return LocateState(
        gathering.gate,
        estimated,
        gathering.utc,
        steering,
        counts,
        gathering.words,
        gathering.streams,
        gathering.wires,
    )


def located(state: LocateState, inputs: Inputs, wanted: bool) -> tuple[LocateState, Instant]:
    """Advance to `inputs.t_s`; where a Frame is `wanted`, all that is known of the boat goes with the Instant."""
    state = advance(state, inputs)
    instant = Instant(
        inputs.t_s,
        inputs.settings,
        inputs.settle,
        state.steering,
        actions=inputs.actions,
        events=inputs.events,
        outlook=inputs.outlook,
    )
    if not wanted:
        return state, instant
    utc = inputs.utc or state.utc.at(inputs.t_s)
    boat = estimate.report(state.estimate, state.steering, utc)
    return state, instant._replace(utc=utc, boat=boat, seen=below.seen(state.words, inputs.t_s))


def boat_now(state: LocateState) -> BoatState:
    """The boat at the last step."""
    return estimate.report(state.estimate, state.steering)


def causes(boat: BoatState) -> dict[str, str]:
    """Why a boat quantity is not ok, by its name."""
    found = {name: getattr(boat, name).cause for name in BOAT_QUANTITIES}
    return {name: cause for name, cause in found.items() if cause}


def misfits(state: LocateState) -> tuple[Misfit, ...]:
    """Calibrations that no longer fit, at the last step."""
    fit = state.estimate.fit
    return () if fit is None else fit.said
