"""The recorder against disks that fill, fail, stall and come back; real files, faults before their operations."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from faulty_files import FaultyFiles, failing, slow
from outing_tools import inputs_at, only_outing, recorded, recorder

from assistant.messages import Event
from assistant.outings import recorder as module
from assistant.outings.entries import Told
from assistant.outings.recorder import Recorder
from assistant.outings.recording import Outing
from assistant.outings.store import folder_of, ids


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Syncs and retries twenty times as often."""
    monkeypatch.setattr(module, "SYNC_S", 0.075)
    monkeypatch.setattr(module, "RETRY_S", 0.1)


def until(condition: Callable[[], object], timeout_s: float = 20.0) -> None:
    """Wait until it is true."""
    end_s = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end_s, "not in time"
        time.sleep(0.01)


def feed(one: Recorder, ticks: range, pause_s: float = 0.0) -> None:
    """Some steps."""
    for tick in ticks:
        one.step(inputs_at(tick), framed=tick % 2 == 0)
        time.sleep(pause_s)


def test_what_was_recorded_is_read_again(tmp_path: Path) -> None:
    steps = [inputs_at(tick) for tick in range(100)]
    status = recorded(tmp_path, steps)
    outing = only_outing(tmp_path)
    assert status.recording
    assert outing.id == status.outing == "20260718-1"
    assert [inputs for inputs, _ in outing.steps()] == steps
    assert [framed for _, framed in outing.steps()] == [tick % 2 == 0 for tick in range(100)]
    found = outing.checked()
    assert (found.closed, found.entries, found.lost, found.dropped, found.seconds) == (True, 101, 0, 0, 24.75)


def test_told_only_once_it_is_on_the_disk(tmp_path: Path, hasty: None) -> None:
    files = FaultyFiles(fault=slow("sync", 0.3))
    one = recorder(tmp_path, files)
    until(lambda: one.status.recording)
    told = one.tell(Told(Event(0.0, "fish on", "P1")))
    said = Outing(folder_of(tmp_path, "20260718-1"))
    assert not told.done() or list(said.entries())
    number = told.result(5.0)
    assert all(files.saved[file] == files.written[file] for file in files.saved)
    said = Outing(folder_of(tmp_path, "20260718-1"))
    assert dict(said.entries())[number] == Told(Event(0.0, "fish on", "P1"))
    one.close(1.0)


def test_steps_never_wait_for_a_stalled_disk_and_the_status_tells(
    tmp_path: Path, hasty: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "SILENT_S", 0.3)
    stalls = [0.0]
    one = recorder(
        tmp_path, FaultyFiles(fault=lambda name, count: time.sleep(stalls[0] if name == "sync" else 0.0))
    )
    feed(one, range(10))
    until(lambda: one.status.recording)
    stalls[0] = 1.0
    began_s = time.monotonic()
    feed(one, range(10, 210))
    assert time.monotonic() - began_s < 0.5  # 200 steps while one sync takes 1 s
    until(lambda: one.status.reason == "the disk does not answer", 2.0)
    assert not one.status.recording
    stalls[0] = 0.0
    until(lambda: one.status.recording)
    one.close(1.0)
    assert only_outing(tmp_path).checked().entries == 211


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_a_full_or_failing_disk_is_said_and_nothing_is_lost_when_it_comes_back(
    tmp_path: Path, hasty: None, number: int
) -> None:
    files = FaultyFiles()
    one = recorder(tmp_path, files)
    feed(one, range(20))
    until(lambda: one.status.recording)
    files.fault = failing(0, 10**9, number)
    feed(one, range(20, 40))
    until(lambda: not one.status.recording)
    assert "injected" in one.status.reason
    feed(one, range(40, 60), 0.01)
    files.fault = failing(0, 0)
    until(lambda: one.status.recording)
    assert one.status.outing == "20260718-1"
    feed(one, range(60, 80))
    one.close(1.0)
    outing = only_outing(tmp_path)
    assert [inputs for inputs, _ in outing.steps()] == [inputs_at(tick) for tick in range(80)]
    found = outing.checked()
    assert (found.lost, found.dropped, found.damaged_places, found.closed) == (0, 0, 0, True)
    assert found.files == 2


@pytest.mark.parametrize("lasting", [1, 3, 10**9], ids=["once", "three times", "from then on"])
def test_any_operation_may_fail_and_nothing_false_is_told(tmp_path: Path, hasty: None, lasting: int) -> None:
    """Every operation in turn, by number, until a run needs no more of them (as SQLite is tested)."""
    at, reached = 1, True
    while reached and at < 60:
        root = tmp_path / str(at)
        files = FaultyFiles(fault=failing(at, at + lasting))
        one = recorder(root, files)
        told = []
        for tick in range(6):
            one.step(inputs_at(tick), framed=True)
            told.append(one.tell(Told(Event(tick * 0.25, "touch"))))
            time.sleep(0.004)
        ended = one.close(1.0)
        reached = files.count >= at
        promised = {future.result() for future in told if future.exception(5.0) is None}
        outings = [Outing(folder_of(root, name)) for name in ids(root)]
        present = {number for outing in outings for number, _ in outing.entries()}
        assert promised <= present, f"told saved, and is not: {promised - present} (operation {at})"
        assert all(outing.opening is not None for outing in outings if list(outing.entries()))
        if ended.recording:
            assert present == set(range(1, 14))
        at += 1
    assert at > 6 or lasting > 3


def test_what_is_too_much_for_memory_is_thrown_away_and_counted_but_no_event(
    tmp_path: Path, hasty: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MAX_UNSAVED_BYTES", 4000)
    files = FaultyFiles(fault=failing(0, 10**9))
    one = recorder(tmp_path, files)
    told = one.tell(Told(Event(0.0, "fish on", "S2")))
    feed(one, range(200), 0.002)
    until(lambda: one.status.dropped > 100)
    files.fault = failing(0, 0)
    until(lambda: one.status.recording)
    assert told.result(5.0) == 1
    one.close(50.0)
    outing = only_outing(tmp_path)
    found = outing.checked()
    assert found.dropped == one.status.dropped
    assert found.entries == 202 - found.dropped
    assert (found.lost, found.damaged_places, found.closed) == (0, 0, True)
    assert list(outing.events()) == [1]


def test_little_space_is_said_early(tmp_path: Path, hasty: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """100 MB at the usual 3 kB/s last 9 h, a GB 93 h."""
    monkeypatch.setattr(FaultyFiles, "free_bytes", lambda self, path: 100_000_000)
    one = recorder(tmp_path, FaultyFiles())
    until(lambda: one.status.recording)
    assert one.status.caution == "space for about 9 h of recording"
    one.close(0.0)
    monkeypatch.setattr(FaultyFiles, "free_bytes", lambda self, path: 1_000_000_000)
    one = recorder(tmp_path, FaultyFiles())
    until(lambda: one.status.recording)
    assert one.status.caution == ""
    one.close(0.0)


def test_an_outing_in_which_nothing_was_recorded_leaves_nothing(tmp_path: Path) -> None:
    one = recorder(tmp_path)
    until(lambda: one.status.recording)
    assert ids(tmp_path) == ["20260718-1"]
    one.close(0.0)
    assert ids(tmp_path) == []


def test_a_root_that_is_no_folder_is_said_and_nothing_stops(tmp_path: Path, hasty: None) -> None:
    (tmp_path / "file").write_text("x")
    one = recorder(tmp_path / "file" / "below")
    feed(one, range(5))
    until(lambda: one.status.reason not in ("", "starting"))
    assert not one.status.recording
    assert not one.close(1.0).recording
