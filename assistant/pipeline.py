"""THE FLOW, on one page: sentences -> readings -> boat -> lines -> Frame. Pure.

`step` is called once for each instant of the 4 Hz grid of t_s with everything that arrived up to it. Live,
replay, benchmarks and tests call this one function; it asks for no time, does no I/O and draws no random
numbers, so the same inputs give the same frames, and a state once returned stays valid.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from assistant.estimate import boat as estimate
from assistant.frame import published_boat
from assistant.lines import spread
from assistant.messages import Config, Frame, Inputs, Mode, Reading, Sentence
from assistant.sensing import dates, nmea

STEP_S = 0.25
"""Period of the grid [s]: t_s of a step is a whole number of these."""

UTC_JUMP_S = 1.0  # a receiver that disagrees by more has set its clock anew


@dataclass(frozen=True, slots=True)
class Counts:
    """What came in so far."""

    sentences: int = 0  # good ones, used or not
    unused: int = 0  # of a type nobody uses
    rejects: Mapping[str, int] = field(default_factory=dict)  # values refused, by "<type> <reason>"


@dataclass(frozen=True, slots=True)
class FlowState:
    """Everything the flow remembers between two steps."""

    mode: Mode
    estimate: estimate.EstimateState
    spread: spread.SpreadState
    seq: int = 0
    counts: Counts = Counts()
    utc_ahead_s: float | None = None  # UTC [s since 1970] minus t_s


def initial(config: Config, mode: Mode, seed: int = 0) -> FlowState:
    """The state before the first input; `seed` fixes the draws of the bands."""
    return FlowState(mode, estimate.initial(config.boat), spread.initial(config, seed))


def step(state: FlowState, inputs: Inputs) -> tuple[FlowState, Frame]:
    """Advance to `inputs.t_s` (one STEP_S after the last) and say where everything is."""
    readings, counts, utc_ahead_s = read(inputs.sentences, state.counts, state.utc_ahead_s)
    utc = inputs.utc
    if utc is None and utc_ahead_s is not None:
        utc = dates.iso_of_seconds(utc_ahead_s + inputs.t_s)
    estimated, boat = estimate.update(state.estimate, readings, inputs.t_s, utc)
    spread_state, lines = spread.advance(state.spread, boat, inputs.settings, inputs.t_s, inputs.settle)
    frame = Frame(inputs.t_s, utc, state.seq, state.mode, published_boat(boat), lines)
    after = replace(
        state,
        estimate=estimated,
        spread=spread_state,
        seq=state.seq + 1,
        counts=counts,
        utc_ahead_s=utc_ahead_s,
    )
    return after, frame


def read(
    sentences: tuple[Sentence, ...], counts: Counts, utc_ahead_s: float | None
) -> tuple[tuple[Reading, ...], Counts, float | None]:
    """Decode sentences; returns their readings, the counts after them, and UTC minus t_s [s]."""
    readings: list[Reading] = []
    rejects: list[str] = []
    unused = 0
    for sentence in sentences:
        decoded = nmea.decode(sentence)
        readings.extend(decoded.readings)
        rejects.extend(decoded.rejects)
        unused += not decoded.used
        utc_ahead_s = ahead_of(utc_ahead_s, decoded.utc, sentence.t_s)
    if sentences:
        total = Counter(counts.rejects)
        total.update(rejects)
        counts = Counts(counts.sentences + len(sentences), counts.unused + unused, dict(total))
    return tuple(readings), counts, utc_ahead_s


def ahead_of(utc_ahead_s: float | None, utc: str | None, t_s: float) -> float | None:
    """UTC minus t_s [s] after a sentence saying `utc`: they come late, never early, so the largest holds."""
    seconds = None if utc is None else dates.seconds_of_iso(utc)
    if seconds is None:
        return utc_ahead_s
    ahead_s = seconds - t_s
    if utc_ahead_s is None or abs(ahead_s - utc_ahead_s) > UTC_JUMP_S:
        return ahead_s
    return max(ahead_s, utc_ahead_s)
