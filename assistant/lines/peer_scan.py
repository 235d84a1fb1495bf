"""The same twelve lines through a 90 degree turn in our kernel and in MoorDyn, each as fast as is good enough.

Good enough: every line's depth, each second, within ALLOWED_PERCENT of our kernel run finely (which that code nears
with more segments, as the scan shows). No planers: that code knows no lift in its own time loop. CPU time of the march
alone, one core, neither start nor settling. A shell around pure code: it reads the clock of the process.
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
SPEED_MPS, SECONDS, SETTLING_S, EXCHANGE_S = 1.1, 30.0, 60.0, 0.25
TURN = Course(
    np.array([[0.0, 1.1, 0.0], [5.0, 1.1, 0.0], [25.0, 1.1, math.pi / 2], [30.0, 1.1, math.pi / 2]])
)

OURS = ((24, 0.25), (12, 0.5), (8, 0.5), (8, 1.0), (6, 1.0))  # pieces, step [s]; the first as live
SCHEMES = {"LEuler": 0.2, "RK2": 0.2, "RK4": 0.05}  # and the damping each needs to be stable
SHARES = (1.2, 0.9, 0.65, 0.5, 0.35)  # steps tried, in times a wave of stretch takes along a segment
FEW = 6  # segments a line to compare the schemes with

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
    """One way through the turn: CPU time, and the worst depth error of any line (None: unstable)."""

    code: str
    scheme: str
    segments: int
    dt_s: float
    error_percent: float | None
    cpu_s: float

    def good(self) -> bool:
        """Whether it is accurate enough to count."""
        return self.error_percent is not None and self.error_percent <= ALLOWED_PERCENT


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
    """Every scheme with few segments at its largest stable step, then the best of them with more until good enough."""
    trials: list[Trial] = []
    for scheme in SCHEMES:
        trials += _to_stable(truth, scheme, FEW, SHARES)
    stable = [t for t in trials if t.error_percent is not None]
    if not stable:
        return trials
    # error falls with segments squared and cost grows with them squared: time x error is what a scheme costs
    best = min(stable, key=lambda t: t.cpu_s * (t.error_percent or 0.0))
    share = best.dt_s / _wave_s(FEW)
    wanted = math.ceil(FEW * math.sqrt((best.error_percent or 0.0) / ALLOWED_PERCENT))
    for segments in (wanted, wanted + 2, wanted + 4):
        for part in (share, 0.7 * share):  # near the limit a line may ring without blowing up
            trials.append(_moordyn_trial(truth, best.scheme, segments, part * _wave_s(segments)))
            if trials[-1].good():
                return trials
    return trials


def _to_stable(truth: Array, scheme: str, segments: int, shares: Sequence[float]) -> list[Trial]:
    """Trials with ever smaller steps until one is stable."""
    trials: list[Trial] = []
    for share in shares:
        trials.append(_moordyn_trial(truth, scheme, segments, share * _wave_s(segments)))
        if trials[-1].error_percent is not None:
            break
    return trials


def _wave_s(segments: int) -> float:
    """Shortest time a wave of stretch takes along one segment of any line [s]: what limits an explicit step."""
    return min(
        part.length_m / count * math.sqrt(part.mass_kg_m / part.stiffness_n)
        for line in LINES
        for part, count in zip(line.segments, _cut(segments).counts(line), strict=True)
    )


def _moordyn_trial(truth: Array, scheme: str, segments: int, dt_s: float) -> Trial:
    """Settle, untimed, then march through the turn."""
    tow = MoorDynTow(
        LINES, [_cut(segments).counts(line) for line in LINES], WATER, dt_s, scheme,
        np.zeros((len(LINES), 3)), np.array([SPEED_MPS, 0.0, 0.0]), SCHEMES[scheme],
    )  # fmt: skip
    try:
        cpu_s, depths = _through_turn(tow, truth[0])
        error = _error_percent(depths, truth)
    except ArithmeticError:
        return Trial("moordyn", scheme, segments, dt_s, None, 0.0)
    finally:
        tow.close()
    return Trial("moordyn", scheme, segments, dt_s, error, cpu_s)


def _through_turn(tow: MoorDynTow, settled_m: Array) -> tuple[float, Array]:
    """CPU time of the turn and depths (SECONDS, 12).

    Raises:
        ArithmeticError: unstable: refused by the code, or a depth 30 % off after 4 s or at the start of the turn.
    """
    settling = round(SETTLING_S / EXCHANGE_S)
    straight = np.zeros((settling, 3))
    straight[:, 0] = SPEED_MPS * EXCHANGE_S * np.arange(settling)
    turn = _path(EXCHANGE_S)[:, :3] + [SPEED_MPS * SETTLING_S, 0.0, 0.0]
    cpu_s, depths = 0.0, []
    for k, (here, there) in enumerate(pairwise(np.concatenate([straight, turn])), start=1):
        begin_s = process_time()
        try:
            tow.march((k - 1) * EXCHANGE_S, EXCHANGE_S, np.tile(here, (12, 1)), np.tile(there, (12, 1)))
        except RuntimeError as error:
            raise ArithmeticError("the code itself gave up") from error
        used_s = process_time() - begin_s
        depth = tow.ends_m()[:, 2]
        if k in (16, settling) and not _error_percent(depth, settled_m) < 30.0:
            raise ArithmeticError("unstable")
        if k > settling:
            cpu_s += used_s
            if (k - settling) % round(1.0 / EXCHANGE_S) == 0:
                depths.append(depth)
    return cpu_s, np.array(depths)
