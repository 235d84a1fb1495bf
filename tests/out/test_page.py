"""The page in a real Chromium: what it shows is what was sent, and it says so when nothing is sent."""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import replace

import pytest
import pytest_asyncio
from out_frames import BOAT, NUMBERS, RODS, demo_frame, demo_line, demo_q, demo_rods
from page_tools import PHONE, chromium, opened, serving
from playwright.async_api import Browser, Page

from assistant.configured import Rod
from assistant.messages import Alert, Frame, Inputs, Q, Seen

# Independent of units.py: NIST SP 811 (2008), appendix B.8: foot, mile per hour, pound-force
FEET, MPH, POUNDS = 0.3048, 0.44704, 4.448222
GREY = "rgb(106, 106, 106)"


pytestmark = pytest.mark.asyncio(loop_scope="module")


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser(need: Callable[[str], str]) -> AsyncIterator[Browser]:
    async with chromium(need("chromium")) as started:
        yield started


@pytest_asyncio.fixture(autouse=True, loop_scope="module")
async def closed_afterwards(browser: Browser) -> AsyncIterator[None]:
    """A page left open would go and watch the next test's server."""
    yield
    for context in browser.contexts:
        await context.close()


async def text(page: Page, selector: str) -> str:
    """What an element says, with plain spaces."""
    return " ".join((await page.locator(selector).inner_text()).replace("\u00a0", " ").split())


async def ink(page: Page, canvas: str) -> dict[str, int]:
    """Counts of a canvas's pixels: all, inked, and coloured (not grey)."""
    counts: dict[str, int] = await page.evaluate(
        """(id) => {
            const canvas = document.getElementById(id);
            const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
            let [inked, coloured] = [0, 0];
            for (let i = 0; i < data.length; i += 4) {
                const [r, g, b] = [data[i], data[i + 1], data[i + 2]];
                if (Math.min(r, g, b) < 128) inked += 1;
                if (Math.max(r, g, b) - Math.min(r, g, b) > 60) coloured += 1;
            }
            return { all: data.length / 4, inked, coloured };
        }""",
        canvas,
    )
    return counts


def mixed_frame() -> Frame:
    """One of everything that can be wrong with a number."""
    frame = demo_frame(
        mode="replayed",
        P1=demo_line("P1", state="doubtful", conditions=("tripped", "outside tested range")),
        R1=demo_line("R1", state="stale"),
        W=demo_line("W", state="dead"),
        S2=demo_line("S2", rod_state="aboard"),
    )
    boat = dict(frame.boat) | {
        "stw_mps": Q(0.84, 0.7, 1.0, "m/s", "doubtful", 0.3, "from ground speed"),
        "water_temp_c": Q(20.5, 20.0, 21.0, "degC", "stale", 42.0, "udp:10110/MTW"),
        "water_depth_m": Q(None, None, None, "m", "dead", None, "sounder silent"),
    }
    alert = Alert(99.0, "bottom", "C", "warning", "C low, bottom one minute", "active")
    return replace(frame, boat=boat, alerts=(alert,))


async def test_every_number_shown_is_the_number_sent(browser: Browser) -> None:
    async with serving() as here:
        page, errors = await opened(browser, here)
        cell = "#strip [data-q={}] .value"
        assert await text(page, cell.format("stw_mps")) == f"{BOAT['stw_mps'] / MPH:.1f} mph"
        assert await text(page, cell.format("sog_mps")) == f"{BOAT['sog_mps'] / MPH:.1f} mph"
        assert await text(page, cell.format("heading_rad")) == "200°"
        assert await text(page, cell.format("water_depth_m")) == f"{BOAT['water_depth_m'] / FEET:.0f} ft"
        assert await text(page, cell.format("water_temp_c")) == f"{BOAT['water_temp_c'] * 1.8 + 32:.0f} F"
        assert await text(page, "#strip [data-q=drift_mps]") == "Current 0.5 mph toward 350°"
        spoken = await page.get_attribute("#ruler", "aria-label") or ""
        for rod in RODS:
            depth, swing, astern, pull, speed = NUMBERS[rod]
            row = f"[data-rod={rod}] "
            assert await text(page, f"{row}[data-q=depth_m] .value") == f"{depth / FEET:.0f} ft"
            low, high = 0.88 * depth / FEET, 1.12 * depth / FEET
            assert await text(page, f"{row}[data-q=depth_m] .note") == f"{low:.0f}–{high:.0f}"
            assert await text(page, f"{row}[data-q=swing_m] .value") == f"{abs(swing) / FEET:.0f} ft"
            side = (
                "straight behind" if abs(swing) / FEET < 0.5 else "to port" if swing < 0 else "to starboard"
            )
            assert await text(page, f"{row}[data-q=swing_m] .note") == side
            assert await text(page, f"{row}[data-q=setback_m] .value") == f"{astern / FEET:.0f} ft"
            assert await text(page, f"{row}[data-q=tension_n] .value") == f"{pull / POUNDS:.1f} lb"
            assert await text(page, f"{row}[data-q=lure_speed_mps] .value") == f"{speed / MPH:.1f} mph"
            assert f"{rod} {depth / FEET:.0f} ft" in spoken
        assert [await r.get_attribute("data-rod") for r in await page.locator("article.row").all()] == list(
            RODS
        )
        assert (await text(page, "#badge"), await text(page, "#title")) == ("SIMULATED", "Marigold")
        assert await text(page, "#clock") == "08:35:12 UTC"
        assert errors == []


