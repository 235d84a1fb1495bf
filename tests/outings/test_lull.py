"""The judge beside the flow: fed by Frames and events, replayed to the byte, heard over the page's payload."""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from quiet_tables import RODS
from test_quiet_minutes import frame, q
from test_replay_outing import as_replayed, replayed, scripted

from assistant import config, payloads, pipeline
from assistant.messages import Event, Frame, Inputs, Q, Seen
from assistant.outings import logbook, lull, store
from assistant.outings.effort import Minute, Observed, RodMinute, tabulate
from assistant.outings.entries import Told
from assistant.outings.growing import HOLD_ROWS, grown
from assistant.outings.lull import Lull
from assistant.outings.quiet import judge

CONFIG = config.load()


def some_minutes(seed: int, count: int) -> list[Minute]:
    """Rows in which everything comes and goes."""
    rng = random.Random(seed)
    names = ["pull_n", "rod_bend", "touch_m", "depth_m", "cable_lean_word"]

    def seen(chance: float, among: list[str]) -> dict[str, Observed]:
        return {
            name: Observed(
                rng.uniform(0.5, 2.0), 0.1, rng.choice(["measured", "entered"]), f"w{rng.random()}"
            )  # type: ignore[arg-type]
            for name in among
            if rng.random() < chance
        }

    def rod(name: str) -> RodMinute:
        state = rng.choice(["fishing", "aboard"])
        return RodMinute(name, state, rng.choice([True, False, None]), True, seen=seen(0.03, names))  # type: ignore[arg-type]

    boat = ["heading_rad", "water_temp_c", "water_speed_mps"]
    return [Minute(60.0 * m, tuple(rod(r) for r in RODS), seen(0.3, boat)) for m in range(count)]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_growing_table_is_the_whole_one(seed: int) -> None:
    rows = some_minutes(seed, 150)
    table = None
    for n in range(1, len(rows) + 1):
        table = grown(table, rows[max(0, n - HOLD_ROWS) : n])
    whole = tabulate(rows)
    assert table is not None
    assert (table.rods, list(table.tracks)) == (whole.rods, list(whole.tracks))
    for name in ("t_s", "workable", "effective"):
        assert np.array_equal(getattr(table, name), getattr(whole, name), equal_nan=True)
    for name, track in whole.tracks.items():
        assert np.array_equal(table.tracks[name].value, track.value, equal_nan=True)
        assert np.array_equal(table.tracks[name].sigma, track.sigma, equal_nan=True)
        assert list(table.tracks[name].where) == list(track.where)


def told(
    t_s: float, kind: str = "fish on", rod: str | None = "W", number: int | None = None, **more: int
) -> Event:
    """Something the crew told."""
    return Event(t_s, kind, rod, number=number, **more)  # type: ignore[arg-type]


def run(events: list[Event], minutes: int) -> tuple[Lull, list[Frame]]:
    """A Frame every 5 s of one rod fishing well."""
    state, frames = Lull(), []
    for tick in range(12 * minutes):
        t_s = 5.0 * tick
        state = lull.heard(state, [e for e in events if t_s - 5.0 < e.t_s <= t_s])
        one = frame(t_s, {"heading_rad": q(1.0)}, q(20.0), q(1.0))
        state = lull.look(state, CONFIG, one)
        frames.append(replace(one, quiet=state.quiet))
    return state, frames


def test_silent_until_the_first_strike_then_as_the_judge_says() -> None:
    events = [told(60.0 * m, number=m) for m in (5, 12, 20, 31, 38, 50)]
    state, frames = run(events, 180)
    assert all(f.quiet is None for f in frames if f.t_s < 300.0)
    assert state.quiet is not None
    assert state.quiet.strike_s == 3000.0
    words = [f.quiet.word for f in frames if f.quiet is not None]
    assert words[0] == "usual"
    assert words[-1] == "rare"
    minutes = [Minute(60.0 * m, (RodMinute("W", "fishing", True, True),)) for m in range(179)]
    independent = judge(minutes, lull.strikes(events), 179 * 60.0)
    assert frames[-1].quiet is not None
    assert (frames[-1].quiet.word, independent.word) == ("rare", "rare")


