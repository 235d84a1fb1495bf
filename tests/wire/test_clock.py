"""The replay clock on small logs whose right answer is plain, and UTC of a live run."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from wire_tools import summed

from assistant.sensing.clock import ReplayClock, Timed, replay_clock
from assistant.sensing.utc import UtcTracker


def rmc(clock: str, date: str = "180726", talker: str = "GP") -> str:
    return summed(f"{talker}RMC,{clock},A,4500.0,N,03000.0,W,1.8,200.0,{date},,")


def gll(clock: str) -> str:
    return summed(f"GPGLL,4500.0,N,03000.0,W,{clock},A")


VHW = summed("IIVHW,,T,200.0,M,1.8,N,,K")
DPT = summed("SDDPT,40.0,0.4,")


def timed(*texts: str) -> tuple[ReplayClock, list[Timed]]:
    clock = replay_clock(texts)
    return clock, list(clock)


def times(*texts: str) -> list[float]:
    return [item.t_s for item in timed(*texts)[1]]


def test_sentences_are_spread_evenly_between_marks() -> None:
    clock, items = timed(rmc("120000"), VHW, rmc("120001"), VHW, DPT, VHW, rmc("120003"))
    assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])
    assert items[1].utc == "2026-07-18T12:00:00.500Z"
    assert items[6].utc == "2026-07-18T12:00:03Z"
    assert (clock.source, any(i.gap for i in items)) == ("sentences", False)


def test_same_time_in_one_cycle_and_a_coarse_clock_are_no_new_marks() -> None:
    texts = [rmc("120000"), gll("120000"), rmc("120000"), gll("120000"), rmc("120002"), gll("120002")]
    assert times(*texts) == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])


def test_a_talker_that_lags_steps_nobody_back() -> None:
    """GLL a second behind RMC throughout, as some bridges do."""
    texts = [rmc("120001"), gll("120000"), rmc("120002"), gll("120001"), rmc("120003"), gll("120002")]
    assert times(*texts) == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])


def test_a_gap_advances_and_is_said() -> None:
    """The cycle before the gap keeps its pace, no frame belongs before the sentence that ends it."""
    texts = [rmc("120000"), VHW, rmc("120001"), VHW, rmc("120002"), VHW, rmc("120702"), VHW]
    _, items = timed(*texts)
    assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 302.0 + 120.0, 422.5])
    assert [i.gap for i in items] == [False] * 6 + [True, False]
    assert items[6].utc == "2026-07-18T12:07:02Z"


def test_sentences_that_go_on_while_no_time_is_said_are_in_the_gap() -> None:
    texts = [rmc("120000"), VHW, rmc("120001"), *[VHW] * 20, rmc("120301"), VHW]
    _, items = timed(*texts)
    assert items[-2].t_s == pytest.approx(181.0)
    assert [i.gap for i in items[3:8]] == [False, False, False, False, True]  # from two cycles on
    assert all(i.gap for i in items[7:-1])


@pytest.mark.parametrize("seconds", [60, 61])
def test_sixty_seconds_are_no_gap(seconds: int) -> None:
    texts = [rmc("120000"), rmc("120001"), rmc(f"1201{seconds - 59:02d}"), rmc(f"1201{seconds - 58:02d}")]
    _, items = timed(*texts)
    assert items[2].gap == (seconds > 60)
    assert items[2].t_s == pytest.approx(1.0 + seconds)


def test_file_time_may_step_back() -> None:
    """A log joined from two: t_s goes on at the usual pace, utc follows the file."""
    texts = [rmc("120000"), VHW, rmc("120001"), VHW, rmc("110000"), VHW, rmc("110001"), VHW]
    _, items = timed(*texts)
    assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5])
    assert items[4].utc == "2026-07-18T11:00:00Z"
    assert not any(i.gap for i in items)


def test_one_time_out_of_line_is_passed_over() -> None:
    for wrong in (rmc("200001"), rmc("010001"), rmc("120002", "180727")):
        texts = [rmc("120000"), VHW, rmc("120001"), VHW, wrong, VHW, rmc("120003"), VHW]
        _, items = timed(*texts)
        assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5])


def test_midnight_with_and_without_dates() -> None:
    texts = [rmc("235959"), gll("235959"), gll("000000"), rmc("000000", "190726"), rmc("000001", "190726")]
    _, items = timed(*texts)
    assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0])
    assert items[2].utc == "2026-07-19T00:00:00Z"
    assert times(gll("235959"), gll("000000"), gll("000001")) == pytest.approx([0.0, 1.0, 2.0])


def test_leap_second_goes_by() -> None:
    texts = [
        rmc("235959", "311216"),
        rmc("235960", "311216"),
        rmc("000000", "010117"),
        rmc("000001", "010117"),
    ]
    got = times(*texts)
    assert got[1] == pytest.approx(1.0)
    assert got[3] == pytest.approx(2.0)  # 86 400 and 0 are one instant, as POSIX time has it


def test_a_date_that_comes_late_does_not_jump() -> None:
    texts = [gll("120000"), gll("120001"), rmc("120002"), gll("120003")]
    _, items = timed(*texts)
    assert [i.t_s for i in items] == pytest.approx([0.0, 1.0, 2.0, 3.0])
    assert [i.utc for i in items] == [None, None, "2026-07-18T12:00:02Z", "2026-07-18T12:00:03Z"]


def test_implausible_date_leaves_utc_unknown_and_time_running() -> None:
    _, items = timed(rmc("120000", "060180"), VHW, rmc("120001", "060180"))
    assert [(i.t_s, i.utc) for i in items] == [(0.0, None), (0.5, None), (1.0, None)]


def test_before_the_first_time_said_the_usual_pace() -> None:
    _, items = timed(VHW, VHW, rmc("120000"), VHW, rmc("120001"), VHW)
    assert [i.t_s for i in items] == pytest.approx([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])
    assert [i.utc for i in items[:2]] == [None, None]


def test_no_time_at_all_is_assumed() -> None:
    clock, items = timed(DPT, VHW, VHW, DPT, VHW)
    assert clock.source == "assumed"
    assert [i.t_s for i in items if i.text == VHW] == pytest.approx([0.6, 1.6, 2.6])
    assert timed()[1] == []


def test_void_times_do_not_count() -> None:
    void = summed("GPRMC,120000,V,,,,,,,180726,,")
    assert timed(void, VHW, void, VHW)[0].assumed


CLOCKS = st.builds(
    lambda h, m, s: f"{h:02d}{m:02d}{s:02d}", st.integers(0, 23), st.integers(0, 59), st.integers(0, 60)
)
TEXTS = st.one_of(
    st.builds(rmc, CLOCKS, st.sampled_from(["180726", "190726", "010169", "000000"])),
    st.builds(gll, CLOCKS),
    st.sampled_from([VHW, DPT]),
)


@given(st.lists(TEXTS, max_size=30))
def test_whatever_the_file_says_time_runs_on(texts: list[str]) -> None:
    """Every sentence once, in order, t_s from 0 and strictly increasing."""
    items = list(replay_clock(texts))
    assert [item.text for item in items] == texts
    assert all(before.t_s < after.t_s for before, after in pairwise(items))
    assert not items or items[0].t_s == 0.0


# --- UTC of a live run --------------------------------------------------------------------------


def test_utc_is_carried_on() -> None:
    tracker = UtcTracker().observe(10.0, "2026-07-18T12:00:00Z")
    assert tracker.at(12.5) == "2026-07-18T12:00:02.500Z"
    assert UtcTracker().at(1.0) is None


def test_utc_holds_to_what_arrived_with_least_delay() -> None:
    tracker = UtcTracker().observe(10.0, "2026-07-18T12:00:00Z").observe(11.4, "2026-07-18T12:00:01Z")
    assert tracker.at(12.0) == "2026-07-18T12:00:02Z"
    assert tracker.observe(12.0, None, 12 * 3600.0 + 1.0).at(12.0) == "2026-07-18T12:00:02Z"
    assert tracker.observe(12.0, None, 12 * 3600.0 + 2.5).at(12.0) == "2026-07-18T12:00:02.500Z"


def test_utc_jumps_only_when_two_agree() -> None:
    tracker = UtcTracker().observe(10.0, "2026-07-18T12:00:00Z").observe(11.0, "2027-07-18T12:00:01Z")
    assert tracker.at(11.0) == "2026-07-18T12:00:01Z"
    assert tracker.observe(12.0, "2027-07-18T12:00:02Z").at(12.0) == "2027-07-18T12:00:02Z"
    assert tracker.observe(12.0, "2026-07-18T12:00:02Z").observe(13.0, "2027-07-18T12:00:03Z").at(13.0) == (
        "2026-07-18T12:00:03Z"
    )


def test_utc_before_the_earliest_is_not_believed() -> None:
    """A receiver whose week counter rolled over; a time of day alone brings no date."""
    tracker = UtcTracker(not_before="2026-01-01").observe(1.0, "2006-12-02T12:00:00Z").observe(2.0, None, 5.0)
    assert tracker.at(2.0) is None
    assert tracker.observe(3.0, "2026-07-18T12:00:00Z").at(3.0) == "2026-07-18T12:00:00Z"


def test_utc_time_of_day_over_midnight() -> None:
    tracker = UtcTracker().observe(0.0, "2026-07-18T23:59:59Z").observe(2.0, None, 1.5)
    assert tracker.at(2.0) == "2026-07-19T00:00:01.500Z"
