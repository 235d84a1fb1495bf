"""States: never a confident wrong number. Dead before the first data, honest within the stale time + 1 s of a
fault, dead carries no value, proven again after ten good readings, and clean days are ok days.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace

import numpy as np
import pytest
from estimate_days import CONFIG, Sea, Tick, altered, day, run, without

from assistant.estimate import boat
from assistant.messages import BOAT_QUANTITIES, STATES, BoatState, Estimate

FED_BY = {
    # sentence: quantities that need it, stale time [s], dead time [s]
    "VHW": (("stw_mps", "set_rad", "drift_mps"), 3.0, 15.0),
    "HDG": (("heading_rad", "set_rad", "drift_mps", "rate_of_turn_radps"), 3.0, 15.0),
    "RMC": (("sog_mps", "cog_rad", "set_rad", "drift_mps", "lat_deg", "lon_deg"), 4.0, 15.0),
    "DPT": (("water_depth_m",), 5.0, 15.0),
    "MTW": (("water_temp_c",), 30.0, 300.0),
}
STAND_IN = {"VHW": {"stw_mps"}, "HDG": {"heading_rad", "rate_of_turn_radps"}}


def by_time(ticks: list[Tick]) -> dict[float, BoatState]:
    return {t.truth.t_s: b for t, b in zip(ticks, run(ticks), strict=True)}


def each(state: BoatState) -> dict[str, Estimate]:
    return {f.name: getattr(state, f.name) for f in fields(state) if f.name in BOAT_QUANTITIES}


def test_before_the_first_data_everything_is_dead() -> None:
    state, shown = boat.update(boat.initial(CONFIG), (), 0.25, "2026-07-18T08:00:00Z")
    assert shown.utc == "2026-07-18T08:00:00Z"
    for e in each(shown).values():
        assert e == Estimate(cause=e.cause) and e.cause
    assert set(each(shown)) == set(BOAT_QUANTITIES)
    assert state.tracks == {}


def test_clean_days_are_ok_days() -> None:
    counts: dict[str, Counter[str]] = {q: Counter() for q in BOAT_QUANTITIES}
    for seed in range(6):
        for shown in run(day(100 + seed, Sea(minutes=5.0, surge_mps=0.1 * (seed % 3)))):
            for q, e in each(shown).items():
                counts[q][e.state] += 1
    shares = {q: c["ok"] / c.total() for q, c in counts.items()}
    assert min(shares.values()) >= 0.95, shares


@pytest.mark.parametrize("sentence", sorted(FED_BY))
def test_a_silent_sentence_is_noticed_then_dead_then_proven_anew(sentence: str) -> None:
    needs, stale_s, dead_s = FED_BY[sentence]
    back_s = 60.0 + dead_s + 10.0
    states = by_time(without(day(1, Sea(minutes=(back_s + 30.0) / 60.0)), sentence, 60.0, back_s))
    for q in needs:
        assert each(states[59.0])[q].state == "ok", q
        for t in np.arange(60.0 + stale_s + 1.25, back_s, 0.25):
            assert each(states[t])[q].state != "ok", (q, t)
        last = each(states[back_s])[q]
        if q in STAND_IN.get(sentence, ()):
            assert last.state == "doubtful" and last.value is not None and last.cause
            assert last.sigma > 1.2 * each(states[59.0])[q].sigma
        else:
            assert last.state == "dead" and last.value is None and last.sigma is None and last.cause
            assert any(each(states[t])[q].state == "stale" for t in np.arange(60.0, back_s, 0.25)), q
        until = 9.0 if sentence != "HDG" else 4.0  # ten readings: HDG comes twice a second
        assert all(each(states[t])[q].state != "ok" for t in np.arange(back_s, back_s + until, 0.25)), q
        assert each(states[back_s + 20.0])[q].state == "ok", q


def test_unaffected_quantities_go_on() -> None:
    clean = day(2, Sea(minutes=2.0))
    whole = by_time(clean)
    for sentence, (needs, _, _) in FED_BY.items():
        lacking = by_time(without(clean, sentence, 60.0))
        for q in BOAT_QUANTITIES:
            if q not in needs:
                assert all(each(lacking[t])[q].state == each(whole[t])[q].state for t in whole), (sentence, q)


def test_the_weakest_input_decides_set_and_drift() -> None:
    for sentence in ("VHW", "HDG", "RMC"):
        for shown in run(without(day(3, Sea(minutes=2.0)), sentence, 60.0, 70.0)):
            inputs = [shown.sog_mps, shown.heading_rad, shown.stw_mps]
            worst = max(STATES.index(e.state) for e in inputs)
            assert STATES.index(shown.drift_mps.state) >= worst
            assert shown.set_rad.state == shown.drift_mps.state


def test_all_silent_everything_ends_dead() -> None:
    ticks = [Tick(t.truth, t.readings if t.truth.t_s < 60.0 else ()) for t in day(4, Sea(minutes=7.0))]
    for e in each(run(ticks)[-1]).values():
        assert e.state == "dead" and e.value is None and e.cause and e.age_s is not None and e.age_s > 15.0


def test_random_silences_are_shown_honestly() -> None:
    """Worst time from the last reading to an honest state: the stale time and a second."""
    rng = np.random.default_rng(7)
    for _ in range(25):
        sentence = str(rng.choice(sorted(FED_BY)))
        needs, stale_s, _ = FED_BY[sentence]
        start = float(rng.integers(80, 160)) / 4.0
        length = float(rng.uniform(stale_s + 2.0, stale_s + 10.0))
        ticks = without(day(int(rng.integers(1000)), Sea(minutes=1.2)), sentence, start, start + length)
        for t, shown in by_time(ticks).items():
            if start + stale_s + 1.0 < t <= min(start + length, 72.0):
                assert all(each(shown)[q].state != "ok" for q in needs), (sentence, start, t)


def test_dead_never_has_a_number_and_every_other_state_has_all() -> None:
    rng = np.random.default_rng(8)
    for seed in range(8):
        gone = {s: float(rng.uniform(10.0, 60.0)) for s in FED_BY}
        ticks = day(seed, Sea(minutes=2.0))
        for sentence, from_s in gone.items():
            ticks = without(ticks, sentence, from_s, from_s + 40.0)
        for shown in run(ticks):
            for q, e in each(shown).items():
                assert (e.value is None) == (e.state == "dead"), q
                if e.value is not None:
                    assert e.sigma is not None and e.sigma > 0.0 and e.age_s is not None and e.age_s >= 0.0
                    assert np.isfinite(e.value) and e.source != "none"
                assert (e.cause == "") == (e.state == "ok"), (q, e)
                if BOAT_QUANTITIES[q] == "rad" and e.value is not None:
                    assert 0.0 <= e.value < 2.0 * np.pi


def test_spikes_never_show() -> None:
    ticks = altered(day(5, Sea(minutes=2.0)), "water_temp_c", lambda t_s, v: 0.0 if int(t_s) % 9 == 5 else v)
    ticks = altered(ticks, "depth_below_transducer_m", lambda t_s, v: 3.0 if int(t_s) % 11 == 5 else v)
    shown = run(ticks)
    assert all(b.water_temp_c.value is None or b.water_temp_c.value > 17.0 for b in shown)
    assert all(b.water_depth_m.value is None or b.water_depth_m.value > 34.0 for b in shown)
    assert np.mean([b.water_temp_c.state == "ok" for b in shown]) > 0.95
    assert np.mean([b.water_depth_m.state == "ok" for b in shown]) > 0.95


def test_an_old_state_gives_the_same_answer_again() -> None:
    ticks = day(6, Sea(minutes=1.0))
    assert run(ticks) == run(ticks)
    state, _ = boat.update(boat.initial(CONFIG), (), 0.25)
    copy = tuple(state)
    boat.update(state, (), 0.5)
    assert tuple(state) == copy


def test_age_is_the_time_since_the_last_reading_used() -> None:
    ticks = day(9, Sea(minutes=1.0))
    last: dict[str, float] = {}
    for tick, shown in zip(ticks, run(ticks), strict=True):
        for r in tick.readings:
            last[r.quantity] = r.t_s
        if tick.truth.t_s > 10.0:
            for q, from_q in (
                ("stw_mps", "stw_mps"),
                ("heading_rad", "heading_magnetic_rad"),
                ("lat_deg", "lat_deg"),
            ):
                assert each(shown)[q].age_s == pytest.approx(tick.truth.t_s - last[from_q])


def test_depth_is_below_the_surface() -> None:
    """35 m of water: 34.7 below a transducer 0.3 m deep. An offset to the keel says nothing of the surface."""
    ticks = day(10, Sea(minutes=0.5))
    keel = altered(ticks, "transducer_offset_m", lambda t_s, v: -1.0)
    deep = type(CONFIG)("m", "M", sounder_below_surface_m=0.5)
    assert run(ticks, deep)[-1].water_depth_m.value == pytest.approx(35.0, abs=0.2)
    assert run(keel, deep)[-1].water_depth_m.value == pytest.approx(35.2, abs=0.2)
    assert run(keel)[-1].water_depth_m.value == pytest.approx(34.7, abs=0.2)
    dbt = [
        Tick(
            t.truth,
            tuple(replace(r, source="sim/DBT") for r in t.readings if "depth" in r.quantity),
        )
        for t in ticks
    ]
    shown = run(dbt, deep)[-1].water_depth_m
    assert shown.value == pytest.approx(35.2, abs=0.2) and shown.source == "sim/DBT" and shown.state == "ok"
