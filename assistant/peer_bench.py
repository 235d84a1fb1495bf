"""The same twelve lines through a 90 degree turn in our kernel and in MoorDyn, each as fast as is good enough.

Good enough: every line's depth, each second, within ALLOWED_PERCENT of our kernel run finely (MoorDyn nears that with
more segments and smaller steps). Both start settled. No planers: MoorDyn knows no lift in its own time loop. CPU time
of the march alone, one core. Lines are as stiff in both as line is: softer ones would let an explicit code take
larger steps, and stretch more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from time import process_time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.lines.chain import Body, Segment, Towed, Water
from assistant.lines.course import Course
from assistant.lines.fleet import Cut, by_group, settled
from assistant.lines.kernel import march
from assistant.lines.peer import MoorDynTow, load

Array = NDArray[np.float64]

ALLOWED_PERCENT = 0.5
BEST_OF = 7  # of our runs, which take milliseconds
WATER, STILL = Water(1000.0, 9.80665), np.zeros((0, 3))
SPEED_MPS, SECONDS, EXCHANGE_S = 1.1, 30.0, 0.1
TURN = Course(
    np.array([[0.0, 1.1, 0.0], [5.0, 1.1, 0.0], [20.0, 1.1, math.pi / 2], [60.0, 1.1, math.pi / 2]])
)

OURS = (
    (28, 0.25),
    (12, 0.25),
    (12, 0.5),
    (8, 0.5),
    (8, 1.0),
    (6, 1.0),
)  # pieces, step [s]; the first as live
SCHEMES = ("RK2", "Heun", "Euler", "LEuler", "RK4", "AB2", "Midpoint3", "ACA5", "Wilson5")
DAMPINGS = (0.2, 0.05, 0.5, 1.0)  # of a segment's stretch, in shares of critical
SHARES = (1.2, 0.9, 0.65, 0.5, 0.35, 0.25)  # steps tried, in times a wave of stretch takes along a segment
FIRST, OTHERS = 10, (9, 12)  # segments a line
SLOWER = "slower than the best"

# lines by kind, per metre; sizes: common practice, no source
CABLE = Segment(1.0, 0.001, 0.0045, 1.2, 0.015, 60000.0)
COPPER = Segment(1.0, 0.001, 0.0052, 1.2, 0.015, 60000.0)
CORE = Segment(1.0, 0.0009, 0.00242, 1.2, 0.02, 2000.0)
BRAID = Segment(1.0, 0.0004, 0.00011, 1.2, 0.02, 4000.0)
LEADER = Segment(3.0, 0.0004, 0.000224, 1.2, 0.01, 400.0)
BALL, WEIGHT = Body(48.0, 5.4, 0.25, 0.004), Body(4.0, 0.45, 0.02, 0.00066)
LURE = Body(0.05, 0.02, 0.01, 0.0015)

LINES = (
    *(Towed((replace(CABLE, length_m=m),), (BALL,)) for m in (15.0, 20.0, 25.0, 30.0)),
    *(Towed((LEADER, replace(COPPER, length_m=m)), (LURE,)) for m in (25.0, 30.0)),
    *(Towed((LEADER, replace(CORE, length_m=m)), (LURE,)) for m in (20.0, 25.0)),
    *(Towed((LEADER, replace(BRAID, length_m=m)), (LURE, WEIGHT)) for m in (15.0, 20.0, 25.0, 30.0)),
)


@dataclass(frozen=True, slots=True)
class Trial:
    """One way through the turn: CPU time, and the worst depth error of any line (None: not finite)."""

    code: str
    scheme: str
    segments: int
    dt_s: float
    error_percent: float | None  # until it ended
    cpu_s: float  # until it ended
    damping: float = 0.0
    note: str = ""  # why it ended early

    def good(self) -> bool:
        """Whether it is accurate enough to count."""
        return not self.note and self.error_percent is not None and self.error_percent <= ALLOWED_PERCENT


def peer_moordyn() -> dict[str, Any]:
    """Compare both codes; takes about two minutes, nearly all of it MoorDyn's.

    Returns:
        name; ratio of the CPU times (None where no trial of a code was good enough); ratio_live: with our live
        settings instead of the fastest; error_percent and cpu_s of both; scan: every trial.
    Raises:
        RuntimeError: moordyn is not installed.
    """
    load()
    _, truth = _ours(120, 0.0125, 1e-8)
    ours = [_own_trial(truth, segments, dt_s) for segments, dt_s in OURS]
    theirs = _scan_moordyn(truth)
    best, peer = _fastest(ours), _fastest(theirs)
    return {
        "name": "moordyn",
        "ratio": round(peer.cpu_s / best.cpu_s, 1) if best and peer else None,
        "ratio_live": round(peer.cpu_s / ours[0].cpu_s, 1) if peer and ours[0].good() else None,
        "error_percent": {t.code: t.error_percent for t in (best, peer) if t is not None},
        "cpu_s": {t.code: t.cpu_s for t in (best, peer) if t is not None},
        "scan": [asdict(trial) for trial in (*ours, *theirs)],
    }


def _fastest(trials: Sequence[Trial]) -> Trial | None:
    return min((t for t in trials if t.good()), key=lambda t: t.cpu_s, default=None)


def _cut(segments: int) -> Cut:
    return Cut(segments, max(1, segments // 6))


def _path(step_s: float) -> Array:
    """(K+1, 6) the tow point through the turn: position, velocity."""
    times = np.linspace(0.0, SECONDS, round(SECONDS / step_s) + 1)
    path = np.zeros((len(times), 6))
    path[1:, :2] = np.cumsum([TURN.move(a, b) for a, b in pairwise(times)], axis=0)
    path[:, 3:5] = [TURN.velocity(t) for t in times]
    return path


def _error_percent(depths: Array, truth: Array) -> float:
    return round(100.0 * float(np.max(np.abs(depths - truth) / truth)), 4)


def _ours(segments: int, dt_s: float, tolerance_m: float) -> tuple[float, Array]:
    """CPU time of one march, and depths (SECONDS, 12)."""
    count = len(LINES)
    path = np.repeat(_path(dt_s)[:, :, None], count, axis=2)
    fleet = settled(LINES, [WATER] * count, _cut(segments), path[0], STILL, np.zeros((count, 2)))
    lanes, every = by_group(path), round(1.0 / dt_s)
    mains = np.repeat(fleet.mains_m[:, None], every + 1, axis=1)
    works, cpu_s, depths = fleet.works.copy(), 0.0, []
    for first in range(0, len(path) - 1, every):
        begin_s = process_time()
        for g, work in enumerate(works):
            tips = lanes[g, first : first + every + 1]
            done = march(
                work,
                segments,
                fleet.has_body[g],
                fleet.share[g],
                STILL,
                tips,
                mains[g],
                dt_s,
                first == 0,
                tolerance_m,
            )
            if done < 0:
                raise RuntimeError("a line did not converge, so that its time means nothing")
        cpu_s += process_time() - begin_s
        depths.append(replace(fleet, works=works).positions_m()[-1, 2, :count].copy())
    return cpu_s, np.array(depths)


def _own_trial(truth: Array, segments: int, dt_s: float) -> Trial:
    runs = [_ours(segments, dt_s, 1e-4) for _ in range(BEST_OF)]
    cpu_s = min(cpu for cpu, _ in runs)
    return Trial("spreadwatch", "BDF2", segments, dt_s, _error_percent(runs[0][1], truth), cpu_s)


# --- the other code --------------------------------------------------------------------------------------


def _scan_moordyn(truth: Array) -> list[Trial]:
    """Every scheme at FIRST segments, then the fastest good one with other segments and damping.

    Each time with ever smaller steps until good enough; a trial ends as soon as it is too far off, or behind the best
    so far at the same instant: cost is even over time, so nothing faster is missed.
    """
    trials: list[Trial] = []
    for scheme in SCHEMES:
        _smaller_steps(truth, trials, scheme, FIRST, DAMPINGS[0])
    best = _fastest(trials)
    if best is not None:
        for segments in OTHERS:
            _smaller_steps(truth, trials, best.scheme, segments, DAMPINGS[0])
        best = _fastest(trials) or best
        for damping in DAMPINGS[1:]:
            _smaller_steps(truth, trials, best.scheme, best.segments, damping)
    return trials


def _smaller_steps(truth: Array, trials: list[Trial], scheme: str, segments: int, damping: float) -> None:
    for share in SHARES:
        best = _fastest(trials)
        limit_s = best.cpu_s if best is not None else math.inf
        trials.append(_moordyn_trial(truth, scheme, segments, share * _wave_s(segments), damping, limit_s))
        if trials[-1].good() or trials[-1].note == SLOWER or _no_help(*trials[-2:]):
            return


def _no_help(before: Trial, now: Trial | None = None) -> bool:
    """Whether a smaller step left the error as it was: then it is the segments'."""
    if now is None or (before.scheme, before.segments, before.note) != (now.scheme, now.segments, now.note):
        return False
    if not before.error_percent or not now.error_percent:  # unstable at once
        return False
    return abs(now.error_percent - before.error_percent) < 0.005 * ALLOWED_PERCENT


