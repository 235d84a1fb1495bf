"""The judge on whole tables: what counts as effort, what it says of the demo day, what it must never say.

Sources: effort counted by hand; t and normal laws from scipy; the demo day's course from the trade scenario.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest
import quiet_tables as tables
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.messages import RodState, Side
from assistant.outings import causes, quiet
from assistant.outings.day_claims import hot_rod_today, inside_and_outside
from assistant.outings.effort import Minute, Observed, RodMinute, Strike, effort, tabulate, worths
from assistant.outings.quantities import CAUSES, CHANCE, QUANTITIES, SOMETHING_ELSE
from assistant.outings.twins import twins


def test_effort_by_hand() -> None:
    """Two rods, four minutes; of eight rod-minutes three count and one nobody knows. 60 spread-minutes an hour."""
    good = RodMinute("A", "fishing", True, True)
    rows = [
        (good, replace(good, rod="B", dragging=True)),
        (good, replace(good, rod="B", at_band=None)),
        (replace(good, at_band=False), replace(good, rod="B", rod_state="going out")),
        (replace(good, tripped=True), replace(good, rod="B")),
    ]
    table = tabulate(Minute(60.0 * i, row) for i, row in enumerate(rows))
    struck = [Strike(150.0, "B"), Strike(185.0, "A")]
    sure = effort(table, worths(table, 0.0), struck)
    assert sure.hours == pytest.approx(3.0 / 2.0 / 60.0)
    assert sure.silent_hours == pytest.approx((1.0 - 5.0 / 60.0) * 0.5 / 60.0)
    assert (len(sure.at_hours), sure.off) == (0, 2)  # B was unknown the minute before, A not at its band
    unsure = effort(table, worths(table, 1.0), struck)
    assert unsure.hours == pytest.approx(4.0 / 2.0 / 60.0)
    assert (len(unsure.at_hours), unsure.off) == (1, 1)


def test_figures_of_a_plain_day() -> None:
    """Eight strikes, the last at 2.6 h, then an hour without: the table gives the closed form's 8.1 %."""
    struck = tables.strikes(10, 30, 50, 70, 90, 110, 130, 156)
    verdict = quiet.judge(tables.day(216), struck, 216 * 60.0)
    assert verdict.silence.hours == pytest.approx(3.6)
    assert verdict.silence.chance == pytest.approx(0.0808, abs=0.0001)
    assert (verdict.word, verdict.named) == ("usual", None)


@pytest.mark.parametrize(
    ("chance", "of_day", "word"),
    [
        (0.2, 0.9, "usual"),
        (0.04, 0.7, "usual"),  # most days show one this long
        (0.04, 0.3, "unusual"),
        (0.005, 0.3, "unusual"),
        (0.005, 0.05, "rare"),
        (math.nan, 0.05, "cannot tell"),
    ],
)
def test_both_chances_must_agree(chance: float, of_day: float, word: str) -> None:
    assert quiet.word_for(chance, of_day) == word


def test_without_a_strike_there_is_nothing_to_compare_with() -> None:
    verdict = quiet.judge(tables.demo_day(helpers=True), [], tables.clock(9, 30))
    assert verdict.word == "cannot tell" and verdict.named is None and verdict.silent_s is None
    assert quiet.spoken(verdict)[0].endswith("cannot tell what is usual today")
    empty = quiet.judge([], [], 0.0)
    assert empty.word == "cannot tell" and empty.differences == ()


def test_unknown_depths_that_decide_the_word_make_it_unknown() -> None:
    """If the silent minutes count the silence is odd, if not there was no effort: nobody can say."""
    rows = tables.day(300)
    blind = [
        replace(row, rods=tuple(replace(r, at_band=None) for r in row.rods)) if row.t_s > 9000.0 else row
        for row in rows
    ]
    struck = tables.strikes(*range(5, 150, 10))
    assert quiet.judge(rows, struck, 300 * 60.0).word == "rare"
    verdict = quiet.judge(blind, struck, 300 * 60.0)
    assert (verdict.silence.word, verdict.silence_if_not.word) == ("rare", "usual")
    assert verdict.word == "cannot tell"


