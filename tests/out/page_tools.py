"""The page's server on a free port with frames coming in, and a real Chromium to look at it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Literal

from out_frames import demo_frame, demo_rods
from playwright.async_api import Browser, Page, async_playwright

from assistant.messages import BodyType, Frame, LineSetting, Rod
from assistant.web.server import PageServer
from firmware_bridge.broker import free_port

PHONE = {"width": 390, "height": 844}
DISC = BodyType("disc", "planer", "a planer", {}, setting_min=0.0, setting_max=3.5)


class Serving:
    """A PageServer that is offered the same frame again and again until told to fall silent."""

    def __init__(self, server: PageServer, frame: Frame, extras: dict[str, object]) -> None:
        self.server = server
        self.frame = frame
        self.extras = extras
        self.silent = False
        self.settings: list[LineSetting] = []

    async def feed(self) -> None:
        """Offer the frame at 4 Hz."""
        while True:
            if not self.silent:
                self.server.offer(self.frame, self.extras)
            await asyncio.sleep(0.25)


@contextlib.asynccontextmanager
async def serving(
    frame: Frame | None = None,
    title: str = "Marigold",
    units: Literal["angler", "metric"] = "angler",
    rods: tuple[Rod, ...] | None = None,
    feeding: bool = True,
    port_from: int = 18620,
) -> AsyncIterator[Serving]:
    """A page server of the demo spread, fed until the end of the block."""
    taken: list[LineSetting] = []
    server = PageServer(
        free_port(port_from),
        title,
        units,
        rods or demo_rods(),
        taken.append,
        bodies={"disc": DISC},
        now_s=lambda: 12.5,
    )
    server.bind()
    here = Serving(
        server, frame or demo_frame(), {"status": {"udp:10110": {"good": 120, "rejects": {"bad_sum": 3}}}}
    )
    here.settings = taken
    stop = asyncio.Event()
    tasks = [asyncio.create_task(server.serve(stop))]
    if feeding:
        tasks.append(asyncio.create_task(here.feed()))
    try:
        yield here
    finally:
        stop.set()
        for task in tasks[1:]:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


@contextlib.asynccontextmanager
async def chromium(program: str) -> AsyncIterator[Browser]:
    """A real Chromium without a window."""
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(
            executable_path=program, args=["--no-sandbox", "--disable-gpu"]
        )
        try:
            yield browser
        finally:
            await browser.close()


async def opened(
    browser: Browser, here: Serving, size: dict[str, int] | None = None, clock: bool = False, ratio: int = 1
) -> tuple[Page, list[str]]:
    """The page with its first frame shown, and the list its console errors go to."""
    context = await browser.new_context(viewport=size or PHONE, device_scale_factor=ratio)  # type: ignore[arg-type]
    page = await context.new_page()
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    if clock:
        await page.clock.install()
    await page.goto(here.server.url)
    await page.wait_for_selector("article.row")
    return page, errors