async def test_first_view_on_a_phone_holds_strip_ruler_and_spread(browser: Browser) -> None:
    async with serving() as here:
        page, errors = await opened(browser, here)
        for part in ("#strip", "#ruler", "#spread"):
            box = await page.locator(part).bounding_box()
            assert box is not None and box["y"] >= 0 and box["y"] + box["height"] <= PHONE["height"], part
            assert box["x"] >= 0 and box["x"] + box["width"] <= PHONE["width"], part
        assert await page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
        for canvas in ("ruler", "spread"):
            counts = await ink(page, canvas)
            assert counts["inked"] > 0.02 * counts["all"] and counts["coloured"] > 500
        smallest = await page.evaluate(
            "Math.min(...[...document.body.querySelectorAll('*')].filter((e) => e.innerText)"
            ".map((e) => parseFloat(getComputedStyle(e).fontSize)))"
        )
        assert smallest >= 14
        assert len(await page.screenshot()) > 20_000 and errors == []


async def test_doubt_age_and_death_look_different_and_say_why(browser: Browser) -> None:
    async with serving(mixed_frame()) as here:
        here.extras = {"causes": {"water_depth_m": "sounder lost the bottom"}}
        page, errors = await opened(browser, here)
        assert await text(page, "#strip [data-q=stw_mps] .value") == f"~{0.84 / MPH:.1f} mph"
        assert await text(page, "#strip [data-q=stw_mps] .note") == "1.6–2.2, from ground speed"
        assert await text(page, "#strip [data-q=water_depth_m]") == "Bottom -- sounder lost the bottom"
        assert await text(page, "#strip [data-q=water_temp_c] .note") == "42 s old"
        struck = "getComputedStyle(document.querySelector('{}')).textDecorationLine"
        assert await page.evaluate(struck.format("#strip [data-q=water_temp_c] .number")) == "line-through"
        assert await page.evaluate(struck.format("#strip [data-q=sog_mps] .number")) == "none"
        colour = "getComputedStyle(document.querySelector('{}')).color"
        assert await page.evaluate(colour.format("[data-rod=P1] [data-q=depth_m] .number")) == GREY
        assert await page.evaluate(colour.format("[data-rod=P2] [data-q=depth_m] .number")) != GREY
        assert await text(page, "[data-rod=P1] .conditions") == "tripped, outside tested range"
        assert await text(page, "[data-rod=W] [data-q=depth_m] .value") == "--"
        assert await text(page, "[data-rod=S2] .rod-state") == "aboard"
        assert await text(page, "#badge") == "REPLAY"
        assert await text(page, "#alerts span") == "C low, bottom one minute"
        assert errors == []


async def test_silence_greys_at_2_s_and_says_no_data_at_10_s(browser: Browser) -> None:
    async with serving() as here:
        page, errors = await opened(browser, here, clock=True)
        assert await page.locator("body.late").count() == 0 and not await page.is_visible("#no-data")
        here.silent = True
        begun_s = time.monotonic()
        await asyncio.sleep(0.4)
        await page.clock.run_for(1000)  # its own clock runs on beside: a slow machine needs the room
        assert await page.locator("body.late").count() == 0
        await page.clock.run_for(1500)
        assert await page.locator("body.late").count() == 1
        said = re.fullmatch(
            r"Nothing heard for (\d+) s\. These numbers are old\.", await text(page, "#silence")
        )
        assert said is not None
        before_s = 1.0  # so old the last state may be when the silence begins: made, sent, drawn
        assert 2 <= int(said[1]) <= 2.5 + before_s + time.monotonic() - begun_s
        colour = "getComputedStyle(document.querySelector('[data-rod=P2] .number')).color"
        assert await page.evaluate(colour) == GREY
        assert (await ink(page, "spread"))["coloured"] == 0
        assert not await page.is_visible("#no-data")
        await page.clock.run_for(8000)
        assert await page.is_visible("#no-data") and "NO DATA" in await text(page, "#no-data")
        over = "document.elementFromPoint(195, 400).closest('#no-data') !== null"
        assert await page.evaluate(over)
        here.silent = False
        await page.wait_for_selector("#no-data", state="hidden", timeout=5000)
        await page.wait_for_selector("body:not(.late)", timeout=5000)
        assert errors == []


