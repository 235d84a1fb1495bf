"""An outing replayed with another configuration beside itself: each half is what a replay of its own gives."""

from __future__ import annotations

import json
import statistics
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from test_replay_outing import recorded_run

from assistant import config
from assistant.__main__ import main
from assistant.outings import store
from assistant.replay_differs import differing

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "out"))

from out_frames import demo_frame
from page_tools import chromium, opened, serving

PACKAGED = config.default_dir()


@pytest.fixture(scope="module")
def outing(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, list[bytes]]:
    """Home, id and Frames of half a minute."""
    home = tmp_path_factory.mktemp("home")
    frames = recorded_run(home / "spreadwatch")
    (name,) = store.ids(home / "spreadwatch")
    return home, name, frames


def ask(home: Path, *arguments: str) -> tuple[dict[str, Any], str]:
    """`spreadwatch replay ...`: its summary, and what it says beside."""
    result = CliRunner().invoke(
        main, ["replay", *arguments], env={"XDG_DATA_HOME": str(home)}, catch_exceptions=False
    )
    assert result.exit_code == 0, result.output
    summary: dict[str, Any] = json.loads(result.stdout)
    return summary, result.stderr


def another(folder: Path, file: str, old: str, new: str) -> Path:
    """A directory with one packaged file in which something is otherwise."""
    text = (PACKAGED / file).read_text(encoding="utf-8")
    assert old in text
    (folder / file).parent.mkdir(parents=True, exist_ok=True)
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


def test_each_half_is_a_replay_of_its_own(outing: tuple[Path, str, list[bytes]], tmp_path: Path) -> None:
    """A log that reads 9 % low, as is known now: then as live to the byte, now as a replay with that configuration."""
    home, name, live = outing
    now = another(tmp_path / "now", "boat.toml", "speed_log_factor = 1.0", "speed_log_factor = 1.1")
    both, alone = tmp_path / "both.jsonl", tmp_path / "alone.jsonl"
    summary, _ = ask(home, name, "--with", str(now), "--frames", str(both))
    ask(home, name, "--config", str(now), "--frames", str(alone))
    pairs = [json.loads(line) for line in both.read_bytes().splitlines()]
    assert [pair["then"] for pair in pairs] == [json.loads(line) for line in live]
    assert [pair["now"] for pair in pairs] == [json.loads(line) for line in alone.read_bytes().splitlines()]
    assert [pair["t_s"] for pair in pairs] == [pair["now"]["t_s"] for pair in pairs]
    assert summary["differs"] == ["boat: speed_log_factor 1.0 then, 1.1 now"]
    assert summary["frames"] == len(live)


def test_the_summary_is_that_of_the_lines(outing: tuple[Path, str, list[bytes]], tmp_path: Path) -> None:
    """Medians and the largest difference, worked out from the lines of JSON; the table has a row a rod."""
    home, name, _ = outing
    now = another(tmp_path / "now", "boat.toml", "speed_log_factor = 1.0", "speed_log_factor = 1.1")
    out = tmp_path / "both.jsonl"
    summary, table = ask(home, name, "--with", str(now), "--frames", str(out))
    pairs = [json.loads(line) for line in out.read_bytes().splitlines()]
    for rod, said in summary["rods"].items():
        rows = [(pair, pair["then"]["lines"][rod], pair["now"]["lines"][rod]) for pair in pairs]
        rows = [
            row
            for row in rows
            if all(
                half["rod_state"] == "fishing" and half["depth_m"]["value"] is not None for half in row[1:]
            )
        ]
        then, now_m = ([row[k]["depth_m"]["value"] for row in rows] for k in (1, 2))
        assert said["frames"] == len(rows) > 0
        assert said["median_depth_m"]["then"] == pytest.approx(statistics.median(then), abs=6e-4)
        assert said["median_depth_m"]["now"] == pytest.approx(statistics.median(now_m), abs=6e-4)
        difference = {row[0]["t_s"]: new - old for row, old, new in zip(rows, then, now_m, strict=True)}
        largest = said["largest"]["difference_m"]
        assert abs(largest) == pytest.approx(max(map(abs, difference.values())), abs=1.1e-3)
        assert largest == pytest.approx(difference[said["largest"]["t_s"]], abs=1.1e-3)
        outside = sum(
            not row[1]["depth_m"]["low"] <= row[2]["depth_m"]["value"] <= row[1]["depth_m"]["high"]
            for row in rows
        )
        assert said["now_outside_then"] == pytest.approx(outside / len(rows), abs=1e-4)
    lines = table.splitlines()
    assert [line.split()[0] for line in lines] == ["rod", *summary["rods"]]
    copper = summary["rods"]["C"]["median_depth_m"]
    assert copper["now"] < copper["then"]  # the faster, the shallower runs a weighted line
    feet = [f"{copper[half] / 0.3048:.0f}" for half in ("then", "now")]
    assert next(line for line in lines if line.startswith("C ")).split()[1:4:2] == feet


def test_the_same_beside_itself_differs_in_nothing(outing: tuple[Path, str, list[bytes]]) -> None:
    home, name, _ = outing
    summary, _ = ask(home, name, "--with", str(PACKAGED))
    assert (summary["differs"], summary["only"]) == ([], {})
    assert {one["largest"]["difference_m"] for one in summary["rods"].values()} == {0.0}
    assert {one["now_outside_then"] for one in summary["rods"].values()} == {0.0}


