"""What a boat's turns cost it is learned from its turns: against boats whose loss is known because it was put in."""

from __future__ import annotations

import math

import numpy as np
import pytest

from assistant.ahead.learning import PRIOR_S, PRIOR_SIGMA_S, Learned, learned
from assistant.ahead.manoeuvre import SPEED_SHARE, Response, Start, as_meant, drawn, planned, ways
from assistant.ahead.steering import Helm, watched
from assistant.messages import Estimate

DT = 0.25


def sailed(loss_s: float, turns: int, rng: np.random.Generator, throttle: float = SPEED_SHARE) -> Learned:
    """What is learned on a boat that loses so much: straights of 60 s, turns of 40 s at 0.7-3 deg/s.

    Speed answers as a first-order lag of 6 s, waves and sensor add noise, and the throttle is not kept quite still.
    """
    helm, known = Helm(), Learned()
    heading, speed, t_s = 1.0, 1.0, 0.0
    for _ in range(turns):
        rate = math.radians(rng.uniform(0.7, 3.0)) * rng.choice([-1.0, 1.0])
        touched = 1.0 + throttle * rng.standard_normal()
        for r, wanted, seconds in (
            (0.0, 1.0, 60.0),
            (rate, touched * (1.0 - loss_s * abs(rate)), 40.0),
            (0.0, 1.0, 30.0),
        ):
            for _ in range(round(seconds / DT)):
                t_s += DT
                heading += r * DT
                speed += (wanted - speed) * DT / 6.0
                seen = Estimate((heading + 0.01 * rng.standard_normal()) % math.tau, 0.01, "ok", 0.1, "test")
                stw = Estimate(speed * (1.0 + 0.02 * rng.standard_normal()), 0.03, "ok", 0.1, "test")
                helm = watched(helm, t_s, seen)
                known = learned(known, helm, t_s, DT, stw)
    return known


def test_the_prior_is_wide_and_turns_narrow_it() -> None:
    rng = np.random.default_rng(4)
    some = sailed(4.0, 12, rng)
    assert some.turns >= 10
    assert some.sigma_s < 0.5 * PRIOR_SIGMA_S
    assert abs(some.loss_s - 4.0) < 2.5 * some.sigma_s + 0.3
    assert Learned().response().loss_s == PRIOR_S and Learned().response().loss_sigma_s == PRIOR_SIGMA_S


def test_what_is_learned_holds_the_truth_as_often_as_it_says() -> None:
    """24 boats drawn from the prior, 3 turns each: 1.28 sigma hold 80 %, so 14 of 24 or more (binomial, 99 %)."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(24):
        loss = max(0.0, PRIOR_S + PRIOR_SIGMA_S * rng.standard_normal())
        known = sailed(loss, 3, rng)
        held += abs(known.loss_s - loss) <= 1.2815515655 * known.sigma_s
    assert held >= 14


def test_a_boat_that_gathers_way_in_its_turn_was_throttled_and_teaches_nothing() -> None:
    rng = np.random.default_rng(5)
    assert sailed(-10.0, 3, rng, throttle=0.0).loss_s == pytest.approx(PRIOR_S, abs=1.5)
    known = sailed(2.0, 2, rng)
    lost = learned(known, Helm(), 1e6, DT, Estimate())
    assert (lost.loss_s, lost.turns, lost.before_mps) == (known.loss_s, known.turns, None)


def test_a_loss_that_is_not_known_well_spreads_the_boats() -> None:
    turn = planned(math.pi, math.radians(3.0))
    many = Start(np.zeros(33), np.zeros(33), np.ones(33), 0.0)
    wide = ways(turn, Response(loss_s=3.0, loss_sigma_s=1.5), drawn(turn, 0), many, 0.25, 120)
    assert np.std(wide.speed_mps[100]) > 0.02
    assert wide.speed_mps[100, 0] == pytest.approx(1.0 - 3.0 * math.radians(3.0), abs=0.01)
    one = Start(np.zeros(1), np.zeros(1), np.ones(1), 0.0)
    meant = ways(turn, Response(loss_s=3.0, loss_sigma_s=1.5), as_meant(turn), one, 0.25, 120)
    assert np.allclose(meant.speed_mps[:, 0], wide.speed_mps[:, 0])
