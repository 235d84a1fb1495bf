"""The part of the page that looks ahead, in a real Chromium: strip, sentence, age, what if, voice."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

import pytest
import pytest_asyncio
from out_frames import RODS, demo_frame
from page_tools import Serving, ask, chromium, opened, serving
from playwright.async_api import Browser, Page

from assistant.messages import Alert
from assistant.payloads import to_json
from assistant.web.settings import Refused

pytestmark = pytest.mark.asyncio(loop_scope="module")
TIMES = [0.0, 30.0, 60.0, 90.0, 120.0]
HOSTILE = "<img src=x onerror=document.title='owned'>"


def banded(*values: float | None) -> dict[str, list[float | None]]:
    return {
        "value": list(values),
        "low": [None if v is None else v - 1.0 for v in values],
        "high": [None if v is None else v + 2.0 for v in values],
    }


def worst(value: float, at_s: float) -> dict[str, float]:
    return {"value": value, "low": value, "high": value + 1.0, "at_s": at_s}


def rod(sinks: float) -> dict[str, Any]:
    """A rod whose lure sinks so far by a minute from now [m], over water sounded for a minute."""
    return {
        "firm": True,
        "depth_m": banded(20.0, 20.0 + 0.5 * sinks, 20.0 + sinks, 20.0 + 0.7 * sinks, 20.0),
        "lure_speed_mps": banded(*5 * [0.9]),
        "tension_n": banded(*5 * [30.0]),
        "bottom_gap_m": banded(5.0, 1.0, -1.0, None, None),
        "rise_m": worst(0.0, 0.0), "sink_m": worst(sinks, 60.0), "slowest_mps": worst(0.9, 0.0),
        "fastest_mps": worst(0.9, 0.0), "peak_n": worst(30.0, 0.0), "least_bottom_gap_m": worst(-1.0, 60.0),
        "bottom_known": 0.6, "bottom_cause": "water ahead not sounded",
    }  # fmt: skip


def told(sentence: str, **other: Any) -> dict[str, Any]:
    """A forecast of the demo spread."""
    return {
        "mode": "simulated", "seq": 1, "age_s": 0.5, "every_s": 1.0, "took_s": 0.1, "t_s": 99.5, "kind": "turn",
        "about": "the turn being steered", "state": "ok", "cause": "", "units": "angler", "sentence": sentence,
        "said": "C on bottom in 60 seconds", "worst": {"rod": "C", "at_s": 60.0}, "times_s": TIMES,
        "rods": {name: rod(0.5 * k) for k, name in enumerate(RODS)},
        "pairs": [{"rods": ["P1", "P2"], "gap_m": worst(0.2, 40.0), "place_m": [-20.0, -5.0, 12.0]}],
        "lost": {}, **other,
    }  # fmt: skip


class Stub:
    """A foreteller that gives the same answers and writes down what it was asked."""

    def __init__(self, newest: dict[str, Any] | None) -> None:
        self.newest = newest
        self.asked: list[dict[str, str]] = []

    def payload(self) -> bytes | None:
        return None if self.newest is None else to_json(self.newest)

    async def what_if(self, asked: Mapping[str, str]) -> bytes:
        self.asked.append(dict(asked))
        if asked["side"] == "up":
            raise Refused(422, f"'up': want one of port, starboard {HOSTILE}")
        return to_json(told("What then: S2 sinks 17 ft in 60 s", about="90° to port, 2°/s", seq=0))

    async def advice(self, asked: Mapping[str, str]) -> bytes:
        return to_json({"lines": [f"90 degrees to port at 1 deg/s would do {HOSTILE}", "Look around first."]})


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser(need: Callable[[str], str]) -> AsyncIterator[Browser]:
    async with chromium(need("chromium")) as started:
        yield started


@asynccontextmanager
async def looking_ahead(
    newest: dict[str, Any] | None, reason: str = ""
) -> AsyncIterator[tuple[Serving, Stub]]:
    stub = Stub(newest)
    async with serving(foreteller=stub) as here:
        here.extras["ahead"] = {"seq": 0 if newest is None else newest["seq"], "state": reason}
        yield here, stub


async def words(page: Page, selector: str, wanted: str) -> str:
    """What an element says, once `wanted` is in it, or after 5 s."""
    said = ""
    for _ in range(50):
        said = " ".join((await page.locator(selector).inner_text()).split())
        if wanted in said:
            return said
        await asyncio.sleep(0.1)
    raise AssertionError(f"{selector}: {said!r}, want {wanted!r} in it")


async def dark(page: Page) -> int:
    """Dark pixels of the strip."""
    count: int = await page.evaluate(
        """() => {
            const canvas = document.querySelector("#ahead canvas");
            const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
            let dark = 0;
            for (let i = 0; i < data.length; i += 4) if (Math.min(data[i], data[i + 1], data[i + 2]) < 100) dark += 1;
            return dark;
        }"""
    )
    return count


async def test_the_newest_forecast_stands_there_with_its_age(browser: Browser) -> None:
    async with looking_ahead(told(f"C on bottom in 60 s {HOSTILE}")) as (here, _):
        page, errors = await opened(browser, here)
        assert HOSTILE in await words(page, "#ahead .sentence", "C on bottom in 60 s")
        made = await words(page, "#ahead .made", "old")
        assert "Bottom sounded for the next" in made
        assert await dark(page) > 1000
        label = await page.locator("#ahead canvas").get_attribute("aria-label")
        assert label is not None and label.startswith("The next two minutes: C on bottom")
        assert await page.title() != "owned"
        assert errors == []
        await page.context.close()


async def test_old_or_doubtful_it_is_grey_and_too_old_it_is_gone(browser: Browser) -> None:
    async with looking_ahead(None, "no water speed") as (here, stub):
        page, _ = await opened(browser, here)
        assert await words(page, "#ahead .sentence", "no forecast") == "-- no forecast: no water speed"
        assert not await page.locator("#ahead canvas").is_visible()
        cases = ((1.0, "ok", False), (1.0, "doubtful", True), (16.0, "ok", True))
        for seq, (age_s, state, grey) in enumerate(cases, 1):
            stub.newest = told(f"W sinks {seq}", age_s=age_s, state=state, cause="speed from GPS", seq=seq)
            here.extras["ahead"] = {"seq": seq, "state": ""}
            await words(page, "#ahead .sentence", f"W sinks {seq}")
            kind = await page.locator("#ahead .sentence").get_attribute("class") or ""
            assert ("doubtful" in kind) is grey
            assert ("speed from GPS" in await words(page, "#ahead .made", "old")) is (state == "doubtful")
            assert await page.locator("#ahead canvas").is_visible()
        stub.newest = told("W sinks", age_s=31.0, seq=9)
        here.extras["ahead"] = {"seq": 9, "state": "the forecasting process ended"}
        await words(page, "#ahead .sentence", "-- no forecast: the forecasting process ended")
        assert not await page.locator("#ahead canvas").is_visible()
        await page.context.close()


async def test_hold_and_slide_asks_what_if_and_so_does_what_is_typed(browser: Browser) -> None:
    async with looking_ahead(told("W sinks")) as (here, stub):
        page, errors = await opened(browser, here)
        await words(page, "#ahead .sentence", "W sinks")
        box = await page.locator("#whatif .bar").bounding_box()
        assert box is not None
        x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"]
        await page.mouse.move(x - 100, y)
        await page.mouse.down()
        await page.wait_for_timeout(400)
        await page.mouse.move(x - 0.47 * box["width"], y, steps=5)
        assert await words(page, "#whatif .bar .chosen", "port") == "180° to port"
        await page.mouse.up()
        assert await words(page, "#ahead .sentence", "What then") == "What then: S2 sinks 17 ft in 60 s"
        assert stub.asked == [{"side": "port", "degrees": "180", "rate": "2"}]
        assert await words(page, "#ahead h2", "What if") == "What if: 90° to port, 2°/s"
        await page.get_by_text("Back to now").click()
        await words(page, "#ahead .sentence", "W sinks")
        await page.get_by_text("Stop for a fish").click()
        await words(page, "#ahead .sentence", "What then")
        assert stub.asked[-1] == {"side": "fish"}
        await page.locator("#whatif summary").click()
        await page.get_by_role("combobox", name="Side").select_option("starboard")
        await page.get_by_label("Degrees").fill("120")
        await page.get_by_label("Radius (ft)").fill("90")
        await page.get_by_label("New speed (mph)").fill("1.8")
        await page.get_by_text("What then?").click()
        advice = await words(page, "#whatif .answer", "would do")
        assert HOSTILE in advice and "Look around first." in advice
        for _ in range(50):
            if len(stub.asked) == 3:
                break
            await asyncio.sleep(0.1)
        assert stub.asked[-1] == {"side": "starboard", "degrees": "120", "radius": "90ft", "speed": "1.8mph"}
        assert errors == []
        await page.context.close()


VOICE = """
    window.spoken = [];
    class Words { constructor(text) { this.text = text; } }
    window.SpeechSynthesisUtterance = Words;
    Object.defineProperty(window, "speechSynthesis", { value: {
        getVoices: () => [{ localService: false, lang: "en-GB" }, { localService: %s, lang: "en-US" }],
        speak: (words) => window.spoken.push(words.text), cancel: () => {},
    } });