def test_demo_day_with_helpers() -> None:
    rows = tables.demo_day(helpers=True)
    for minute in range(30, 190, 5):
        assert quiet.judge(rows, tables.DEMO_STRIKES, 60.0 * minute).word in ("usual", "cannot tell"), minute
    soon = quiet.judge(rows, tables.DEMO_STRIKES, tables.clock(8, 50))
    assert soon.word == "usual" and soon.named is None
    differ = {d.quantity: d for d in soon.differences if d.differs}
    assert {"pull_n", "rod_bend", "cable_lean_word"} <= set(differ)
    assert differ["cable_lean_word"].where == "page 08:48" and differ["pull_n"].where.startswith("load cell")
    assert differ["pull_n"].origin == "measured" and differ["rod_bend"].origin == "entered"
    later = quiet.judge(rows, tables.DEMO_STRIKES, tables.clock(10, 10))
    assert later.word == "unusual" and later.named == "lure speed"
    assert later.trial.do == "hold 200 for 15 min"  # the heading of the strikes: no deep current is known


def test_demo_day_without_helpers_cannot_tell() -> None:
    rows = tables.demo_day(helpers=False)
    for minute in range(30, 251, 10):
        verdict = quiet.judge(rows, tables.DEMO_STRIKES, 60.0 * minute)
        assert verdict.named is None
        assert quiet.spoken(verdict)[1] == "why: cannot tell"


def test_a_known_deep_current_is_steered_against() -> None:
    """Toward 063 at 10:10 by the scenario's clock; the answer is the opposite heading, and the lean says how much."""
    set_rad = 63.0 * tables.DEGREE

    def boat(m: int) -> Mapping[str, Observed]:
        lean = (15.0 if m < 145 else 10.0) + tables.ripple(m, 0.6)
        current = Observed(0.25, 0.05, "worked out", "bends and a touch", set_rad)
        return {
            "cable_lean_rad": tables.measured(lean * tables.DEGREE, 0.5 * tables.DEGREE, "lean sensor R1"),
            **({"deep_current": current} if m > 150 else {}),
        }

    verdict = quiet.judge(tables.day(250, boat), tables.DEMO_STRIKES, tables.clock(10, 10))
    assert verdict.trial.cause == "lure speed"
    assert verdict.trial.do == "hold 240 for 15 min"
    assert verdict.trial.expect == "cables should lean back 5 degrees more"


@settings(max_examples=40, deadline=None)
@given(at=st.lists(st.floats(0.0, 299.0), max_size=25), now=st.integers(0, 300))
def test_no_cause_from_strikes_alone(at: list[float], now: int) -> None:
    """With nothing measured or entered only chance and something else remain, and the latter keeps its fifth."""
    verdict = quiet.judge(tables.day(300), tables.strikes(*sorted(at)), 60.0 * now)
    assert verdict.named is None and set(verdict.beliefs) == {CHANCE, SOMETHING_ELSE}
    assert sum(verdict.beliefs.values()) == pytest.approx(1.0)
    assert verdict.beliefs[SOMETHING_ELSE] >= 0.2 - 1e-12


def one_quantity(m: int, change_min: int, rods: tuple[str, ...]) -> dict[str, dict[str, Observed]]:
    """Lure speed of every rod at one minute; those of `rods` slow down at `change_min`."""
    return {
        rod: {
            "lure_speed_mps": tables.measured(
                (0.65 if rod in rods and m >= change_min else 0.95) + tables.ripple(m + 7 * i, 0.03), 0.05
            )
        }
        for i, rod in enumerate(tables.RODS)
    }


STEADY = tuple(range(8, 170, 9))


