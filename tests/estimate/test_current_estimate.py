"""Ground velocity and surface current: values, honest sigmas, one receiver heard through several sentences."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from estimate_days import DEG, Sea, Tick, angle_error, day, edited, run

from assistant.estimate import ground
from assistant.messages import Reading

EXACT = Sea(deviation_sigma=0.0, factor_sigma=0.0)


def test_errors_lie_within_one_sigma_about_two_times_in_three() -> None:
    """60 drawn days with drawn deviation, log factor and receiver errors; 68 % is what a normal error gives."""
    z: dict[str, list[float]] = {
        name: [] for name in ("speed", "heading", "ground", "course", "along", "across")
    }
    for seed in range(60):
        ticks = day(seed)
        for tick, b in zip(ticks, run(ticks), strict=True):
            t = tick.truth
            if t.t_s < 60.0:
                continue
            s, drift = b.set_rad.value, b.drift_mps
            along = t.north_mps * math.cos(s) + t.east_mps * math.sin(s)
            across = t.east_mps * math.cos(s) - t.north_mps * math.sin(s)
            z["speed"].append((b.stw_mps.value - t.stw_mps) / b.stw_mps.sigma)
            z["heading"].append(angle_error(b.heading_rad.value, t.heading_rad) / b.heading_rad.sigma)
            z["ground"].append((b.sog_mps.value - t.sog_mps) / b.sog_mps.sigma)
            z["course"].append(angle_error(b.cog_rad.value, t.cog_rad) / b.cog_rad.sigma)
            z["along"].append((drift.value - along) / drift.sigma)
            z["across"].append(across / (drift.value * b.set_rad.sigma))
    within = {name: float(np.mean(np.abs(v) < 1.0)) for name, v in z.items()}
    assert all(0.60 <= share <= 0.76 for share in within.values()), within
    far = {name: float(np.mean(np.abs(v) > 3.2)) for name, v in z.items()}
    assert all(share <= 0.005 for share in far.values()), far


@pytest.mark.parametrize("heading_deg", [0.0, 70.0, 200.0, 315.0])
def test_set_and_drift_of_a_known_current(heading_deg: float) -> None:
    sea = replace(
        EXACT, heading=lambda t_s: heading_deg * DEG, current_mps=0.25, gps_sigma_mps=0.02, minutes=4.0
    )
    ticks = day(3, sea)
    truth, shown = ticks[-1].truth, run(ticks)[-1]
    assert shown.drift_mps.value == pytest.approx(0.25, abs=0.05)
    toward = math.atan2(truth.east_mps, truth.north_mps)
    assert abs(angle_error(shown.set_rad.value, toward)) < 12.0 * DEG


def test_set_is_wide_when_there_is_hardly_a_current() -> None:
    ticks = day(4, replace(EXACT, current_mps=0.0, minutes=4.0))
    shown = run(ticks)[-1]
    assert shown.set_rad.sigma > 25.0 * DEG
    assert shown.drift_mps.value < 3.0 * shown.drift_mps.sigma


def test_a_turn_does_not_make_a_current() -> None:
    def heading(t_s: float) -> float:
        return min(max(0.0, t_s - 90.0) * 3.0, 180.0) * DEG

    sea = replace(
        EXACT, heading=heading, stw=lambda t_s: 1.1, current_mps=0.0, gps_sigma_mps=0.02, minutes=4.0
    )
    assert max(b.drift_mps.value for b in run(day(5, sea))[240:]) < 0.1


def test_the_course_of_a_stopped_boat_is_unknown() -> None:
    ticks = day(6, replace(EXACT, stw=lambda t_s: 1.0 if t_s < 60.0 else 0.0, current_mps=0.02, minutes=2.0))
    moving, stopped = run(ticks)[200], run(ticks)[-1]
    assert moving.cog_rad.state == "ok" and moving.cog_rad.sigma < 6.0 * DEG
    assert stopped.cog_rad.state == "doubtful" and stopped.cog_rad.sigma > 60.0 * DEG
    assert stopped.sog_mps.state == "ok" and stopped.drift_mps.state == "ok"


def test_a_receiver_that_gives_no_course_at_rest_still_measures_the_current() -> None:
    ticks = day(7, replace(EXACT, stw=lambda t_s: 0.0, current_mps=0.0, minutes=1.0))
    quiet = edited(ticks, lambda r: None if r.quantity == "cog_rad" else r)
    shown = run(quiet)[-1]
    assert shown.drift_mps.state == "ok" and shown.drift_mps.value < 0.1
    assert shown.cog_rad.value is None


def test_four_sentences_of_one_receiver_count_once_and_do_not_flap() -> None:
    ticks = day(8)

    def echoed(tick: Tick) -> Tick:
        more = []
        for r in tick.readings:
            if r.quantity in ("sog_mps", "cog_rad"):
                more.append(Reading(r.t_s + 0.01, r.quantity, r.value, "sim/VTG"))
            if r.quantity in ("lat_deg", "lon_deg"):
                more.append(Reading(r.t_s + 0.02, r.quantity, r.value, "sim/GGA"))
                more.append(Reading(r.t_s + 0.03, r.quantity, r.value, "sim/GLL"))
        return Tick(tick.truth, (*tick.readings, *more))

    alone, echo = run(ticks), run([echoed(t) for t in ticks])
    assert alone == echo


def test_a_fix_that_jumps_alone_does_not_move_the_boat() -> None:
    """One course in thirty turned round: within its range, fresh, and wrong."""
    sea = replace(EXACT, heading=lambda t_s: 1.0, stw=lambda t_s: 1.3, current_mps=0.1)
    ticks = edited(
        day(9, sea),
        lambda r: (
            replace(r, value=(r.value + math.pi) % math.tau)
            if r.quantity == "cog_rad" and int(r.t_s) % 30 == 20
            else r
        ),
    )
    for tick, b in zip(ticks, run(ticks), strict=True):
        if tick.truth.t_s > 10.0:
            assert abs(angle_error(b.cog_rad.value, tick.truth.cog_rad)) < 15.0 * DEG


def test_a_velocity_no_boat_could_reach_waits_for_a_second_fix() -> None:
    held = None
    for k in range(10):
        held = ground.fix(held, float(k), 1.2, 1.0)
    assert held is not None
    alone = ground.fix(held, 10.0, 4.5, 1.0 + math.pi)
    assert alone is not None and (alone.t_s, alone.north_mps) == (9.0, held.north_mps)
    again = ground.fix(alone, 10.5, 1.2, 1.0)
    assert again is not None and again.north_mps == pytest.approx(1.2 * math.cos(1.0), abs=0.01)
    second = ground.fix(alone, 11.0, 4.4, 1.0 + math.pi)
    assert second is not None and second.north_mps == pytest.approx(-4.4 * math.cos(1.0), abs=0.1)