def test_rigs_as_they_were_then(outing: tuple[Path, str, list[bytes]], tmp_path: Path) -> None:
    """C has more line out today and P1 another name; a reel of S2 was taped since, and that holds for then too."""
    home, name, _ = outing
    now = another(tmp_path / "now", "spread.toml", 'name = "P1"', 'name = "P9"')
    text = (now / "spread.toml").read_text()
    head, tail = text.split('name = "C"')
    assert 'line_out = "250 ft"' in tail
    (now / "spread.toml").write_text(f'{head}name = "C"{tail.replace("250 ft", "280 ft", 1)}')
    (now / "reels.toml").write_text(
        '[[reel]]\nname = "high"\nrod = "S2"\nline = "braid-30"\nspooled = 2026-04-11\nmarks = [\n'
        + "\n".join(
            f'{{ counter = "{c} ft", true = "{t} ft", date = 2026-05-02 }},'
            for c, t in ((50, 44), (100, 87), (160, 138))
        )
        + "\n]\n"
    )
    as_now, _ = ask(home, name, "--with", str(now))
    assert as_now["only"] == {"P1": "then", "P9": "now"}
    assert as_now["rods"]["C"]["largest"]["difference_m"] > 1.0
    assert {"rod P1: only then", "rod P9: only now"} <= set(as_now["differs"])
    assert any(words.startswith("rod C: line_out_m ") for words in as_now["differs"])
    same, _ = ask(home, name, "--with", str(now), "--same-rigs")
    assert same["only"] == {}
    assert same["differs"] == ["reels: differ"]
    moved = {rod: abs(one["largest"]["difference_m"]) for rod, one in same["rods"].items()}
    assert moved.pop("S2") > 1.0
    assert max(moved.values()) == 0.0


def test_what_cannot_be_asked(outing: tuple[Path, str, list[bytes]], tmp_path: Path) -> None:
    home, name, _ = outing
    env = {"XDG_DATA_HOME": str(home)}
    alone = CliRunner().invoke(main, ["replay", name, "--same-rigs"], env=env)
    assert (alone.exit_code, "only with --with" in alone.stderr) == (2, True)
    missing = CliRunner().invoke(main, ["replay", name, "--with", str(tmp_path / "no")], env=env)
    assert (missing.exit_code, "no such directory" in missing.stderr) == (2, True)


def test_differences_in_words() -> None:
    """Values, bands, files without a counterpart; nothing of what is on no rod, nothing of where things go."""
    then = config.load()
    disc = then.bodies["disc-large"]
    lift = disc.coefficients["lift_coefficient"]
    other = replace(disc, coefficients={**disc.coefficients, "lift_coefficient": replace(lift, value=1.0)})
    wide = replace(disc, coefficients={**disc.coefficients, "lift_coefficient": replace(lift, high=9.0)})
    assert differing(then, then) == []
    assert differing(then, replace(then, broker="embedded", page_port=1)) == []
    assert differing(then, replace(then, bodies={**then.bodies, "disc-large": other})) == [
        f"body disc-large: lift_coefficient {lift.value} then, 1.0 now"
    ]
    assert differing(then, replace(then, bodies={**then.bodies, "disc-large": wide})) == [
        "body disc-large: lift_coefficient of another band"
    ]
    assert differing(then, replace(then, bodies={**then.bodies, "unused": other})) == []
    assert differing(then, replace(then, facts=())) == ["facts: differ"]


async def test_two_values_a_row_on_the_page(need: Callable[[str], str]) -> None:
    """In a real Chromium: each row says both, what differs can be opened, nothing is offered to be told."""
    bar = {
        "t_s": 60.0, "made_s": 90.0, "over": True, "error": "", "rate": 5.0, "rates": [1.0, 5.0],
        "playing": False, "events": [],
    }  # fmt: skip
    frame = replace(demo_frame(), mode="replayed")

    def q(value: float, unit: str) -> dict[str, object]:
        return {
            "value": value,
            "low": 0.9 * value,
            "high": 1.1 * value,
            "unit": unit,
            "state": "ok",
            "age_s": 0.0,
        }

    p1 = {"depth_m": q(30.48, "m"), "swing_m": q(-3.048, "m"), "tension_n": q(44.482, "N")}
    then = {"lines": {"P1": p1, "X": {}}, "differs": ["boat: speed_log_factor 1.0 then, 1.1 now"]}
    async with serving(frame) as here:
        here.extras = {**here.extras, "player": bar, "then": then}
        async with chromium(need("chromium")) as browser:
            page, errors = await opened(browser, here)
            assert await page.inner_text("#badge") == "REPLAY"
            row = page.locator('article[data-rod="P1"]')
            assert await row.locator(".depth-then").inner_text() == "then 100\u00a0ft 90–110"
            assert await row.locator(".four.then .cell").all_inner_texts() == [
                "then 10\u00a0ft", "then --", "then 10.0\u00a0lb", "then --",
            ]  # fmt: skip
            assert await page.locator('article[data-rod="S1"] .depth-then').inner_text() == "then: not there"
            await page.click("#beside summary")
            said = await page.locator("#beside li").all_inner_texts()
            assert said == ["Not there now: X.", "boat: speed_log_factor 1.0 then, 1.1 now"]
            for name in ("#happened", "#change", "#note"):
                assert await page.is_hidden(name)
            assert errors == []
        here.extras = {}
