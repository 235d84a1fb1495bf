"""Heading and rate of turn: sources, variation, lag in turns, stand-ins, the check against the course."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from estimate_days import CONFIG, DEG, VARIATION, Sea, Tick, altered, angle_error, day, edited, run, without

from assistant.estimate import heading
from assistant.messages import Reading

CALM = Sea(deviation_sigma=0.0, factor_sigma=0.0, stw=lambda t_s: 1.1, current_mps=0.0)


def turn_at(rate_deg: float, from_s: float = 60.0, angle_deg: float = 170.0) -> Sea:
    def heading(t_s: float) -> float:
        return (200.0 + min(max(0.0, (t_s - from_s) * rate_deg), angle_deg)) * DEG

    return replace(CALM, heading=heading, minutes=(from_s + angle_deg / rate_deg + 30.0) / 60.0)


@pytest.mark.parametrize("every_s", [0.5, 1.0])
@pytest.mark.parametrize("rate_deg", [0.3, 0.5, 1.0, 3.0, 8.0, 15.0])
def test_heading_follows_a_turn_without_lag(rate_deg: float, every_s: float) -> None:
    """The filter may lag by two readings at most and by one on the mean, from the helm going over to the end."""
    ticks = edited(
        day(11, turn_at(rate_deg)),
        lambda r: None if r.source == "sim/HDG" and (r.t_s + 0.2 - 0.25) % every_s > 0.1 else r,
    )
    lags = [
        abs(angle_error(shown.heading_rad.value, tick.truth.heading_rad)) / (rate_deg * DEG)
        for tick, shown in zip(ticks, run(ticks), strict=True)
        if 60.0 < tick.truth.t_s <= 60.0 + 170.0 / rate_deg
    ]
    # the compass's own noise of 1 degree, in seconds of this turn: 2.2 sigma at worst, less on the mean
    assert max(lags) <= 2.0 * every_s - 0.2 + 2.2 / rate_deg
    assert np.mean(lags) <= 0.6 * every_s + 0.6 / rate_deg


@pytest.mark.parametrize("rate_deg", [0.5, 1.0, 3.0, 8.0])
def test_rate_of_turn_is_within_a_fifth_of_a_degree_over_ten_seconds(rate_deg: float) -> None:
    ticks = day(12, turn_at(rate_deg))
    rates = [
        shown.rate_of_turn_radps.value / DEG
        for tick, shown in zip(ticks, run(ticks), strict=True)
        if 65.0 < tick.truth.t_s <= 60.0 + 170.0 / rate_deg
    ]
    means = [np.mean(rates[k : k + 40]) for k in range(len(rates) - 39)]
    assert means and max(abs(m - rate_deg) for m in means) <= 0.2


def test_straight_running_is_smooth() -> None:
    shown = run(day(13, replace(CALM, heading=lambda t_s: 1.0)))[240:]
    assert np.std([b.rate_of_turn_radps.value for b in shown]) < 0.4 * DEG
    assert np.std([b.heading_rad.value for b in shown]) < 0.8 * DEG


def test_heading_across_north_stays_in_the_circle() -> None:
    shown = run(day(14, replace(CALM, heading=lambda t_s: 3.0 * DEG * math.sin(t_s / 5.0))))[40:]
    assert all(0.0 <= b.heading_rad.value < math.tau for b in shown)
    assert all(abs(angle_error(b.heading_rad.value, 0.0)) < 8.0 * DEG for b in shown)


def test_the_source_says_where_the_variation_is_from() -> None:
    sea = replace(CALM, heading=lambda t_s: 1.0, minutes=1.0)
    ticks = day(15, sea)
    bare = edited(ticks, lambda r: None if r.quantity == "variation_rad" else r)
    by_sentence = run(ticks)[-1].heading_rad
    by_config = run(bare, replace(CONFIG, variation_deg=-9.0))[-1].heading_rad
    unknown = run(bare)[-1].heading_rad
    assert by_sentence.source == "sim/HDG+var(sentence)" and by_sentence.state == "ok"
    assert by_config.source == "sim/HDG+var(config)" and by_config.state == "ok"
    assert unknown.source == "sim/HDG, variation unknown" and unknown.state == "doubtful"
    assert by_sentence.sigma < by_config.sigma < unknown.sigma / 3.0
    assert abs(angle_error(by_sentence.value, 1.0)) < 2.0 * DEG
    assert abs(angle_error(by_config.value, 1.0)) < 2.0 * DEG
    assert abs(angle_error(unknown.value, 1.0 - VARIATION)) < 2.0 * DEG


def test_the_configured_offset_is_added() -> None:
    ticks = day(16, replace(CALM, heading=lambda t_s: 1.0, minutes=0.5))
    plain, offset = run(ticks)[-1], run(ticks, replace(CONFIG, compass_offset_deg=-3.0))[-1]
    assert angle_error(offset.heading_rad.value, plain.heading_rad.value) == pytest.approx(-3.0 * DEG)


def test_a_better_compass_takes_over_once_and_for_all() -> None:
    def flicker(t_s: float) -> float:
        return 1.0 + 0.005 * math.sin(7.0 * t_s)

    ticks = day(17, replace(CALM, heading=lambda t_s: 1.0, minutes=2.0))
    both = [
        Tick(
            tick.truth,
            (*tick.readings, Reading(tick.truth.t_s, "heading_true_rad", flicker(tick.truth.t_s), "sim/HDT"))
            if tick.truth.t_s > 40.0
            else tick.readings,
        )
        for tick in ticks
    ]
    sources = [b.heading_rad.source for b in run(both)]
    changes = [k for k in range(1, len(sources)) if sources[k] != sources[k - 1]]
    assert sources[-1] == "sim/HDT"
    assert len(changes) <= 2, "from nothing to the compass, from it to the better one"


@pytest.mark.parametrize("current", [0.0, 0.25])
def test_without_a_compass_the_course_stands_in_with_a_band_for_the_crab_angle(current: float) -> None:
    errors = []
    for seed in range(12):
        ticks = without(day(seed, Sea(minutes=2.0, current_mps=current)), "HDG")
        for tick, shown in zip(ticks, run(ticks), strict=True):
            if tick.truth.t_s > 20.0:
                h = shown.heading_rad
                assert h.state == "doubtful" and h.source == "course over ground" and "no compass" in h.cause
                errors.append(angle_error(h.value, tick.truth.heading_rad) / h.sigma)
    assert np.mean(np.abs(errors) < 1.0) >= 0.6
    assert np.mean(np.abs(errors) > 3.2) <= 0.01


def test_compass_lost_under_way_the_last_current_narrows_the_stand_in() -> None:
    ticks = without(day(21, Sea(minutes=4.0, current_mps=0.3, deviation_sigma=0.0)), "HDG", from_s=120.0)
    pairs = [(t.truth, b) for t, b in zip(ticks, run(ticks), strict=True) if t.truth.t_s > 124.0]
    assert {b.heading_rad.source for _, b in pairs} == {"course minus last current"}
    assert all(b.heading_rad.state == "doubtful" for _, b in pairs)
    errors = [abs(angle_error(b.heading_rad.value, t.heading_rad)) / b.heading_rad.sigma for t, b in pairs]
    assert np.mean(np.array(errors) < 2.0) > 0.9


def test_heading_against_course_is_doubtful_and_clears() -> None:
    ticks = day(22, replace(CALM, heading=lambda t_s: 1.0, minutes=3.0))
    lying = altered(
        ticks,
        "heading_magnetic_rad",
        lambda t_s, v: (
            (v + min(80.0, max(0.0, t_s - 40.0) * 8.0) * DEG) % math.tau if 40.0 < t_s < 100.0 else v
        ),
    )
    states = {t.truth.t_s: b.heading_rad for t, b in zip(lying, run(lying), strict=True)}
    assert states[39.0].state == "ok"
    assert all(states[float(t)].state == "doubtful" for t in range(54, 100))
    assert "course" in states[60.0].cause
    assert states[130.0].state == "ok"


def test_rate_of_turn_sentences_help() -> None:
    ticks = day(23, turn_at(3.0))
    rot = [
        Tick(t.truth, (*t.readings, Reading(t.truth.t_s, "rate_of_turn_radps", 3.0 * DEG, "sim/ROT")))
        if 60.0 < t.truth.t_s < 116.0
        else Tick(t.truth, (*t.readings, Reading(t.truth.t_s, "rate_of_turn_radps", 0.0, "sim/ROT")))
        for t in ticks
    ]
    shown = [b for t, b in zip(rot, run(rot), strict=True) if 62.0 < t.truth.t_s < 110.0]
    assert max(abs(b.rate_of_turn_radps.value - 3.0 * DEG) for b in shown) < 0.5 * DEG
    assert shown[0].rate_of_turn_radps.source == "sim/HDG+ROT"
    alone = run(without(rot, "HDG"))[-60]
    assert alone.rate_of_turn_radps.source == "sim/ROT" and alone.rate_of_turn_radps.state == "ok"


def test_the_deviation_table_is_added_by_the_reading_and_round_the_circle() -> None:
    table = ((0.0, 4.0), (90.0, 0.0), (350.0, -6.0))
    magnetic, true = ("heading_magnetic_rad", "sim/HDG"), ("heading_true_rad", "sim/HDT")
    for at, added in ((0.0, 4.0), (45.0, 2.0), (90.0, 0.0), (350.0, -6.0), (355.0, -1.0), (359.9, 3.9)):
        assert heading.deviation_rad(magnetic, at * DEG, table) / DEG == pytest.approx(added, abs=1e-6)
    assert heading.deviation_rad(true, 1.0, table) == 0.0 == heading.deviation_rad(magnetic, 1.0, ())
    ticks = day(24, replace(CALM, heading=lambda t_s: 36.0 * DEG, minutes=0.5))  # 45 magnetic
    plain, swung = run(ticks)[-1], run(ticks, replace(CONFIG, compass_deviation=table))[-1]
    off = angle_error(swung.heading_rad.value, plain.heading_rad.value)
    assert off == pytest.approx(2.0 * DEG, abs=0.1 * DEG)


def test_a_preferred_source_speaks_first() -> None:
    ticks = day(25, replace(CALM, heading=lambda t_s: 1.0, minutes=1.0))
    both = [
        Tick(
            t.truth,
            (*t.readings, *(replace(r, source="two/HDG") for r in t.readings if r.source == "sim/HDG")),
        )
        for t in ticks
    ]
    assert run(both)[-1].heading_rad.source.startswith("sim/")
    assert run(both, replace(CONFIG, prefer=("two",)))[-1].heading_rad.source.startswith("two/")
    lost = [
        Tick(t.truth, tuple(r for r in t.readings if t.truth.t_s < 40 or r.source[:3] != "two")) for t in both
    ]
    assert run(lost, replace(CONFIG, prefer=("two",)))[-1].heading_rad.source.startswith("sim/")


def test_a_frozen_compass_is_noticed_and_the_course_stands_in() -> None:
    """It freezes at 100 s on a straight leg; the boat turns at 130 s. Nothing is learned from it, nothing lies."""
    sea = replace(turn_at(3.0, from_s=130.0, angle_deg=90.0), minutes=4.0)
    ticks = day(26, sea)
    held = [
        r.value for t in ticks for r in t.readings if r.quantity == "heading_magnetic_rad" and r.t_s < 100.0
    ][-1]
    states = {
        t.truth.t_s: (t.truth, b)
        for t, b in zip(
            ticks,
            run(altered(ticks, "heading_magnetic_rad", lambda t_s, v: held if t_s >= 100.0 else v)),
            strict=True,
        )
    }
    assert states[99.0][1].heading_rad.state == "ok"
    for t in range(120, 240):
        truth, boat = states[float(t)]
        h = boat.heading_rad
        assert h.state == "doubtful" and "compass frozen" in h.cause and h.source != "sim/HDG"
        assert abs(angle_error(h.value, truth.heading_rad)) < 3.2 * h.sigma + 6.0 * DEG
        assert boat.drift_mps.state != "ok"
