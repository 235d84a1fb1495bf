"""Speed through the water: quick on a change, smooth in waves, stand-ins, a stuck log found and cleared."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from estimate_days import CONFIG, Sea, Tick, altered, day, run, without

from assistant.estimate.speed import Hints, Log, read
from assistant.messages import Z90, BoatState, Reading
from assistant.units import KNOT_MPS, MPH_MPS

CALM = Sea(deviation_sigma=0.0, factor_sigma=0.0, heading=lambda t_s: 1.0, current_mps=0.1)


def shown(ticks: list[Tick]) -> dict[float, BoatState]:
    return {t.truth.t_s: b for t, b in zip(ticks, run(ticks), strict=True)}


@pytest.mark.parametrize("seed", range(5))
def test_a_change_from_2_to_2_9_mph_is_followed_within_3_s(seed: int) -> None:
    sea = replace(CALM, stw=lambda t_s: (2.0 if t_s < 60.0 else 2.9) * MPH_MPS)
    states = shown(day(seed, sea))
    assert abs(states[59.0].stw_mps.value - 2.0 * MPH_MPS) < 0.05
    assert abs(states[63.0].stw_mps.value - 2.9 * MPH_MPS) < 0.15 * 0.9 * MPH_MPS
    assert abs(states[66.0].stw_mps.value - 2.9 * MPH_MPS) < 0.05


def test_waves_are_averaged_out() -> None:
    """A surge of 0.2 m/s every 3.1 s, met once a second by the log."""
    states = run(day(1, replace(CALM, stw=lambda t_s: 1.07, surge_mps=0.2)))[160:]
    values = [b.stw_mps.value for b in states]
    assert np.std(values) < 0.25 * 0.2 / math.sqrt(2.0) * 2.0
    assert abs(np.mean(values) - 1.07) < 0.02


def test_the_configured_factor_is_applied() -> None:
    ticks = day(2, replace(CALM, stw=lambda t_s: 1.0, minutes=1.0))
    weak = altered(ticks, "stw_mps", lambda t_s, v: 0.8 * v)
    assert run(weak, replace(CONFIG, speed_log_factor=1.25))[-1].stw_mps.value == pytest.approx(1.0, abs=0.05)


def test_without_a_log_ground_speed_stands_in_with_a_band_for_the_current() -> None:
    errors = []
    for seed in range(12):
        ticks = without(day(seed, Sea(minutes=1.5)), "VHW")
        for tick, b in zip(ticks, run(ticks), strict=True):
            if tick.truth.t_s > 10.0:
                assert b.stw_mps.state == "doubtful" and b.stw_mps.source == "GPS only"
                assert b.set_rad.value is None and b.drift_mps.value is None
                errors.append((b.stw_mps.value - tick.truth.stw_mps) / b.stw_mps.sigma)
    assert np.mean(np.abs(errors) < 1.0) >= 0.6 and np.mean(np.abs(errors) < 2.0) >= 0.9


def test_log_lost_under_way_the_last_current_is_taken_off_and_the_band_grows() -> None:
    z, grows = [], []
    for seed in range(8):
        ticks = without(day(seed, Sea(minutes=6.0)), "VHW", from_s=120.0)
        states = shown(ticks)
        grows.append(states[350.0].stw_mps.sigma - states[125.0].stw_mps.sigma)
        for tick in ticks:
            if tick.truth.t_s > 124.0:
                b = states[tick.truth.t_s].stw_mps
                assert b.state == "doubtful" and b.source == "ground minus last current"
                assert "no speed log" in b.cause
                z.append((b.value - tick.truth.stw_mps) / b.sigma)
    assert min(grows) > 0.01
    assert np.mean(np.abs(z) < 1.0) >= 0.6 and np.mean(np.abs(z) > 3.2) < 0.01


@pytest.mark.parametrize("seed", range(4))
def test_weed_on_the_wheel_is_flagged_within_15_s_and_cleared_within_30(seed: int) -> None:
    sea = replace(CALM, stw=lambda t_s: 1.05, minutes=5.0)
    ticks = altered(day(seed, sea), "stw_mps", lambda t_s, v: 0.0 if 120.0 < t_s < 180.0 else v)
    states = shown(ticks)
    flagged = next(t for t in states if t > 120.0 and "reads 0" in states[t].stw_mps.cause)
    assert flagged <= 135.0
    for t in np.arange(flagged, 180.0, 0.25):
        b = states[t].stw_mps
        assert b.state == "doubtful" and abs(b.value - 1.05) < 3.0 * b.sigma and b.value > 0.7
    back = next(t for t in states if t > 180.0 and states[t].stw_mps.state == "ok")
    assert 185.0 <= back <= 210.0
    assert all(states[t].stw_mps.state == "ok" for t in np.arange(back, 300.0, 0.25))


def test_a_wheel_stuck_from_the_start_is_flagged() -> None:
    ticks = altered(day(5, replace(CALM, stw=lambda t_s: 1.05)), "stw_mps", lambda t_s, v: 0.0)
    states = shown(ticks)
    assert all(states[t].stw_mps.state == "doubtful" for t in np.arange(15.0, 180.0, 0.25))
    assert states[60.0].stw_mps.source == "GPS only"


def test_a_frozen_log_is_flagged_within_15_s_of_the_speed_changing() -> None:
    """Frozen at 100 s; the boat speeds up at 110 s; what the log said was true until then."""
    sea = replace(CALM, stw=lambda t_s: 0.9 if t_s < 110.0 else 1.5, minutes=4.0)
    ticks = altered(day(6, sea), "stw_mps", lambda t_s, v: 0.9 if t_s > 100.0 else v)
    states = shown(ticks)
    flagged = next(t for t in states if t > 100.0 and "frozen" in states[t].stw_mps.cause)
    assert 110.0 < flagged <= 125.0
    assert abs(states[flagged + 5.0].stw_mps.value - 1.5) < 0.3


@pytest.mark.parametrize("to_mps", [1.15, 1.3, 1.5, 0.7])
def test_a_log_that_freezes_as_the_speed_changes_is_no_ok_lie_for_longer_than_4_s(to_mps: float) -> None:
    """Stale time and a second; before it can be accused, its band reaches to what the ground speed says."""
    for seed in range(4):
        profile = [100.0, 106.0], [0.9, to_mps]
        sea = replace(CALM, stw=lambda t_s, p=profile: float(np.interp(t_s, *p)), minutes=3.0)
        ticks = altered(day(seed, sea), "stw_mps", lambda t_s, v: 0.9 if t_s > 100.0 else v)
        since, longest = None, 0.0
        for t_s, b in shown(ticks).items():
            true = float(np.interp(t_s, *profile))
            stw = b.stw_mps
            lie = stw.state == "ok" and abs(stw.value - true) > 2.5 * Z90 * stw.sigma
            since = (since or t_s) if lie else None
            longest = max(longest, t_s - since + 0.25 if since else 0.0)
        assert longest <= 4.0


def test_a_number_that_repeats_itself_rightly_keeps_its_band() -> None:
    """On a calm day a log in steps of 0.1 kn says the same for seconds."""
    states = run(day(3, replace(CALM, stw=lambda t_s: 0.9, log_noise_mps=0.0, surge_mps=0.02)))[240:]
    assert np.median([b.stw_mps.sigma for b in states]) < 0.05
    assert all(b.stw_mps.state == "ok" for b in states[:80])


def test_the_extremes_of_the_waves_are_kept() -> None:
    sea = replace(CALM, stw=lambda t_s: 1.07, surge_mps=0.2, minutes=2.0)
    states = shown(without(day(1, sea), "VHW", 90.0))
    least, most = states[80.0].stw_extremes_mps
    assert 0.8 < least < 0.95 and 1.2 < most < 1.35
    assert states[110.0].stw_extremes_mps is None, "what stands in for the log has no waves"


def test_a_log_that_freezes_at_the_right_speed_is_flagged_by_its_silence() -> None:
    """One reading a second in steps of 0.1 kn repeats itself often: 30 equal ones are too many by any odds."""
    ticks = altered(
        day(6, replace(CALM, stw=lambda t_s: 0.9, minutes=4.0)),
        "stw_mps",
        lambda t_s, v: 0.9 if t_s > 100 else v,
    )
    states = shown(ticks)
    assert not any("frozen" in b.stw_mps.cause for t, b in states.items() if t < 100.0)
    flagged = next(t for t in states if t > 100.0 and "frozen" in states[t].stw_mps.cause)
    assert flagged <= 135.0
    assert all(states[t].stw_mps.source != "sim/VHW" for t in np.arange(flagged, 240.0, 0.25))


@pytest.mark.parametrize("from_s", [0.0, 120.0])
def test_a_log_60_percent_low_is_flagged_within_3_minutes(from_s: float) -> None:
    for seed in range(3):
        # low from the start in a head current it may go unseen until the boat turns
        current = 0.15 if from_s == 0.0 else None
        sea = Sea(stw=lambda t_s: 1.05, minutes=(from_s + 200.0) / 60.0, current_mps=current)
        ticks = altered(day(seed, sea), "stw_mps", lambda t_s, v: 0.4 * v if t_s > from_s else v)
        states = shown(ticks)
        flagged = next(t for t in states if t > from_s and "far too low" in states[t].stw_mps.cause)
        assert flagged <= from_s + 180.0
        b = states[flagged + 10.0].stw_mps
        assert abs(b.value - 1.05) < 3.0 * b.sigma


def test_adrift_from_switch_on_is_no_stuck_wheel() -> None:
    """1 kn of current, the wheel has never turned; beam to the current, and (nobody can tell) along it."""
    for angle, ok in ((1.5, True), (0.0, False)):
        north = 1.0 * KNOT_MPS
        sea = replace(CALM, stw=lambda t_s: 0.0, minutes=10.0, current_mps=north)
        first = day(3, sea)
        toward = math.atan2(first[0].truth.east_mps, first[0].truth.north_mps)
        states = run(day(3, replace(sea, heading=lambda t_s, a=angle, s=toward: s + a)))[120:]
        causes = {b.stw_mps.cause for b in states}
        assert not any("while the boat moves" in c or "frozen" in c for c in causes), causes
        if ok:
            assert np.mean([b.stw_mps.state == "ok" for b in states]) > 0.99
        else:
            assert "speed log reads 0 and never turned: adrift, or stuck" in causes


def test_no_flag_at_rest_nor_adrift() -> None:
    """Trolling, then the motor off: first in still water, then in a current of 1 kn."""
    for current in (0.0, 1.0 * KNOT_MPS):
        sea = replace(
            CALM, stw=lambda t_s: max(0.0, min(1.0, (150.0 - t_s) / 20.0)), current_mps=current, minutes=15.0
        )
        states = shown(day(7, sea))
        flags = [t for t, b in states.items() if "reads 0" in b.stw_mps.cause or "frozen" in b.stw_mps.cause]
        assert flags == []
        ok = [states[t].stw_mps.state == "ok" for t in states if t > 160.0]
        assert np.mean(ok) > 0.95


def test_two_logs_do_not_flap_nor_count_twice() -> None:
    ticks = day(8, replace(CALM, stw=lambda t_s: 1.0))
    both = [
        Tick(
            t.truth,
            (
                *t.readings,
                *(Reading(r.t_s, "stw_mps", 1.3, "sim/VBW") for r in t.readings if r.quantity == "stw_mps"),
            ),
        )
        for t in ticks
    ]
    states = run(both)
    assert {b.stw_mps.source for b in states if b.stw_mps.value is not None} == {"sim/VHW"}
    assert [b.stw_mps for b in states] == [b.stw_mps for b in run(ticks)]


def test_log_outliers_move_little() -> None:
    """One reading in twenty 60 % low."""
    ticks = altered(
        day(9, replace(CALM, stw=lambda t_s: 1.0)),
        "stw_mps",
        lambda t_s, v: 0.4 * v if int(t_s) % 20 == 0 else v,
    )
    states = run(ticks)[80:]
    assert max(abs(b.stw_mps.value - 1.0) for b in states) < 0.2


def weeds(period_s: float, sigma_mps: float) -> list[Log]:
    """A log at 0.87 m/s that loses three fifths at 120 s, second by second, while waves swing what GPS makes of it."""
    rng = np.random.default_rng(5)
    log: Log | None = None
    out = []
    for t_s in range(240):
        wave = 0.12 * math.sin(math.tau * t_s / period_s)
        true = 0.87 + wave + 0.03 * float(rng.standard_normal())
        hints = Hints(
            sog_mps=true + 0.2, ground_mps=(true + 0.2, 0.0), current_mps=(0.2, 0.0), expected_mps=true,
            expected_sigma_mps=sigma_mps,
        )  # fmt: skip
        log = read(log, float(t_s), true if t_s < 120 else 0.4 * true, hints)
        out.append(log)
    return out


@pytest.mark.parametrize("period_s", [3.7, 11.0])
@pytest.mark.parametrize("sigma_mps", [0.05, 0.13])
def test_a_log_that_fell_is_not_cleared_by_a_trough_of_the_waves(period_s: float, sigma_mps: float) -> None:
    """Its suspicion, while which no current is learned, stands until it is called fouled."""
    logs = weeds(period_s, sigma_mps)
    assert not any(log.suspect_since_s is not None for log in logs[30:120])
    began = next(k for k, log in enumerate(logs) if k > 120 and log.suspect_since_s is not None)
    called = next(k for k, log in enumerate(logs) if log.stuck)
    assert began < 135 and called < 160
    assert all(log.suspect_since_s is not None for log in logs[began:])


def test_a_boat_that_slows_is_not_suspected_for_long() -> None:
    """Ground speed follows two seconds late: a suspicion of that is over with ten good readings."""
    log: Log | None = None
    suspected = []
    for t_s in range(300):
        true, late = (1.1 if t - 120 < 0 else 0.45 for t in (t_s, t_s - 4))
        hints = Hints(late, (late, 0.0), (0.0, 0.0), late, 0.1)
        log = read(log, float(t_s), true, hints)
        if log.suspect_since_s is not None:
            suspected.append(t_s)
        assert not log.stuck
    assert all(120 <= t_s < 140 for t_s in suspected)
