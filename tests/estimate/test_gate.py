"""The gate: range, reach, agreement after a jump, recovery, and a source's own rhythm.

Numbers of the rules (2-of-3 after a jump, 10 good readings after a fault, 3 and 5 intervals) are the
project's own; the damaged-line test draws its own bytes.
"""

from __future__ import annotations

import functools
import operator

import numpy as np
import pytest
from estimate_days import DEG
from hypothesis import given
from hypothesis import strategies as st

from assistant.messages import Accepted, Reading
from assistant.sensing.nmea import QUANTITIES
from assistant.sensing.quality import FROZEN, RECOVERY, TABLE, GateState, gate


def feed(
    quantity: str, series: list[tuple[float, float]], state: GateState | None = None
) -> tuple[GateState, list[Accepted | None], list[str | None]]:
    state = state or GateState()
    accepted, reasons = [], []
    for t_s, value in series:
        state, good, reason = gate(state, Reading(t_s, quantity, value, "udp:1/XXX"))
        accepted.append(good)
        reasons.append(reason)
    return state, accepted, reasons


def steady(value: float, n: int, start_s: float = 0.0, every_s: float = 1.0) -> list[tuple[float, float]]:
    return [(start_s + k * every_s, value) for k in range(n)]


def test_every_row_is_a_quantity_that_is_decoded() -> None:
    assert set(TABLE) <= set(QUANTITIES)
    for row in TABLE.values():
        assert row.low < row.high and 0.0 < row.stale_s < row.dead_s and row.confirm >= 2


def test_first_value_needs_a_witness_and_is_then_trusted() -> None:
    _, accepted, reasons = feed("stw_mps", steady(1.2, 3))
    assert reasons == ["unconfirmed", None, None]
    assert [a.unproven for a in accepted if a] == [0, 0]


def test_first_value_wrong_is_never_shown() -> None:
    """A real log starts with a single 0.0 degC."""
    _, accepted, _ = feed("water_temp_c", [(0.0, 0.0), *steady(13.0, 4, 1.0)])
    assert {a.reading.value for a in accepted if a} == {13.0}


@pytest.mark.parametrize(
    ("quantity", "usual", "spike"),
    [
        ("water_temp_c", 18.0, 0.0),
        ("depth_below_transducer_m", 35.0, 3.5),
        ("stw_mps", 1.1, 11.0),
        ("sog_mps", 1.1, 9.0),
        ("heading_true_rad", 10 * DEG, 190 * DEG),
        ("lat_deg", 45.0, 44.0),
        ("lon_deg", -30.0, 30.0),
    ],
)
def test_single_spikes_never_pass(quantity: str, usual: float, spike: float) -> None:
    series = [(float(t), spike if t % 7 == 5 else usual) for t in range(60)]
    state, accepted, _ = feed(quantity, series)
    assert {a.reading.value for a in accepted if a} == {usual}
    assert all(a.unproven == 0 for a in accepted if a), "a refused spike is no fault of the next reading"
    assert state.rejects[quantity, "jump"] == 8


def test_two_of_three_confirm_a_real_jump_which_is_then_unproven_for_ten() -> None:
    series = [*steady(35.0, 10), *steady(12.0, 20, 10.0)]
    _, accepted, reasons = feed("depth_below_transducer_m", series)
    assert reasons[10:13] == ["jump", "jump", None]
    after = [a.unproven for a in accepted[12:] if a]
    assert after[: RECOVERY + 1] == [*range(RECOVERY - 1, -1, -1), 0]


def test_silence_is_a_fault_that_ten_good_readings_mend() -> None:
    series = [*steady(1.0, 10), *steady(1.0, 12, 16.0)]
    _, accepted, _ = feed("stw_mps", series)
    after = [a.unproven for a in accepted[10:] if a]
    assert after[0] == RECOVERY - 1 and after[RECOVERY - 2] == 1 and after[RECOVERY - 1] == 0


def test_a_sensor_that_mostly_disagrees_with_itself_is_never_trusted() -> None:
    rng = np.random.default_rng(3)
    series = [(float(t), float(rng.choice([14.0, 17.0, 20.0]))) for t in range(600)]
    _, accepted, _ = feed("water_temp_c", series)
    held = [a for a in accepted[60:] if a]
    assert sum(a.unproven > 0 for a in held) > 0.5 * len(held)


def test_a_minority_of_wrong_readings_does_no_harm() -> None:
    """One reading in four 2.5 degrees low, as on a real lake boat."""
    rng = np.random.default_rng(4)
    series = [(0.0, 20.0), (1.0, 20.0), (2.0, 20.0)]
    series += [(3.0 + t, 17.5 if rng.random() < 0.25 else 20.0) for t in range(600)]
    _, accepted, _ = feed("water_temp_c", series)
    assert {a.reading.value for a in accepted if a} == {20.0}
    assert all(a.unproven == 0 for a in accepted if a)


def test_limits_follow_a_slow_source() -> None:
    _, accepted, _ = feed("sog_mps", steady(1.0, 20, every_s=5.0))
    last = accepted[-1]
    assert last is not None and (last.stale_after_s, last.dead_after_s) == (15.0, 25.0)
    _, accepted, _ = feed("sog_mps", steady(1.0, 20, every_s=0.1))
    last = accepted[-1]
    assert last is not None and (last.stale_after_s, last.dead_after_s) == (4.0, 15.0)