async def test_a_page_that_slept_shows_nothing_old_as_new(browser: Browser) -> None:
    async with serving(feeding=False) as here:
        here.server.offer(demo_frame())
        await asyncio.sleep(2.5)  # retained, but nobody has made a frame since
        context = await browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
        page = await context.new_page()
        await page.goto(here.server.url)
        await page.wait_for_selector("#silence:not([hidden])", timeout=8000)
        assert await page.locator("article.row").count() == 0


async def test_nothing_in_a_name_is_run(browser: Browser) -> None:
    hostile = [
        "<img src=x onerror=window.__x=1>",
        "<script>window.__x=1</script>",
        "\"><svg onload='window.__x=1'>",
        "javascript:window.__x=1",
        "</title><iframe srcdoc='<script>parent.__x=1</script>'>",
    ]
    rods = tuple(Rod(name, "port", name, -1.0, -2.0 + i, 1.0, 50.0, ()) for i, name in enumerate(hostile))
    row = demo_line("P2", conditions=(hostile[0],))
    alert = Alert(1.0, hostile[0], hostile[1], "alarm", hostile[2], "active")
    frame = replace(demo_frame(), lines={name: replace(row, rod=name) for name in hostile}, alerts=(alert,))
    frame = replace(frame, boat={**frame.boat, "stw_mps": demo_q(1.0, "m/s", 0.1, "doubtful", hostile[0])})
    async with serving(frame, title=hostile[4] + hostile[0], rods=rods) as here:
        here.extras = {"status": {hostile[0]: {hostile[1]: hostile[2]}}}
        page, errors = await opened(browser, here)
        await page.locator("#sources").evaluate("(element) => { element.open = true; }")
        await asyncio.sleep(0.6)
        assert await page.evaluate("window.__x") is None
        assert await page.locator("img, iframe, svg, article script").count() == 0
        assert await text(page, f"article:nth-child({1 + hostile.index(hostile[0])}) .rod") == hostile[0]
        assert await page.title() == hostile[4] + hostile[0] + ": spreadwatch"
        assert await page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
        assert errors == []


async def test_a_change_is_said_in_the_units_shown_and_taken_in_si(browser: Browser) -> None:
    async with serving() as here:
        page, errors = await opened(browser, here)
        await page.click("#change summary")
        await page.select_option("#change label:has-text('Rod') >> nth=0 >> select", "C")
        await page.fill("#change label:has-text('Line out (ft)') input", "200")
        await page.click("#change button")
        await page.locator("#change .answer", has_text="C: taken.").wait_for(timeout=5000)
        (setting,) = here.settings
        assert setting.rod == "C" and setting.line_out_m == pytest.approx(200 * FEET)
        await page.fill("#change label:has-text('Line out (ft)') input", "99999")
        await page.click("#change button")
        await page.locator("#change .answer", has_text="0 to 600").wait_for(timeout=5000)
        assert len(here.settings) == 1
        assert all("422" in error for error in errors)  # the refusal itself, which browsers log


async def test_what_was_seen_is_typed_and_shown_with_its_age(browser: Browser) -> None:
    seen = {
        "ball_speed_mps": Seen(Q(0.85, 0.8, 0.9, "m/s", "ok", 3.0, "mqtt/R1"), depth_m=21.336),
        "bend": Seen(Q(-1.0, None, None, "", "stale", 400.0, "typed"), "soft"),
        "touch": Seen(Q(None, None, None, "", "dead", 4000.0, "typed")),
    }
    async with serving(replace(demo_frame(), seen={"R1": seen})) as here:
        page, errors = await opened(browser, here)
        said = await text(page, "[data-rod=R1] .seen")
        assert said == "speed at the ball 1.9 mph at 70 ft (3 s ago), bend soft (7 min ago)"
        assert not await page.locator("[data-rod=P1] .seen").is_visible()
        old = "(() => { const e = document.querySelector('[data-rod=R1] .seen .old');"
        shown = await page.evaluate(f"{old} return [e.textContent, getComputedStyle(e).color]; }})()")
        assert shown == ["bend soft (7 min ago)", GREY]
        await page.click("#note summary")
        form = "#note label:has-text('{}') >> nth=0 >> {}"
        await page.select_option(form.format("Rod", "select"), "R2")
        await page.select_option(form.format("What", "select"), "speed")
        await page.fill(form.format("It shows", "input"), "2.1")
        await page.fill(form.format("Where", "input"), "85")
        await page.click("#note button")
        await page.locator("#note .answer", has_text="R2: taken.").wait_for(timeout=5000)
        (note,) = here.inbox.into(Inputs(1.0)).notes
        assert (note.rod, note.kind) == ("R2", "ball_speed_mps")
        assert note.value == pytest.approx(2.1 * MPH) and note.depth_m == pytest.approx(85 * FEET)
        await page.fill(form.format("It shows", "input"), "fast")
        await page.click("#note button")
        await page.locator("#note .answer", has_text="want 0..11.18 mph").wait_for(timeout=5000)
        assert [error for error in errors if "422" not in error] == []


