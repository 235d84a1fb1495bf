"""Events: what is understood, what it sets, that it is answered only when on the disk, and that it can be corrected."""

from __future__ import annotations

import asyncio
import errno
import json
import math
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from faulty_files import FaultyFiles, failing
from hypothesis import given
from hypothesis import strategies as st
from outing_tools import CONFIG, only_outing, recorder

from assistant.errors import OptionError
from assistant.inbox import Inbox
from assistant.messages import Event, Frame, Inputs, LineSetting, LineState, Q
from assistant.notes import kinds
from assistant.outings.happened import Happened
from assistant.outings.happenings import BEFORE_S, KINDS, Before, from_words, parse_event
from assistant.outings.recorder import Recorder
from assistant.web.settings import Refused

RODS = [rod.name for rod in CONFIG.rods]


def body(**said: object) -> bytes:
    """An event as it comes in."""
    return json.dumps(said).encode()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("fish on", {"kind": "fish on"}),
        ("S2 fish on", {"rod": "S2", "kind": "fish on"}),
        ("P1 line out 180 ft", {"rod": "P1", "kind": "line out", "value": "180 ft"}),
        ("R1 touch bottom", {"rod": "R1", "kind": "touch", "value": "bottom"}),
        ("P1 back as it was", {"rod": "P1", "kind": "back as it was"}),
        ("R1 speed 1.9mph", {"rod": "R1", "kind": "speed", "value": "1.9mph"}),
    ],
)
def test_words_as_typed(words: str, said: dict[str, object]) -> None:
    assert from_words(words.split(), kinds()) == said


@pytest.mark.parametrize("words", ["", "S2", "S2 P1 fish on", "fishing"])
def test_words_that_say_nothing(words: str) -> None:
    with pytest.raises(OptionError, match="KIND"):
        from_words(words.split(), kinds())


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"kind": "bite"}, "fish on"),
        ({"kind": "trip"}, "which rod"),
        ({"kind": "trip", "rod": "X9"}, "P1"),
        ({"kind": "fish on", "when": 1}, "field"),
        ({"kind": "fish on", "value": [1]}, "value"),
        ({"kind": "line out", "rod": "P1"}, "value"),
        ({"kind": "line out", "rod": "P1", "value": "900 ft or so"}, "ft"),
        ({"kind": "withdrawn"}, "number"),
        ({"kind": "fish on", "corrects": True}, "corrects"),
    ],
)
def test_what_is_wrong_is_named(said: dict[str, object], says: str) -> None:
    with pytest.raises(OptionError, match=says):
        parse_event(body(**said), RODS, kinds(), 0.0, "typed")


@given(
    st.binary(max_size=200)
    | st.recursive(st.none() | st.text() | st.floats(), st.lists).map(lambda v: json.dumps(v).encode())
)
def test_no_body_is_too_odd(data: bytes) -> None:
    with pytest.raises(OptionError):
        parse_event(data, RODS, kinds(), 0.0, "mqtt")


@given(
    st.sampled_from(sorted(KINDS)),
    st.sampled_from([None, "P1", 3]),
    st.floats() | st.text(max_size=9) | st.none(),
)
def test_any_event_is_taken_or_refused(kind: str, rod: object, value: object) -> None:
    said = {name: one for name, one in (("kind", kind), ("rod", rod), ("value", value)) if one is not None}
    try:
        asked = parse_event(body(**said), RODS, kinds(), 1.0, "mqtt")
    except OptionError:
        return
    assert asked.event.kind == kind
    assert asked.event.rod in (None, "P1")


def happened(root: Path, files: FaultyFiles | None = None) -> tuple[Happened, Inbox, Recorder]:
    """What takes events in, before a recorder."""
    one = recorder(root, files)
    inbox = Inbox(RODS, lambda: 7.0)
    return Happened(CONFIG.rods, CONFIG.bodies, inbox, one, lambda: 7.0), inbox, one


