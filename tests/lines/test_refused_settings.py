"""Operator's input that fits no rod of the configuration, as a recording of another one may hold, moves no line.

Source of the expected numbers: the same run without that input, bit for bit.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from live_tools import Live

from assistant.config import load
from assistant.configured import Config, Rod
from assistant.lines.refusals import CHECKS, refusal
from assistant.messages import LineSetting


@pytest.fixture(scope="module")
def config() -> Config:
    """Two rods with planers, one dial of numbers and one of labels, and one without a dial."""
    loaded = load()
    rods = {rod.name: rod for rod in loaded.rods}
    labelled = [
        replace(part, body="disc-labels", setting="1") if part.body == "disc-large" else part
        for part in rods["S1"].rig
    ]
    return replace(loaded, rods=(rods["P2"], rods["C"], replace(rods["S1"], rig=tuple(labelled))))


BAD = (
    ({"rod": "gone", "line_out_m": 30.0}, "rod not rigged"),
    ({"rod": "S1", "setting": "Z"}, "setting not on the dial"),
    ({"rod": "S1", "setting": 1.5}, "setting not on the dial"),
    ({"rod": "P2", "setting": "A"}, "setting not on the dial"),
    ({"rod": "P2", "setting": math.nan}, "setting not on the dial"),
    ({"rod": "P2", "setting": 9.0}, "setting not on the dial"),
    ({"rod": "C", "setting": 1.0}, "setting not on the dial"),
    ({"rod": "C", "line_out_m": -3.0}, "line out not on the counter"),
    ({"rod": "C", "line_out_m": math.inf}, "line out not on the counter"),
    ({"rod": "C", "line_out_m": 10**400}, "line out not on the counter"),
    ({"rod": "C", "line_out_m": "far"}, "line out not on the counter"),
    ({"rod": "C", "rod_state": "asleep"}, "rod state unknown"),
    ({"rod": "P2", "tripped": 1}, "tripped neither yes nor no"),
    ({"rod": "P2", "cleaned": "often"}, "cleaned neither yes nor no"),
)


def test_refused_and_counted(config: Config) -> None:
    quiet, told = Live(config, 1.0), Live(config, 1.0)
    for change, reason in BAD:
        bad = LineSetting(told.t_s, **change)  # type: ignore[arg-type]
        assert refusal(config, bad) == reason, change
        quiet.tick(())
        told.tick((bad,))
    assert told.lines() == quiet.lines()
    assert sum(told.state.refused.values()) == len(BAD)
    assert set(told.state.refused) == {reason for _, reason in BAD}
    told.run(0.5, LineSetting(told.t_s, "P2", rod_state="fish on"))
    told.state = replace(told.state, motion=None)  # no boat for a while: what was counted stays
    told.tick(())
    assert sum(told.state.refused.values()) == len(BAD)


def test_a_label_may_come_as_a_number(config: Config) -> None:
    by_label, by_number = Live(config, 1.0), Live(config, 1.0)
    by_label.run(2.0, LineSetting(0.0, "S1", setting="2"))
    by_number.run(2.0, LineSetting(0.0, "S1", setting=2.0))
    assert by_number.state.refused == {}
    assert by_number.lines() == by_label.lines()


ANYTHING = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=4),
    st.sampled_from(["A", "fishing", "0"]),
)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    rod=st.sampled_from(["P2", "C", "S1", "?"]), values=st.fixed_dictionaries(dict.fromkeys(CHECKS, ANYTHING))
)
def test_nothing_crashes_the_lines(live: Live, rod: str, values: dict[str, object]) -> None:
    change = LineSetting(live.t_s, rod, **values)  # type: ignore[arg-type]
    before = live.state.refused
    live.tick((change,))
    taken = refusal(live.config, change) is None
    assert (sum(live.state.refused.values()) == sum(before.values())) == taken
    assert all(
        line.depth_m.value is None or math.isfinite(line.depth_m.value) for line in live.lines().values()
    )


@pytest.fixture(scope="module")
def live(config: Config) -> Live:
    return Live(config, 1.0)


def test_every_rod_takes_its_own_settings_again(config: Config) -> None:
    """What the configuration says is never refused."""
    rods: tuple[Rod, ...] = (*config.rods, *load().rods)
    for rod in rods:
        dial = next((part.setting for part in rod.rig if part.setting is not None), None)
        change = LineSetting(0.0, rod.name, rod.line_out_m, dial, rod.rod_state, False, True)
        assert refusal(replace(config, rods=(rod,)), change) is None, rod.name