"""


@pytest.mark.parametrize("local", [True, False])
async def test_alerts_are_spoken_once_after_a_tap_by_a_local_voice_only(
    browser: Browser, local: bool
) -> None:
    alert = Alert(99.0, "bottom C", "C", "warning", "C on bottom in 70 s", "active", said="C on bottom soon")
    async with looking_ahead(told("W sinks")) as (here, _):
        here.frame = replace(demo_frame(), alerts=())
        context = await browser.new_context(viewport={"width": 390, "height": 844})
        await context.add_init_script(VOICE % json.dumps(local))
        page = await context.new_page()
        await page.goto(here.server.url)
        await words(page, "#ahead .sentence", "W sinks")
        assert await page.evaluate("window.spoken") == []
        await page.locator("#ahead button").click()
        here.frame = replace(demo_frame(), alerts=(alert,))
        await words(page, "#alerts", "C on bottom")
        await page.wait_for_timeout(700)
        assert await page.evaluate("window.spoken") == (["voice on", "C on bottom soon"] if local else [])
        assert await words(page, "#ahead button", "oice") == ("Voice on" if local else "No voice")
        await context.close()


async def test_the_api_gives_the_newest_or_a_what_if_or_says_why_not() -> None:
    async with looking_ahead(told("W sinks")) as (here, stub):
        status, _, body = await ask(here, "/api/forecast")
        assert (status, json.loads(body)["sentence"]) == (200, "W sinks")
        status, _, body = await ask(here, "/api/forecast?side=up")
        assert status == 422 and json.loads(body)["error"].startswith("'up'")
        assert (await ask(here, "/api/forecast?side=port&x=" + 400 * "y"))[0] == 413
        assert (await ask(here, "/api/forecast", Host="evil.example"))[0] == 403
        stub.newest = None
        assert (await ask(here, "/api/forecast"))[0] == 503
    async with serving() as here:
        assert (await ask(here, "/api/forecast"))[0] == 404