async def test_a_foreign_page_cannot_read_or_change_anything(browser: Browser) -> None:
    """A page of another origin, here on another port of this machine, tries to reach the boat's page."""

    async def foreign(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        head = b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 4\r\nConnection: close\r\n"
        writer.write(head + b"\r\nevil")
        await writer.drain()
        writer.close()

    evil = await asyncio.start_server(foreign, "127.0.0.1", 0)
    async with serving() as here, evil:
        page = await (await browser.new_context()).new_page()
        await page.goto(f"http://localhost:{evil.sockets[0].getsockname()[1]}/")
        tries = """async (url) => {
            const body = '{"rod":"C","line_out_m":1}';
            const post = (headers, mode) =>
                fetch(url + "api/setting", { method: "POST", body, headers, mode });
            const asked = [
                fetch(url + "api/frame"),
                post({ "Content-Type": "application/json" }, "cors"),
                post({ "Content-Type": "text/plain" }, "no-cors"),
                fetch(url + "app.js", { mode: "no-cors" }),
            ];
            return (await Promise.allSettled(asked)).map((got) => got.value?.type ?? got.status);
        }"""
        assert await page.evaluate(tries, here.server.url) == ["rejected"] * 4
        assert here.settings == []


async def test_metric_is_one_setting(browser: Browser) -> None:
    async with serving(units="metric", rods=demo_rods()) as here:
        page, errors = await opened(browser, here, {"width": 1280, "height": 800})
        assert await text(page, "[data-rod=C] [data-q=depth_m] .value") == "16.4 m"
        assert await text(page, "#strip [data-q=water_temp_c] .value") == "20.5 C"
        assert (await ink(page, "ruler"))["coloured"] > 500 and errors == []


async def test_why_shows_what_an_alert_rests_on_and_what_follows_stands_under_it(browser: Browser) -> None:
    """12.2 m with its band is 40 ft (36-43), and so on: the units' own factors."""
    rests = {
        "value": 12.192, "low": 11.0, "high": 13.1, "limit": 13.716, "unit": "m", "age_s": 2.0, "source": "line model",
    }  # fmt: skip
    alert = Alert(99.0, "off depth above", "C", "warning", "C at 40 ft, above its 45 ft to 50 ft", "active",
                  ("C",), evidence=rests, under=("W too",))  # fmt: skip
    async with serving(frame=replace(demo_frame(), alerts=(alert,))) as here:
        page, errors = await opened(browser, here)
        assert await page.locator("#alerts .small").all_inner_texts() == ["W too"]
        await page.click("#alerts button >> text=Why")
        assert await page.locator("#alerts .small").all_inner_texts() == [
            "W too",
            "40 ft (36–43), limit 45 ft, line model, 2 s old",
        ]
        await page.click("#alerts button >> text=Why")
        assert await page.locator("#alerts .small").count() == 1
        assert errors == []


async def test_an_alert_is_acknowledged_by_a_tap_on_this_machine(browser: Browser) -> None:
    words = "P2, P1: lure 1.1 mph, below 1.6 mph"
    alert = Alert(99.0, "lure slow", None, "warning", words, "active", ("P2", "P1"))
    async with serving(frame=replace(demo_frame(), alerts=(alert,))) as here:
        page, errors = await opened(browser, here)
        async with page.expect_response("**/api/alert") as answered:
            await page.click("#alerts button >> text=Seen")
        assert (await answered.value).ok
        (action,) = here.inbox.into(Inputs(20.0)).actions
        assert (action.kind, action.key, action.t_s) == ("acknowledge", "lure slow", 20.0)
        await page.click("#sound")
        assert await text(page, "#sound") == "Mute"
        async with page.expect_response("**/api/alert"):
            await page.click("#sound")
        assert here.inbox.into(Inputs(21.0)).actions[0].kind == "mute"
        assert errors == []
