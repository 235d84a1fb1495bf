"""A line whose pull jumped: seen within minutes, and not for what comes to all lines."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
import pytest
from quiet_tables import day

from assistant.messages import RodState
from assistant.outings.effort import Observed, tabulate
from assistant.outings.suspects import Suspect, suspects

MEASURED = ("P1", "S1", "S2")


def found(
    pull: Callable[[int, str], float],
    minutes: int = 120,
    heading_deg: Callable[[int], float] = lambda m: 30.0 + 15.0 * math.sin(m / 1.3),
    state: Callable[[int, str], RodState] = lambda m, r: "fishing",
    seed: int = 1,
) -> tuple[Suspect, ...]:
    """Suspects at the end of a day with load cells on three rods; `pull` in units of what is worked out."""
    rng = np.random.default_rng(seed)

    def rod(m: int, r: str) -> Mapping[str, Observed]:
        if r not in MEASURED:
            return {}
        noisy = 10.0 * pull(m, r) * math.exp(0.05 * rng.standard_normal())
        return {
            "pull_n": Observed(noisy, 1.0, "measured", f"load cell {r}"),
            "worked_pull_n": Observed(10.0, 1.0, "worked out", "VHW"),
        }

    def boat(m: int) -> Mapping[str, Observed]:
        return {"heading_rad": Observed(math.radians(heading_deg(m)), 0.03, "measured", "HDG")}

    return suspects(tabulate(day(minutes, boat, rod, state)))


def test_a_fish_towed_on_one_line() -> None:
    (one,) = found(lambda m, r: 1.5 if r == "S2" and m >= 100 else 1.0)
    assert (one.rod, one.factor) == ("S2", pytest.approx(1.5, abs=0.1))
    assert one.since_s == pytest.approx(6000.0, abs=240.0)
    assert "dragging" in one.words


def test_a_planer_that_let_go() -> None:
    (one,) = found(lambda m, r: 0.4 if r == "P1" and m >= 105 else 1.0)
    assert (one.rod, "tripped" in one.words) == ("P1", True)


def test_water_that_changes_for_all_is_no_suspicion() -> None:
    assert found(lambda m, r: 0.6 if m >= 100 else 1.0) == ()


def test_nor_is_a_slow_change_or_a_turn() -> None:
    assert found(lambda m, r: math.exp(0.004 * m) if r == "S2" else 1.0) == ()
    turned = found(
        lambda m, r: 1.4 if r == "S2" and m >= 100 else 1.0, heading_deg=lambda m: 200.0 if m < 100 else 30.0
    )
    assert turned == ()


def test_it_is_over_when_the_line_was_looked_at_or_the_pull_goes_back() -> None:
    def aboard(m: int, r: str) -> RodState:
        return "aboard" if r == "S2" and 110 <= m < 114 else "fishing"

    def dragged(m: int, r: str) -> float:
        return 1.5 if r == "S2" and 100 <= m < 110 else 1.0

    assert found(dragged, state=aboard) == ()
    assert found(dragged) == ()


def test_chance_raises_none() -> None:
    """15 days of plain noise, three lines each."""
    assert sum(len(found(lambda m, r: 1.0, seed=seed)) for seed in range(15)) == 0


def test_nothing_measured_nothing_suspected() -> None:
    assert suspects(tabulate(day(60))) == ()
    assert suspects(tabulate([])) == ()
