"""Alerts spoken by a program of the machine: a stand-in here that writes down what it is given."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.messages import Alert
from assistant.speaker import AGAIN_S, Speaker

TOUCH = Alert(
    10.0, "bottom C", "C", "warning", "C on bottom in 70 s", "active", said="C on bottom in seventy seconds"
)
SLOW = Alert(11.0, "lure slow", None, "caution", "all lines slow", "active", said="all lures slow")

pytestmark = pytest.mark.asyncio


class Clock:
    """A time that the test sets."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def stand_in(folder: Path, monkeypatch: pytest.MonkeyPatch, then: str = "") -> Path:
    """A program of that name on the path; what it was told to say, a line each."""
    said, program = folder / "said", folder / "espeak-ng"
    program.write_text(f'#!/bin/sh\nfor word; do last="$word"; done\necho "$last" >> {said}\n{then}\n')
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:/usr/bin:/bin")
    return said


async def spoken(speaker: Speaker, said: Path, wanted: int) -> list[str]:
    """What was said, once there are so many sentences or none came for a second."""
    task = asyncio.create_task(speaker.run())
    for _ in range(50):
        await asyncio.sleep(0.05)
        if said.exists() and len(said.read_text().splitlines()) >= wanted:
            break
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    return said.read_text().splitlines() if said.exists() else []


async def test_the_most_urgent_is_said_once_in_five_minutes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said, clock = stand_in(tmp_path, monkeypatch), Clock()
    speaker = Speaker(True, clock)
    speaker.heard([TOUCH, SLOW])
    assert await spoken(speaker, said, 1) == [TOUCH.said]
    speaker.heard([TOUCH, SLOW])
    assert await spoken(speaker, said, 2) == [TOUCH.said, SLOW.said]
    clock.now_s += AGAIN_S - 1.0
    speaker.heard([TOUCH])
    assert len(await spoken(speaker, said, 3)) == 2
    clock.now_s += 2.0
    speaker.heard([TOUCH])
    assert (await spoken(speaker, said, 3))[-1] == TOUCH.said


async def test_what_is_silent_seen_or_gone_is_not_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = stand_in(tmp_path, monkeypatch)
    speaker = Speaker(True, Clock())
    speaker.heard(
        [
            replace(TOUCH, audible=False),
            replace(TOUCH, phase="acknowledged"),
            replace(TOUCH, phase="gone"),
            replace(TOUCH, said=""),
        ]
    )
    assert await spoken(speaker, said, 1) == []
    quiet = Speaker(False, Clock())
    quiet.heard([TOUCH])
    assert await spoken(quiet, said, 1) == []
    assert quiet.state == ""


async def test_without_the_program_or_when_it_fails_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert Speaker(True, Clock()).state == "espeak-ng is not installed"
    said = stand_in(tmp_path, monkeypatch, then="exit 3")
    speaker = Speaker(True, Clock())
    speaker.heard([TOUCH])
    task = asyncio.create_task(speaker.run())
    for _ in range(60):
        await asyncio.sleep(0.05)
        if speaker.state:
            break
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert said.read_text().splitlines() == [TOUCH.said]
    assert speaker.state == "espeak-ng ended with 3"
