"""One rod as it is handled: its state, what its counter shows, how much line is really out. Pure.

aboard      line wound up; nothing is said of it
going out   line runs out to what the counter is to show
fishing     line out as the counter shows: the only state that is firm
fish on     as it was at the strike, until someone says more; after UNCONFIRMED_S nobody knows: unknown
coming in   line runs in until it is up
unknown     as it was, nothing firm

Line runs at RUN_MPS at most, and the lines march on meanwhile: it is wound in as fast as a hand turns, and let out only
as fast as the boat takes it. A planer brought aboard is set again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.configured import Rod
from assistant.lines.gear import RodSetting
from assistant.messages import LineSetting, RodState

RUN_MPS = 1.2  # judgement: the fastest a reel is wound, or a spool let go by hand
TAKEN = 0.9
"""Of the boat's speed through the water, at which line is let out. Line cannot be pushed: a spool turns as what is out
pulls on it, and what is out stays where it is in the water while the boat leaves it. Faster, and loops fall off the
spool; a thumb on it sees to that (common practice, no source; how near to the boat's speed is judgement)."""
SINKS_MPS = 0.3  # judgement: what runs out of a boat at rest, by its weight
UNCONFIRMED_S = 15.0 * 60.0  # common practice, no source: a fight takes 5-15 min
WOUND_UP: tuple[RodState, ...] = ("aboard", "coming in")


@dataclass(frozen=True, slots=True)
class RodNow:
    """One rod: counter and line out [m], dial, tripped, state since when, cleaned of water fleas when [s]."""

    counter_m: float
    out_m: float
    setting: float | str | None
    tripped: bool
    rod_state: RodState
    since_s: float = 0.0
    cleaned_s: float = 0.0

    def as_rigged(self, t_s: float, factor: float = 1.0) -> RodSetting:
        """For the chain at t_s [s]: true line out [m] = factor x counter."""
        fouled_h = max(t_s - self.cleaned_s, 0.0) / 3600.0
        return RodSetting(self.out_m * factor, self.setting, self.tripped, fouled_h)

    def wanted_m(self) -> float:
        """The line out [m] toward which line runs."""
        return 0.0 if self.rod_state in WOUND_UP else self.counter_m


def at_start(rod: Rod) -> RodNow:
    """A rod as configured, all its line where it belongs."""
    now = RodNow(rod.line_out_m, rod.line_out_m, None, False, rod.rod_state)
    return replace(now, out_m=now.wanted_m())


def taken(old: RodNow, change: LineSetting, t_s: float) -> RodNow:
    """The rod after what the operator set at t_s [s]; setting a state again confirms it."""
    state = old.rod_state if change.rod_state is None else change.rod_state
    tripped = old.tripped if change.tripped is None else change.tripped
    return RodNow(
        old.counter_m if change.line_out_m is None else change.line_out_m,
        old.out_m,
        old.setting if change.setting is None else change.setting,
        tripped and state != "aboard",
        state,
        old.since_s if change.rod_state is None else t_s,
        t_s if change.cleaned else old.cleaned_s,
    )


def aged(now: RodNow, t_s: float) -> RodNow:
    """The rod at t_s [s]: a fight nobody speaks of any more is over, one way or the other."""
    if now.rod_state == "fish on" and t_s - now.since_s >= UNCONFIRMED_S:
        return replace(now, rod_state="unknown", since_s=t_s)
    return now


def let_out_mps(speed_mps: float) -> float:
    """How fast line is let out [m/s] of a boat at a speed through the water [m/s]."""
    return min(max(TAKEN * speed_mps, SINKS_MPS), RUN_MPS)


def run_line(now: RodNow, dt: float, speed_mps: float) -> RodNow:
    """Line runs for dt [s] toward what is wanted; speed_mps: the boat's through the water."""
    left = now.wanted_m() - now.out_m
    if left == 0.0:
        return now
    step = max(-RUN_MPS * dt, min(let_out_mps(speed_mps) * dt, left))
    return replace(now, out_m=now.wanted_m() if abs(left) <= abs(step) else now.out_m + step)


def regeared_by(old: RodNow, new: RodNow) -> bool:
    """Whether the change needs the line's properties anew (line that runs out does not)."""
    return (old.setting, old.tripped, old.cleaned_s) != (new.setting, new.tripped, new.cleaned_s)
