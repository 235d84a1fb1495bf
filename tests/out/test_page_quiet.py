"""What the page says of a quiet spell, and the bar of a recording, in a real Chromium."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from dataclasses import replace

import pytest
import pytest_asyncio
from out_frames import demo_frame
from page_tools import chromium, opened, serving
from playwright.async_api import Browser, expect

from assistant.messages import Quiet

pytestmark = pytest.mark.asyncio(loop_scope="module")

QUIET = Quiet(
    6000.0, "unusual", 3000.0, "likely: lure speed", "hold 240 for 15 min; pull on S1 back at 3.1 lb",
    ("pull on S1: 3.1 lb at the strikes, 1.3 lb now", "cables on R1: usual at the strikes, straight now"),
    ("S2 pulls 119 % more: something dragging, or fouled?",),
)  # fmt: skip
TEST, PULL = "Test: hold 240 for 15 min; pull on S1 back at 3.1 lb", f"Differs: {QUIET.differs[0]}"


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser(need: Callable[[str], str]) -> AsyncIterator[Browser]:
    async with chromium(need("chromium")) as started:
        yield started


@pytest.mark.parametrize(
    ("word", "silent_s", "lines"),
    [
        ("unusual", 3060.0, ["Quiet 51 min: unusual", "likely: lure speed", TEST, PULL, *QUIET.suspects]),
        (
            "cannot tell",
            1000.0,
            ["Quiet 16 min: cannot tell", "likely: lure speed", TEST, PULL, *QUIET.suspects],
        ),
        ("usual", 1000.0, ["Quiet 16 min: usual", PULL, f"Differs: {QUIET.differs[1]}", *QUIET.suspects]),
        ("usual", 600.0, [PULL, f"Differs: {QUIET.differs[1]}", *QUIET.suspects]),
    ],
)
async def test_a_quiet_spell_at_a_glance(
    browser: Browser, word: str, silent_s: float, lines: list[str]
) -> None:
    """All of it in one size of type; nothing of a silence in its first quarter of an hour."""
    frame = replace(demo_frame(), t_s=QUIET.strike_s + silent_s, quiet=replace(QUIET, word=word))  # type: ignore[operator]
    async with serving(frame) as here:
        page, errors = await opened(browser, here)
        shown = page.locator("#quiet li")
        assert await shown.all_inner_texts() == lines
        sizes = await shown.evaluate_all(
            "all => [...new Set(all.map((one) => getComputedStyle(one).fontSize))]"
        )
        assert len(sizes) == 1
        assert await page.locator("#player").is_hidden()
        assert errors == []
        await page.context.close()


async def test_nothing_before_the_first_strike(browser: Browser) -> None:
    async with serving(demo_frame()) as here:
        page, errors = await opened(browser, here)
        assert await page.locator("#quiet").is_hidden()
        assert errors == []
        await page.context.close()


async def test_the_bar_of_a_recording(browser: Browser) -> None:
    """It shows where the recording is; its buttons ask the server, which here has none and says so."""
    bar = {
        "t_s": 3725.0, "made_s": 9000.0, "over": False, "error": "", "rate": 20.0, "rates": [1.0, 5.0, 20.0, 60.0],
        "playing": True, "events": [{"t_s": 3000.0, "words": "S1 fish on"}],
    }  # fmt: skip
    async with serving(demo_frame()) as here:
        here.extras = {**here.extras, "player": bar}
        page, errors = await opened(browser, here)
        assert await page.locator("#player .at").inner_text() == "1:02 of 2:30 so far, last: S1 fish on"
        assert await page.locator("#player input").input_value() == "3725"
        assert await page.locator("#player select").input_value() == "20"
        async with page.expect_request("**/api/player") as asked:
            await page.get_by_role("button", name="play or pause").click()
        assert (await asked.value).post_data_json == {"do": "pause"}
        async with page.expect_request("**/api/player") as asked:
            await page.get_by_role("button", name="to the next event").click()
        assert (await asked.value).post_data_json == {"do": "next"}
        slider = page.locator("#player input")
        box = await slider.bounding_box()
        assert box is not None
        await page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + box["height"] / 2)
        async with page.expect_request("**/api/player") as asked:  # while it is held already
            await page.mouse.down()
        held = (await asked.value).post_data_json
        assert held == {"do": "seek", "value": pytest.approx(1800, abs=150)}
        await page.wait_for_timeout(600)  # states go on coming in; they do not move what is held
        assert float(await slider.input_value()) == held["value"]
        await page.mouse.up()
        await expect(slider).to_have_value("3725")
        assert all("404" in error for error in errors)
        await page.context.close()
