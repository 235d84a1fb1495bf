"""THE FLOW, on one page: sentences -> readings -> gate -> boat -> lines -> Frame. Pure.

`step` is called once for each instant of the 4 Hz grid of t_s with everything that arrived up to it. Live,
replay, benchmarks and tests call this one function; it asks for no time, does no I/O and draws no random
numbers, so the same inputs give the same frames, and a state once returned stays valid.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from assistant.estimate import boat as estimate
from assistant.estimate.boat import Steering
from assistant.frame import published_boat
from assistant.lines import spread
from assistant.messages import BOAT_QUANTITIES, Accepted, Config, Estimate, Frame, Inputs, Mode
from assistant.sensing import nmea, quality
from assistant.sensing.utc import UtcTracker

STEP_S = 0.25
"""Period of the grid [s]: t_s of a step is a whole number of these."""

NOT_BEFORE = "2026-01-01"
"""A live date earlier than this program comes from a receiver that has lost count of its weeks."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What came in so far."""

    sentences: int = 0  # good ones, used or not
    unused: int = 0  # of a type nobody uses
    rejects: Mapping[str, int] = field(default_factory=dict)  # values, by "<type or quantity> <reason>"


@dataclass(frozen=True, slots=True)
class FlowState:
    """Everything the flow remembers between two steps."""

    mode: Mode
    gate: quality.GateState
    estimate: estimate.EstimatorState
    spread: spread.SpreadState
    utc: UtcTracker
    steering: Steering  # at the last step
    seq: int = 0
    counts: Counts = Counts()


def initial(config: Config, mode: Mode, seed: int = 0) -> FlowState:
    """The state before the first input; `seed` fixes the draws of the bands."""
    return FlowState(
        mode,
        quality.GateState(),
        estimate.initial(config.boat),
        spread.initial(config, seed),
        UtcTracker(NOT_BEFORE),
        Steering(0.0, Estimate(), Estimate()),
    )


def step(state: FlowState, inputs: Inputs) -> tuple[FlowState, Frame]:
    """Advance to `inputs.t_s` and say where all is."""
    state = advance(state, inputs)
    utc = inputs.utc or state.utc.at(inputs.t_s)
    boat = estimate.report(state.estimate, state.steering, utc)
    lines = spread.report(state.spread, boat)
    frame = Frame(inputs.t_s, utc, state.seq, state.mode, published_boat(boat), lines)
    return replace(state, seq=state.seq + 1), frame


def causes(state: FlowState) -> dict[str, str]:
    """Why a boat quantity is not ok at the last step, by its name."""
    boat = estimate.report(state.estimate, state.steering)
    found = {name: getattr(boat, name).cause for name in BOAT_QUANTITIES}
    return {name: cause for name, cause in found.items() if cause}


def advance(state: FlowState, inputs: Inputs) -> FlowState:
    """A step of which no Frame is wanted: STEP_S on (after a gap, several of them)."""
    state = locate(state, inputs)
    _, stw, heading = state.steering
    lines = spread.advance(state.spread, stw, heading, inputs.settings, inputs.t_s, inputs.settle)
    return replace(state, spread=lines)


def locate(state: FlowState, inputs: Inputs) -> FlowState:
    """The first half of a step: decode, gate, estimate how the boat moves; count what is refused, by reason."""
    gate, utc = state.gate, state.utc
    accepted: list[Accepted] = []
    refused: list[str] = []
    unused = 0
    for sentence in inputs.sentences:
        decoded = nmea.decode(sentence)
        unused += not decoded.used
        refused.extend(decoded.rejects)
        utc = utc.observe(sentence.t_s, decoded.utc, decoded.time_of_day_s)
        for reading in decoded.readings:
            gate, good, reason = quality.gate(gate, reading)
            if good is not None:
                accepted.append(good)
            elif reason != "unused":
                refused.append(f"{reading.quantity} {reason}")
    old = state.counts
    rejects = dict(Counter(old.rejects) + Counter(refused)) if refused else old.rejects
    counts = Counts(old.sentences + len(inputs.sentences), old.unused + unused, rejects)
    estimated, steering = estimate.advance(state.estimate, accepted, inputs.t_s)
    return FlowState(state.mode, gate, estimated, state.spread, utc, steering, state.seq, counts)
