"""The page's server on a free port with frames coming in, and a real Chromium to look at it."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from typing import Literal

from out_frames import demo_frame, demo_rods
from playwright.async_api import Browser, Page, async_playwright

from assistant.configured import BodyType, Rod
from assistant.inbox import Inbox
from assistant.messages import Frame, LineSetting
from assistant.notes import offered
from assistant.web.ahead import Foreteller
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
        self.inbox = Inbox([], lambda: 12.5)

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
    foreteller: Foreteller | None = None,
) -> AsyncIterator[Serving]:
    """A page server of the demo spread, fed until the end of the block."""
    taken: list[LineSetting] = []
    inbox = Inbox([rod.name for rod in rods or demo_rods()], lambda: 12.5)
    server = PageServer(
        free_port(port_from),
        title,
        units,
        rods or demo_rods(),
        taken.append,
        bodies={"disc": DISC},
        now_s=lambda: 12.5,
        on_action=inbox.act,
        on_note=inbox.typed,
        kinds=offered(),
        foreteller=foreteller,
    )
    server.bind()
    here = Serving(
        server, frame or demo_frame(), {"status": {"udp:10110": {"good": 120, "rejects": {"bad_sum": 3}}}}
    )
    here.settings, here.inbox = taken, inbox
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


Answer = tuple[int, dict[str, str], bytes]


async def ask(
    here: Serving, path: str = "/", method: str = "GET", body: bytes = b"", **headers: str | None
) -> Answer:
    """One request with exactly these headers (None leaves Host out) -> status, headers, body."""
    named = {"Host": f"127.0.0.1:{here.server.port}", "Content-Length": str(len(body)), "Connection": "close"}
    named |= {key.replace("_", "-"): value for key, value in headers.items()}  # type: ignore[misc]
    head = "".join(f"{key}: {value}\r\n" for key, value in named.items() if value is not None)
    reader, writer = await asyncio.open_connection("127.0.0.1", here.server.port)
    writer.write(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body)
    async with asyncio.timeout(5):
        raw = await reader.read()
    writer.close()
    await writer.wait_closed()
    top, _, rest = raw.partition(b"\r\n\r\n")
    status, *lines = top.decode().split("\r\n")
    return int(status.split()[1]), {k.lower(): v for k, v in (line.split(": ", 1) for line in lines)}, rest


async def post(here: Serving, asked: object, path: str = "/api/setting", **headers: str) -> Answer:
    body = asked if isinstance(asked, bytes) else json.dumps(asked).encode()
    return await ask(here, path, "POST", body, **({"Content_Type": "application/json"} | headers))


async def post_note(here: Serving, asked: object, **headers: str) -> Answer:
    return await post(here, asked, "/api/note", **headers)


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