def test_what_all_lines_share_is_named_and_what_one_line_has_is_not() -> None:
    """Nineteen strikes, then 80 min without; the change comes with the silence, on all lines or on one."""
    for rods, named in ((tables.RODS, "lure speed"), (("S2",), None)):
        rows = tables.day(250, rod=lambda m, r, rods=rods: one_quantity(m, 172, rods)[r])  # type: ignore[misc]
        verdict = quiet.judge(rows, tables.strikes(*STEADY), 250 * 60.0)
        slow = verdict.differences[0]
        assert slow.quantity == "lure_speed_mps" and slow.rods_differ == len(rods) and slow.rods_seen == 8
        assert slow.changed_since_s == pytest.approx(172 * 60.0, abs=180.0)
        assert verdict.named == named
        assert verdict.beliefs[SOMETHING_ELSE] >= 0.2 - 1e-12


def test_strikes_under_the_same_conditions_speak_against_a_cause() -> None:
    """The lures had been as slow before, and fish struck: chance again."""
    rows = tables.day(250, rod=lambda m, r: one_quantity(m if m > 60 else m + 200, 172, tables.RODS)[r])
    verdict = quiet.judge(rows, tables.strikes(*STEADY), 250 * 60.0)
    assert verdict.named is None


def test_two_changes_at_once_cannot_be_told_apart() -> None:
    def boat(m: int) -> Mapping[str, Observed]:
        change = 1.0 if m >= 172 else 0.0
        return {
            "lure_temp_c": tables.measured(10.0 + 5.0 * change + tables.ripple(m, 0.3), 0.3),
            "depth_m": tables.measured(18.0 - 7.0 * change + tables.ripple(m + 5, 0.4), 0.5),
        }

    verdict = quiet.judge(tables.day(250, boat), tables.strikes(*STEADY), 250 * 60.0)
    assert verdict.named is None
    assert {"lure depth", "temperature at the lures"} <= set(verdict.beliefs)
    assert verdict.trial.cause in ("lure depth", "temperature at the lures")


@settings(max_examples=20, deadline=None)
@given(order=st.permutations(tables.RODS), late=st.floats(-1e6, 1e6))
def test_order_of_rods_and_zero_of_time_do_not_matter(order: tuple[str, ...], late: float) -> None:
    late = round(late)
    rows = tables.demo_day(helpers=True)
    moved = [
        replace(row, t_s=row.t_s + late, rods=tuple(sorted(row.rods, key=lambda r: order.index(r.rod))))
        for row in reversed(rows)
    ]
    plain = quiet.judge(rows, tables.DEMO_STRIKES, tables.clock(9, 40))
    struck = [replace(s, t_s=s.t_s + late) for s in tables.DEMO_STRIKES]
    other = quiet.judge(moved, struck, tables.clock(9, 40) + late)
    assert other.beliefs == pytest.approx(plain.beliefs)
    assert other.silence.chance == pytest.approx(plain.silence.chance)
    assert (other.word, other.named, other.trial.do) == (plain.word, plain.named, plain.trial.do)


def test_what_is_no_number_is_not_seen() -> None:
    bad = {
        "lure_temp_c": tables.measured(math.nan, 0.1),
        "depth_m": tables.measured(5.0, 0.0),
        "light_log10": tables.measured(3.0, math.inf),
        "pull_n": tables.measured(-3.0, 1.0),
        "deep_current": tables.measured(0.3, 0.1),  # toward nowhere
        "moon": tables.measured(1.0, 0.1),
    }
    verdict = quiet.judge(tables.day(200, boat=lambda m: bad), tables.DEMO_STRIKES, 200 * 60.0)
    assert verdict.differences == ()
    with pytest.raises(ValueError, match="now_s"):
        quiet.judge([], [], math.nan)


def test_sigmas_are_as_rare_as_students_t() -> None:
    for dof in (1.0, 2.5, 6.0, 30.0):
        for t in (0.5, 2.0, 4.0, 8.0):
            wanted = stats.norm.isf(stats.t.sf(t, dof))
            found = float(causes.normal_sigmas(np.array(t), np.array(dof)))
            assert found == pytest.approx(wanted, rel=0.08 if dof < 2.0 else 0.02)