def _wave_s(segments: int) -> float:
    """Shortest time a wave of stretch takes along one segment of any line [s]: what limits an explicit step."""
    return min(
        part.length_m / count * math.sqrt(part.mass_kg_m / part.stiffness_n)
        for line in LINES
        for part, count in zip(line.segments, _cut(segments).counts(line), strict=True)
    )


def _moordyn_trial(
    truth: Array, scheme: str, segments: int, dt_s: float, damping: float, limit_s: float
) -> Trial:
    """March through the turn from the settled shape; ends early when it cannot be the best any more."""
    count, every = len(LINES), round(1.0 / EXCHANGE_S)
    tow = MoorDynTow(
        LINES, [_cut(segments).counts(line) for line in LINES], WATER, dt_s, scheme, np.zeros((count, 3)),
        np.array([SPEED_MPS, 0.0, 0.0]), damping, streams=True,
    )  # fmt: skip
    cpu_s, error, note = 0.0, 0.0, ""
    try:
        for k, (here, there) in enumerate(pairwise(_path(EXCHANGE_S)[:, :3]), start=1):
            begin_s = process_time()
            tow.march((k - 1) * EXCHANGE_S, EXCHANGE_S, np.tile(here, (count, 1)), np.tile(there, (count, 1)))
            cpu_s += process_time() - begin_s
            if k % every == 0:
                now = _error_percent(tow.ends_m()[:, 2], truth[k // every - 1])
                error = now if not now <= error else error  # NaN comes through
                note = "" if error <= ALLOWED_PERCENT else f"too far off after {k // every} s"
            if not note and k >= every and cpu_s > limit_s * k * EXCHANGE_S / SECONDS:
                note = SLOWER
            if note:
                break
    except RuntimeError:
        note = "unstable"
    finally:
        tow.close()
    shown = error if math.isfinite(error) else None
    return Trial("moordyn", scheme, segments, dt_s, shown, cpu_s, damping, note)