async def test_saved_with_its_number_and_set_on_the_rod(tmp_path: Path) -> None:
    taking, inbox, one = happened(tmp_path)
    first = await taking.asked(body(rod="S2", kind="fish on"))
    second = await taking.asked(body(rod="S2", kind="fish on"))
    out = await taking.asked(body(rod="P1", kind="line out", value="100 ft"))
    touch = await taking.asked(body(rod="R1", kind="touch", value="bottom"))
    numbers = [answer["saved"] for answer in (first, second, out, touch)]
    assert numbers == [1, 2, 3, 4]
    inputs = inbox.into(Inputs(7.25))
    assert [(s.rod, s.rod_state, s.line_out_m) for s in inputs.settings] == [
        ("S2", "fish on", None),
        ("S2", "fish on", None),
        ("P1", None, pytest.approx(30.48)),
    ]
    assert [(note.rod, note.kind, note.value) for note in inputs.notes] == [("R1", "touch", "bottom")]
    await asyncio.to_thread(one.close, 8.0)
    events = only_outing(tmp_path).events()
    assert [told.event.kind for told in events.values()] == ["fish on", "fish on", "line out", "touch"]


async def test_a_failing_disk_is_answered_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assistant.outings.happened.SAVED_WITHIN_S", 0.3)
    taking, inbox, one = happened(tmp_path, FaultyFiles(fault=failing(1, 10**9, errno.ENOSPC)))
    with pytest.raises(Refused, match="NOT RECORDING") as caught:
        await taking.asked(body(rod="S2", kind="trip"))
    assert caught.value.status == 503
    assert inbox.into(Inputs(7.25)).settings[0].tripped  # the lines go on
    await asyncio.to_thread(one.close, 8.0)


async def test_corrected_and_withdrawn(tmp_path: Path) -> None:
    taking, _, one = happened(tmp_path)
    for said in (
        {"kind": "fish on"},
        {"rod": "S1", "kind": "fish on", "corrects": 1},
        {"rod": "P1", "kind": "trip"},
        {"kind": "withdrawn", "corrects": 3},
    ):
        await taking.asked(body(**said))
    taking.heard(b"\xff")  # MQTT: counted, never raised
    await asyncio.to_thread(one.close, 8.0)
    assert {number: told.event for number, told in only_outing(tmp_path).events().items()} == {
        2: Event(7.0, "fish on", "S1", corrects=1)
    }


async def test_named_later_it_is_still_the_strike_it_was(tmp_path: Path) -> None:
    """A fish without a rod, named ten minutes on: time and the line's means are those of the strike."""
    now = [60.0]
    one = recorder(tmp_path)
    taking = Happened(CONFIG.rods, CONFIG.bodies, Inbox(RODS, lambda: now[0]), one, lambda: now[0])
    taking.before.add(frame(60.0, 20.0))
    await taking.asked(body(kind="fish on"))
    now[0] = 660.0
    taking.before.add(frame(660.0, 3.0))
    await taking.asked(body(kind="landed", rod="P1"))
    await taking.asked(body(kind="fish on", rod="S1", corrects=1))
    await taking.asked(body(kind="fish on", rod="P1", corrects=3))
    with pytest.raises(Refused, match="corrects 1: no event"):
        await taking.asked(body(kind="withdrawn", corrects=1))
    await asyncio.to_thread(one.close, 700.0)
    events = only_outing(tmp_path).events()
    assert [(n, told.event.kind, told.event.rod, told.event.t_s) for n, told in events.items()] == [
        (4, "fish on", "P1", 60.0),
        (2, "landed", "P1", 660.0),
    ]
    assert events[4].line == {"depth_m": 20.0}


async def test_what_did_not_happen_is_undone_on_the_rod(tmp_path: Path) -> None:
    """Unless something was set there since; line out and dial go back too."""
    taking, inbox, one = happened(tmp_path)
    rod = next(rod for rod in CONFIG.rods if rod.name == "P1")

    async def said(**what: object) -> list[tuple[str, object, object, object]]:
        await taking.asked(body(**what))
        settings = inbox.into(Inputs(7.25)).settings
        return [(s.rod, s.rod_state, s.line_out_m, s.tripped) for s in settings]

    assert await said(rod="S2", kind="fish on") == [("S2", "fish on", None, None)]
    assert await said(kind="withdrawn", corrects=1) == [("S2", "fishing", None, None)]
    await said(rod="P1", kind="line out", value="100 ft")
    assert await said(kind="withdrawn", corrects=3) == [("P1", None, rod.line_out_m, None)]
    assert await said(rod="S1", kind="fish on") == [("S1", "fish on", None, None)]
    assert await said(rod="P2", kind="fish on", corrects=5) == [
        ("S1", "fishing", None, None),
        ("P2", "fish on", None, None),
    ]
    await said(rod="P2", kind="landed")
    assert await said(kind="withdrawn", corrects=6) == []  # P2 is aboard by now
    await said(rod="C", kind="fish on")
    await said(rod="C", kind="fish on")
    await said(kind="withdrawn", corrects=10)
    assert await said(kind="withdrawn", corrects=9) == [("C", "fishing", None, None)]
    await asyncio.to_thread(one.close, 8.0)


