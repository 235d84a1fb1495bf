"""THE FLOW, on one page: sentences -> gate -> boat (locate.py) -> lines -> alerts -> quiet spells -> Frame. Pure.

`step` is called once for each instant of the 4 Hz grid of t_s with everything that arrived up to it. Live,
replay, benchmarks and tests call this one function, or its halves; it asks for no time, does no I/O and draws no
random numbers, so the same inputs give the same frames, and a state once returned stays valid.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from assistant import locate
from assistant.ahead.outlook import Forecast
from assistant.ahead.recorded import as_forecast
from assistant.alerts import watch as watching
from assistant.alerts.watch import Watch
from assistant.configured import Config
from assistant.frame import degraded_modes, published_boat
from assistant.lines import spread
from assistant.locate import Counts, Instant, LocateState
from assistant.messages import Frame, Inputs, Mode, RodState
from assistant.outings import lull as lulls
from assistant.outings import unnamed
from assistant.outings.lull import Lull

OUTLOOK_OLD_S = 15.0
"""An older forecast is not judged: it is about another course by now."""


@dataclass(frozen=True, slots=True)
class LinesState:
    """What the second half remembers between two steps."""

    mode: Mode
    spread: spread.SpreadState
    config: Config
    seq: int = 0
    watch: Watch = field(default_factory=Watch)
    lull: Lull = field(default_factory=Lull)
    outlook: Forecast | None = None  # the newest


@dataclass(frozen=True, slots=True)
class FlowState:
    """Everything the flow remembers between two steps."""

    boat: LocateState
    lines: LinesState

    @property
    def counts(self) -> Counts:
        """What came in so far."""
        return self.boat.counts


def initial(config: Config, mode: Mode, seed: int = 0) -> FlowState:
    """The state before the first input; `seed` fixes the draws of the bands."""
    return FlowState(locate.initial(config.boat), initial_lines(config, mode, seed))


def initial_lines(config: Config, mode: Mode, seed: int = 0) -> LinesState:
    """The second half of `initial`."""
    return LinesState(mode, spread.initial(config, seed), config)


def step(state: FlowState, inputs: Inputs) -> tuple[FlowState, Frame]:
    """Advance to `inputs.t_s` and say where all is."""
    boat, instant = locate.located(state.boat, inputs, wanted=True)
    lines, frame = frame_of(state.lines, instant)
    return FlowState(boat, lines), frame


def advance(state: FlowState, inputs: Inputs) -> FlowState:
    """A step of which no Frame is wanted: STEP_S on (after a gap, several of them)."""
    boat, instant = locate.located(state.boat, inputs, wanted=False)
    return FlowState(boat, follow(state.lines, instant))


def rod_states(state: LinesState) -> list[RodState]:
    """Of every rod; one more "fish on" where nobody has said on which rod it is."""
    states = [rod.rod_state for rod in state.spread.rods]
    return [*states, "fish on"] if unnamed.fish_on(state.lull.told, state.spread.t_s) else states


def follow(state: LinesState, instant: Instant) -> LinesState:
    """The second half of a step: every line on to this instant."""
    _, stw, heading = instant.steering
    lines = spread.advance(state.spread, stw, heading, instant.settings, instant.t_s, instant.settle)
    outlook = state.outlook if instant.outlook is None else as_forecast(instant.outlook)
    if outlook is not None and outlook.age_s(instant.t_s) > OUTLOOK_OLD_S:
        outlook = None
    watch = watching.heard(state.watch, instant.actions)
    lull = lulls.heard(state.lull, instant.events)
    return LinesState(state.mode, lines, state.config, state.seq, watch, lull, outlook)


def frame_of(state: LinesState, instant: Instant, drawn: bool = True) -> tuple[LinesState, Frame]:
    """`follow`, then the Frame of an instant that knows all of the boat; not drawn: without the lines' curves."""
    assert instant.boat is not None
    state = follow(state, instant)
    moved = spread.caught_up(state.spread)
    lines = spread.report(moved, instant.boat, drawn)
    watch, alerts = watching.look(
        state.watch, state.config, instant.boat, lines, instant.t_s, state.outlook, instant.seen,
        unnamed.fish_on(state.lull.told, instant.t_s),
    )  # fmt: skip
    boat = published_boat(instant.boat)
    frame = Frame(
        instant.t_s,
        instant.utc,
        state.seq,
        state.mode,
        boat,
        lines,
        alerts,
        instant.seen,
        degraded_modes(boat),
        stw_extremes_mps=instant.boat.stw_extremes_mps,
    )
    lull = lulls.look(state.lull, state.config, frame)
    frame = replace(frame, quiet=lull.quiet)
    return LinesState(state.mode, moved, state.config, state.seq + 1, watch, lull, state.outlook), frame