def test_nothing_differs_more_often_than_its_sigma_says() -> None:
    """Noise alone, strikes at random: two sigmas are passed on about one look in twenty, not more."""
    rng = np.random.default_rng(11)
    passed = []
    for _ in range(200):
        temps = 10.0 + rng.standard_normal(220)
        at = np.sort(rng.uniform(5.0, 200.0, 8))
        rows = tables.day(
            220, boat=lambda m, v=temps: {"lure_temp_c": tables.measured(v[m], 1e-3)}, rods=("A",)
        )
        found = causes.differences(tabulate(rows), tables.strikes(*at, rods=("A",)), quiet.DEFAULT_PRIOR)
        passed.append(found[0].differs)
    assert 0.01 <= np.mean(passed) <= 0.11  # 4 standard errors above 0.05


def test_a_word_of_the_crew_holds_for_an_hour() -> None:
    rows = tables.day(
        250, boat=lambda m: {"cable_lean_word": tables.entered(-1.0, "page")} if m == 150 else {}
    )
    seen = {
        minute: [
            d.quantity for d in quiet.judge(rows, tables.DEMO_STRIKES, 60.0 * minute).differences if d.differs
        ]
        for minute in (150, 160, 205, 225)
    }
    assert seen == {150: [], 160: ["cable_lean_word"], 205: ["cable_lean_word"], 225: []}


def test_rods_that_are_not_fishing_say_nothing() -> None:
    def state(m: int, rod: str) -> RodState:
        return "aboard" if rod == "S2" else "fishing"

    rows = tables.day(250, rod=lambda m, r: one_quantity(m, 172, ("S2",))[r], state=state)
    verdict = quiet.judge(rows, tables.strikes(*STEADY), 250 * 60.0)
    assert not any(d.differs and d.size > 1.0 for d in verdict.differences)


def test_on_the_water_there_are_words_and_no_figures() -> None:
    for minute in (100, 190, 240):
        verdict = quiet.judge(tables.demo_day(helpers=True), tables.DEMO_STRIKES, 60.0 * minute)
        text = " ".join(quiet.spoken(verdict))
        assert "%" not in text and "sigma" not in text
        assert verdict.word in text


def test_every_quantity_speaks_for_a_cause_that_has_a_test() -> None:
    assert {row.cause for row in QUANTITIES.values() if row.cause} == set(CAUSES)
    assert all(row.matters > 0.0 for row in QUANTITIES.values())
    assert all(0.0 < cause.chance < 1.0 and cause.minutes > 0.0 for cause in CAUSES.values())


def test_twins_tell_a_line_from_the_water() -> None:
    """What both lose is the water; what one loses is on its line. Strikes by the exact test, p by hand: 2 / 2^4."""

    def pulls(slowed: tuple[str, ...]) -> list[Minute]:
        def rod(m: int, name: str) -> Mapping[str, Observed]:
            pull = (40.0 if name in slowed and m >= 172 else 60.0) + tables.ripple(m + len(name), 1.0)
            return {
                "pull_n": tables.measured(pull + (2.0 if name == "P1" else 0.0), 1.5, f"load cell {name}")
            }

        return tables.day(250, rod=rod, rods=("P1", "S1"))

    struck = [Strike(60.0 * m, "P1") for m in (20, 60, 100, 140)]
    same = twins(tabulate(pulls(("P1", "S1"))), struck, 250 * 60.0, ("P1", "S1"))
    assert same.words.startswith("P1 and S1 run as alike as before")
    assert same.strikes.chance == pytest.approx(0.125)
    one = twins(tabulate(pulls(("P1",))), struck, 250 * 60.0, ("P1", "S1"))
    assert "pull on P1 32 % less against S1" in one.words  # (42 / 60) / (62 / 60) - 1
    assert one.differences[0].where == "load cell P1, load cell S1"
    with pytest.raises(ValueError, match="want two of"):
        twins(tabulate([]), struck, 0.0, ("P1", "S1"))