async def test_what_is_set_or_noted_on_the_page_is_an_event_too(tmp_path: Path) -> None:
    taking, inbox, one = happened(tmp_path)
    taking.before.add(frame(7.0, 20.0))
    taking.changed(LineSetting(7.0, "P1", line_out_m=50.0, setting=1.5, rod_state="going out"))
    taking.changed(LineSetting(7.0, "S1", tripped=True, cleaned=False))
    taking.changed(LineSetting(7.0, "S1", tripped=False, cleaned=True))
    taking.noted(body(rod="R1", kind="speed", value=1.9, unit="mph", depth=20.0))
    taking.noted(body(rod="P1", kind="bend", value="soft"))
    with pytest.raises(Refused):
        taking.noted(body(rod="P1", kind="bend", value="purple"))
    inputs = inbox.into(Inputs(7.25))
    assert [(note.kind, note.rod) for note in inputs.notes] == [("ball_speed_mps", "R1"), ("bend", "P1")]
    assert [setting.rod for setting in inputs.settings] == ["P1", "S1", "S1"]
    await asyncio.to_thread(one.close, 8.0)
    told = only_outing(tmp_path).events().values()
    assert [(one.event.rod, one.event.kind, one.event.value) for one in told] == [
        ("P1", "line out", 50.0),
        ("P1", "setting", 1.5),
        ("P1", "rod state", "going out"),
        ("S1", "trip", None),
        ("S1", "re-armed", None),
        ("S1", "cleaned", None),
        ("R1", "speed", "1.9 mph"),
        ("P1", "bend", "soft"),
    ]
    assert next(iter(told)).line == {"depth_m": 20.0}


def frame(t_s: float, depth_m: float | None) -> Frame:
    """A Frame with one line."""
    dead = Q(None, None, None, "m", "dead", None, "x")
    depth = dead if depth_m is None else Q(depth_m, depth_m, depth_m, "m", "ok", 0.0, "x")
    return Frame(t_s, None, 0, "live", {}, {"P1": LineState(t_s, "P1", depth, dead, dead, dead, dead)})


def test_how_a_line_ran_before() -> None:
    """The mean of 45 s at 2 Hz of 0, 0.5, 1 ... : (t - 45 + t) / 2."""
    before = Before()
    for tick in range(400):
        before.add(frame(tick / 2, tick / 2))
    assert before.means("P1") == {"depth_m": pytest.approx(199.5 - BEFORE_S / 2)}
    assert before.means(None) == before.means("X") == {}
    before.add(frame(200.0, None))
    assert math.isfinite(before.means("P1")["depth_m"])


def test_marked_in_a_running_daemon_from_the_command_line(tmp_path: Path, root: Path) -> None:
    """`spreadwatch run` and `spreadwatch mark` as people start them; the outing is read when the first was killed."""
    port = "8970"
    command = [sys.executable, "-m", "assistant"]
    run = [
        *command,
        "run",
        "--source",
        "udp:48970",
        "--broker",
        "none",
        "--port",
        port,
        "--outings",
        str(tmp_path),
    ]
    process = subprocess.Popen(run, cwd=root, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
    try:
        assert process.stderr is not None
        said = next(line for line in process.stderr if line.startswith("page"))
        taken = said.split(":")[-1].split("/")[0]
        end_s = time.monotonic() + 60.0
        while time.monotonic() < end_s:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{taken}/api/frame", timeout=2.0).close()
                break
            except OSError:
                time.sleep(0.2)
        mark = [*command, "mark", "--port", taken, "S2", "fish", "on"]
        answer = subprocess.run(mark, cwd=root, capture_output=True, text=True, check=False, timeout=60)
        assert (answer.returncode, answer.stderr) == (0, "")
        number = int(answer.stdout.split()[-1])
    finally:
        process.send_signal(signal.SIGKILL)
        process.communicate()
    told = only_outing(tmp_path).events()[number]
    assert (told.event.rod, told.event.kind) == ("S2", "fish on")
    opening = only_outing(tmp_path).opening
    assert opening is not None
    assert opening.config == CONFIG