def test_corrections_and_withdrawals_count() -> None:
    events = [told(300.0, number=7), told(600.0, number=8), told(900.0, "withdrawn", None, 9, corrects=8)]
    state, _ = run(events, 20)
    assert [e.number for e in state.told] == [7]
    state, _ = run([*events, told(1000.0, rod="P1", number=10, corrects=7)], 20)
    assert [(e.number, e.rod) for e in state.told] == [(10, "P1")]
    assert state.quiet is not None
    assert state.quiet.strike_s == 300.0  # whose fish it was is said later; when it was, is not


def test_a_touch_of_a_weighted_line_is_in_the_table() -> None:
    touch = {"touch": Seen(Q(1.0, None, None, "", "ok", 10.0, "typed"), "bottom")}
    frames = [frame(t, {"water_depth_m": q(31.0)}, q(26.0, 2.0), seen=touch) for t in (0.0, 2.0, 4.0)]
    row = lull.minute_of(frames, CONFIG.alerts, {"W"})
    assert row.rods[0].seen["touch_m"].value == pytest.approx(-5.0)
    assert row.rods[0].seen["touch_m"].sigma == pytest.approx(math.hypot(2.0, 0.1, 1.0))
    assert "touch_m" not in lull.minute_of(frames, CONFIG.alerts).rods[0].seen
    assert lull.weighted(CONFIG) == {"W", "C", "R1", "R2"}


def test_what_was_told_live_is_replayed_to_the_byte(tmp_path: Path) -> None:
    """Two minutes with strikes, one of them withdrawn, through flow and recorder, against the replay."""
    one = logbook.begun(tmp_path, CONFIG, "live")
    state = pipeline.initial(CONFIG, "live")
    frames: list[bytes] = []
    script = [
        (41, told(10.2)),
        (100, told(24.9, rod=None)),
        (200, told(49.0, "withdrawn", None)),
        (350, told(87.0, rod="C")),
    ]
    numbers: list[int | None] = []
    base = scripted()
    for tick in range(560):
        t_s = tick * 0.25
        events = []
        for at, event in script:
            if at == tick:
                event = replace(event, corrects=numbers[1]) if event.kind == "withdrawn" else event
                one.tell(Told(event)).result(5.0)
                numbers.append(one.number)
                events.append(replace(event, t_s=t_s, number=one.number))
        inputs = (
            replace(base[tick % 40], t_s=t_s, events=tuple(events))
            if tick < 40
            else Inputs(t_s, events=tuple(events))
        )
        one.step(inputs, framed=tick % 2 == 0)
        if tick % 2:
            state = pipeline.advance(state, inputs)
        else:
            state, made = pipeline.step(state, inputs)
            frames.append(as_replayed(made))
    one.close(140.0)
    (name,) = store.ids(tmp_path)
    assert json.loads(frames[-1])["quiet"]["strike_s"] == 87.5
    assert "quiet" not in json.loads(frames[10])
    assert replayed(tmp_path / name) == frames


def test_it_is_published() -> None:
    _, frames = run([told(300.0)], 10)
    assert b'"word":"usual"' in payloads.topic_messages(frames[-1])["quiet"][0]
    assert "quiet" not in payloads.topic_messages(frames[0])


def test_minutes_since_a_line_was_clean_are_as_told() -> None:
    """Cleaned, checked or aboard; of a line of which nobody told there are none."""
    events = [told(605.0, "cleaned", "W", 1), told(700.0, number=2)]
    state, _ = run(events, 20)
    assert state.table is not None
    track = state.table.tracks["fouling_min"]
    value = track.value[:, 0].real
    assert all(math.isnan(one) for one in value[:10])
    assert value[10] == pytest.approx((658.0 - 605.0) / 60.0, abs=0.1)
    assert value[18] - value[10] == pytest.approx(8.0, abs=0.1)
    assert track.origin == "entered"
    never, _ = run([told(700.0, number=2)], 20)
    assert never.table is not None
    assert "fouling_min" not in never.table.tracks
