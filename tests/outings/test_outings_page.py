"""The page with a real recorder behind it, in a real Chromium: large buttons, and NOT RECORDING in sight."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from faulty_files import FaultyFiles, failing
from outing_tools import CONFIG, only_outing, recorder

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "out"))

from out_frames import demo_frame
from page_tools import chromium

from assistant.inbox import Inbox
from assistant.outings import logbook
from assistant.outings import recorder as recording
from assistant.outings.happened import Happened
from assistant.web.server import PageServer


async def test_buttons_and_a_disk_that_fails(
    tmp_path: Path, need: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recording, "RETRY_S", 0.2)
    monkeypatch.setattr("assistant.outings.happened.SAVED_WITHIN_S", 1.0)
    files = FaultyFiles()
    one = recorder(tmp_path, files)
    inbox = Inbox([rod.name for rod in CONFIG.rods], lambda: 5.0)
    happened = Happened(CONFIG.rods, CONFIG.bodies, inbox, one, lambda: 5.0)
    server = PageServer(
        18720, "Marigold", "angler", CONFIG.rods, inbox.set, on_event=happened.asked, on_note=inbox.typed,
        kinds={"touch": {"words": ["bottom"], "unit": ""}},
    )  # fmt: skip
    server.bind()
    stop = asyncio.Event()

    async def feed() -> None:
        while True:
            server.offer(demo_frame(), {"status": {"recording": logbook.shown(one.status)}})
            await asyncio.sleep(0.2)

    serving, feeding = asyncio.create_task(server.serve(stop)), asyncio.create_task(feed())
    try:
        async with chromium(need("chromium")) as browser:
            page = await browser.new_page(viewport={"width": 390, "height": 844})
            await page.goto(server.url)
            await page.wait_for_selector("#happened:not([hidden])")
            await page.click("#happened summary")
            button = page.locator("#happened button >> text=fish on")
            box = await button.bounding_box()
            assert box is not None
            assert box["height"] >= 60
            await page.select_option("#happened select >> nth=0", "S2")
            await button.click()
            await page.wait_for_selector("#happened .answer >> text=S2: fish on, saved as number 1.")
            assert await page.is_hidden("#not-recording")
            await button.click()
            await page.wait_for_selector("#happened .answer >> text=boat: fish on, saved as number 2.")
            await page.click("#happened button >> text=it did not happen")
            await page.wait_for_selector("#happened .answer >> text=boat: withdrawn, saved as number 3.")
            assert await page.is_hidden("#happened button >> text=it did not happen")
            await button.click()
            await page.wait_for_selector("#happened .answer >> text=boat: fish on, saved as number 4.")
            await page.select_option('#happened select[aria-label="on which rod it was"]', "C")
            await page.wait_for_selector("#happened .answer >> text=C: fish on, saved as number 5.")
            assert await page.is_hidden('#happened select[aria-label="on which rod it was"]')
            files.fault = failing(0, 10**9, errno.ENOSPC)
            await button.click()
            await page.wait_for_selector("#happened .answer >> text=NOT RECORDING")
            await page.wait_for_selector("#not-recording >> text=NOT RECORDING")
            files.fault = failing(0, 0)
            await page.wait_for_selector("#not-recording", state="hidden")
    finally:
        stop.set()
        feeding.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await feeding
        await serving
        await asyncio.to_thread(one.close, 9.0)
    assert [told.event.rod for told in only_outing(tmp_path).events().values()] == ["S2", "C", None]