def test_inside_and_outside_lines_counted_by_hand() -> None:
    """Ten minutes to starboard, ten straight, ten to port; two rods a side, one astern, one of the five aboard."""
    turn = {0: 1.0, 1: 0.0, 2: -1.0}
    rows = tables.day(
        30,
        boat=lambda m: {"turn_side": tables.measured(turn[m // 10], 0.3)},
        state=lambda m, r: "aboard" if r == "P2" else "fishing",
        rods=("P1", "P2", "C", "S2", "S1"),
    )
    sides: dict[str, Side] = {"P1": "port", "P2": "port", "C": "centre", "S2": "starboard", "S1": "starboard"}
    struck = [Strike(60.0 * m, rod) for m, rod in ((5, "S1"), (6, "P1"), (15, "S1"), (25, "P1"), (26, "C"))]
    claim = inside_and_outside(tabulate(rows), struck, sides)
    assert (
        "inside 2 in 0.5 rod-hours, outside 1 in 0.5" in claim.words
    )  # 30 rod-minutes each: 20 + 10, 10 + 20
    assert claim.chance == pytest.approx(1.0)
    straight = inside_and_outside(tabulate(tables.day(30)), struck, sides)
    assert straight.words.startswith("cannot tell")


def test_hot_rod_of_a_day() -> None:
    """Four strikes on one of eight equal rods of ten: 21.7 % of days; strikes without a rod are left out."""
    struck = tables.strikes(20, 30, 40, 50, 60, 70) + [Strike(60.0 * m, "S1") for m in (80, 90, 100, 110)]
    claim = hot_rod_today(tabulate(tables.day(120)), [*struck, Strike(100 * 60.0)])
    assert claim.chance == pytest.approx(0.217, abs=0.001)
    assert claim.words.startswith("S1 led, and some rod always does")


@pytest.mark.parametrize(
    ("share", "factor", "named"), [(0.7, 2.0, None), (0.7, 4.0, "lure depth"), (0.45, 40.0, None)]
)
def test_a_cause_needs_belief_and_the_strikes(share: float, factor: float, named: str | None) -> None:
    """More than a half of the belief, and a factor of 2.5: idle on one day in eight, wrong on one in twenty."""
    assert causes.STRIKES_SPEAK == 2.5
    depth = causes.Difference(
        "depth_m", None, 18 + 0j, 12 + 0j, 6.0, 1.0, 5.0, 1, 1, "measured", "x", 0.0, factor
    )
    shares = {"lure depth": share, CHANCE: 0.8 - share, SOMETHING_ELSE: 0.2}
    assert causes.named([depth], shares) == named
    assert causes.named([], {CHANCE: 0.2, SOMETHING_ELSE: 0.8}) is None  # what nobody measured has no name


def test_a_drift_is_less_of_a_change_than_a_step() -> None:
    """Lures that rise slowly all day had been struck half way up already; those that rose at once had not."""

    def boat(step: bool) -> Callable[[int], Mapping[str, Observed]]:
        rise = (lambda m: 3.0 * (m >= 172)) if step else (lambda m: 6.0 * m / 250.0)
        return lambda m: {"depth_m": tables.measured(18.0 - rise(m) + tables.ripple(m, 0.3), 0.3)}

    drifted, stepped = (
        quiet.judge(tables.day(250, boat(step)), tables.strikes(*STEADY), 250 * 60.0)
        for step in (False, True)
    )
    assert stepped.differences[0].beyond == pytest.approx(3.0, abs=0.4)
    assert drifted.differences[0].beyond < 0.7 * abs(drifted.differences[0].now - drifted.differences[0].then)


def test_a_line_that_was_just_let_out_is_at_no_other_depth_yet() -> None:
    """W comes back after a fish and sinks for three minutes; that is no other depth than the fish struck at."""

    def rod(m: int, name: str) -> Mapping[str, Observed]:
        sinking = {171: 5.0, 172: 11.0, 173: 16.0}.get(m, 18.0) if name == "W" else 18.0
        return {"depth_m": Observed(sinking + tables.ripple(m + len(name), 0.3), 0.3, "worked out", "model")}

    def state(m: int, name: str) -> RodState:
        return "aboard" if name == "W" and 160 <= m < 171 else "fishing"

    rows = tables.day(190, rod=rod, state=state, rods=("W", "C"))
    for minute in range(172, 190):
        verdict = quiet.judge(rows[:minute], tables.strikes(*STEADY), minute * 60.0)
        assert not any(d.differs and d.rod == "W" for d in verdict.differences)
