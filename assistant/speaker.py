"""Alerts spoken by the boat's own computer: `espeak-ng`, one sentence at a time, off unless boat.toml says `speak`.

Never in anybody's way: what cannot be spoken now is spoken when the last sentence is done, if it still stands then.
"""

from __future__ import annotations

import asyncio
import contextlib
import shutil
from collections.abc import Callable, Sequence

from assistant.messages import Alert

PROGRAM = "espeak-ng"
WORDS_A_MINUTE = 150
AGAIN_S = 300.0
"""The same cause is not spoken again sooner."""
LONGEST_S = 15.0  # a program that speaks for longer hangs


class Speaker:
    """Speaks the most urgent alert that may sound; `heard` with each Frame, `run` as one task.

    Args:
        wanted: without, nothing is ever said; now_s: t_s [s] of now.
    """

    def __init__(self, wanted: bool, now_s: Callable[[], float]) -> None:
        self._program = shutil.which(PROGRAM) if wanted else None
        self.state = f"{PROGRAM} is not installed" if wanted and self._program is None else ""
        self._now_s = now_s
        self._spoken_s: dict[str, float] = {}
        self._next: Alert | None = None
        self._wake = asyncio.Event()

    def heard(self, alerts: Sequence[Alert]) -> None:
        """The alerts as they stand. Never waits."""
        if self._program is None:
            return
        now_s = self._now_s()
        self._next = next((one for one in alerts if self._to_be_said(one, now_s)), None)
        if self._next is not None:
            self._wake.set()

    def _to_be_said(self, alert: Alert, now_s: float) -> bool:
        if alert.phase != "active" or not alert.audible or not alert.said:
            return False
        return now_s - self._spoken_s.get(alert.key, -AGAIN_S) >= AGAIN_S

    async def run(self) -> None:
        """Speak until cancelled."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            alert, self._next = self._next, None
            if alert is not None:
                self._spoken_s[alert.key] = self._now_s()
                await self._speak(alert.said)

    async def _speak(self, words: str) -> None:
        assert self._program is not None
        try:
            process = await asyncio.create_subprocess_exec(
                self._program, "-s", str(WORDS_A_MINUTE), "--", words,
                stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL,
                start_new_session=True,
            )  # fmt: skip
        except OSError as error:
            self.state = f"{PROGRAM}: {error.strerror}"
            return
        try:
            async with asyncio.timeout(LONGEST_S):
                code = await process.wait()
            self.state = "" if code == 0 else f"{PROGRAM} ended with {code}"
        except TimeoutError:
            self.state = f"{PROGRAM} does not end"
        finally:
            if process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    process.kill()
                await process.wait()