def test_one_long_silence_does_not_stretch_the_limits() -> None:
    _, accepted, _ = feed("sog_mps", [*steady(1.0, 10), *steady(1.0, 3, 200.0)])
    last = accepted[-1]
    assert last is not None and last.stale_after_s == 4.0


def test_angles_and_longitudes_wrap() -> None:
    _, _, reasons = feed("heading_true_rad", [(0.0, 359 * DEG), (1.0, 1 * DEG), (2.0, 358 * DEG)])
    assert reasons == ["unconfirmed", None, None]
    _, _, reasons = feed("lon_deg", [(0.0, 179.9999), (1.0, -179.9999), (2.0, 179.9999)])
    assert reasons == ["unconfirmed", None, None]


def test_late_out_of_range_and_not_finite_are_named_and_counted() -> None:
    state, _, reasons = feed(
        "stw_mps", [(5.0, 1.0), (4.0, 1.0), (6.0, float("nan")), (7.0, -1.0), (float("inf"), 1.0)]
    )
    assert reasons == ["unconfirmed", "late", "not finite", "out of range", "not finite"]
    assert state.rejects == {
        ("stw_mps", "unconfirmed"): 1,
        ("stw_mps", "late"): 1,
        ("stw_mps", "not finite"): 2,
        ("stw_mps", "out of range"): 1,
    }


def test_a_state_once_returned_stays_as_it_was() -> None:
    state, _, _ = feed("stw_mps", steady(1.0, 5))
    before = (dict(state.channels), dict(state.rejects))
    feed("stw_mps", [(6.0, 9.0), (7.0, 1.0)], state)
    assert before == (dict(state.channels), dict(state.rejects))


@given(
    st.sampled_from(sorted(TABLE)),
    st.lists(st.tuples(st.floats(0.0, 100.0), st.floats(allow_nan=True, allow_infinity=True)), max_size=30),
)
def test_whatever_comes_only_values_in_range_pass(quantity: str, series: list[tuple[float, float]]) -> None:
    _, accepted, reasons = feed(quantity, series)
    row = TABLE[quantity]
    for good, reason in zip(accepted, reasons, strict=True):
        assert (good is None) != (reason is None)
        assert good is None or row.low <= good.reading.value <= row.high


def test_lines_damaged_so_that_the_checksum_still_holds_do_not_change_the_depth() -> None:
    """Digits of a depth changed two at a time so that their XOR stays: one bad line in 761 is so."""
    rng = np.random.default_rng(1)
    state, shown = GateState(), []
    text = b"0035.4"
    xor = functools.reduce(operator.xor, text)
    damaged = 0
    for t in range(4000):
        line = bytearray(text)
        if t % 8 == 4:
            a, b = rng.choice([0, 1, 2, 3, 5], 2, replace=False)
            flip = int(rng.integers(1, 8))
            line[a] ^= flip
            line[b] ^= flip
        assert functools.reduce(operator.xor, line) == xor
        if not line.replace(b".", b"").isdigit():
            continue
        damaged += bytes(line) != text
        reading = Reading(float(t), "depth_below_transducer_m", float(line), "udp:1/DPT")
        state, good, _ = gate(state, reading)
        if good is not None:
            shown.append(good.reading.value)
    assert damaged > 200
    assert max(abs(v - 35.4) for v in shown) <= 1.0 + 1.5 * 2.0 + 3.54, "never further than the table's reach"
    assert np.mean([abs(v - 35.4) > 0.05 for v in shown]) < 0.05


def test_a_number_that_never_changes_is_frozen_by_its_own_habits() -> None:
    """A log of 0.1 kn in waves repeats itself in four of ten readings, in a calm in nine of ten."""
    rng = np.random.default_rng(5)

    def log(share: float, n: int, start: int = 0) -> list[tuple[float, float]]:
        values, now = [], 1.0
        for _ in range(n):
            now = now if rng.random() < share else 1.05 if now == 1.0 else 1.0
            values.append(now)
        return [(float(start + k), v) for k, v in enumerate(values)]

    state, accepted, _ = feed("stw_mps", log(0.4, 2000))
    assert not any(a.doubt for a in accepted if a)
    _, stuck, _ = feed("stw_mps", steady(1.0, 60, 2000.0), state)
    first = next(k for k, a in enumerate(stuck) if a and a.doubt == FROZEN)
    assert 20 <= first <= 35
    state, _, _ = feed("stw_mps", log(0.9, 300), None)  # used to a calm
    state, calm, _ = feed("stw_mps", log(0.9, 2000, 300), state)
    assert np.mean([bool(a.doubt) for a in calm if a]) < 0.01
    _, zero, _ = feed("stw_mps", steady(0.0, 500))
    assert not any(a.doubt for a in zero if a), "at rest a log says 0 for hours"
    _, back, _ = feed("stw_mps", [*steady(1.0, 60), (60.0, 1.05), (61.0, 1.0)])
    assert back[59] is not None and back[59].doubt == FROZEN
    assert back[60] is not None and back[60].doubt == "" and back[60].unproven == RECOVERY - 1
