"""The report of the invented day in its coarse form: what it counts and ranks, and a page that needs nothing else."""

from __future__ import annotations

import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from outing_tools import inputs_at

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "campaigns"))
import day_coarse

from assistant import config, day
from assistant.__main__ import main
from assistant.alerts.statistics import Told
from assistant.outings import logbook, report, story
from assistant.outings.findings import findings, turning_points
from assistant.outings.story import Place, Story
from assistant.payloads import to_json


def coarse(name: str) -> Story:
    """An invented day in its coarse form, seed 7."""
    aboard = day.config_of(name)
    said, state = day_coarse.coarse(name, aboard, seed=7, every_min=3)
    counts = Told()
    counts.add(0.0, ())
    one = Story("20260718-1", aboard, "replayed", "2026-07-18T08:10:00.000Z", 17400.0)
    one.table, one.told, one.said, one.alerts = (
        state.table,
        state.told,
        [s.quiet for s in said],
        counts.summary(),
    )
    one.places = [Place(10.0 * n, 45.0 - 1e-5 * n, -30.0 + 1e-5 * (n % 50)) for n in range(1740)]
    assert one.table is not None
    story._judge(one, one.table)
    return one


@pytest.fixture(scope="module")
def the_day() -> Story:
    """The day with load cells."""
    return coarse("day")


@pytest.fixture(scope="module")
def found(the_day: Story) -> dict[str, Any]:
    """What is found of it, as it is read back."""
    read: dict[str, Any] = json.loads(to_json(findings(the_day)))
    return read


def test_strikes_and_how_they_ended(found: dict[str, Any]) -> None:
    strikes = found["strikes"]
    assert [strikes[name] for name in ("all", "landed", "lost", "no hook-up", "not told")] == [11, 7, 3, 1, 0]
    assert [row["strikes"] for row in found["effort"]["line"] if row["label"] in ("P2", "P1", "S1")] == [
        0,
        3,
        3,
    ]
    for rows in found["effort"].values():
        assert sum(row["strikes"] for row in rows) <= 11
        assert all(row["low"] <= row["per_rod_hour"] <= row["high"] for row in rows)


def test_the_shear_ranks_first_and_is_no_proof(the_day: Story, found: dict[str, Any]) -> None:
    (silence,) = [s for s in found["silences"] if s["minutes"] > 100]
    assert silence["word"] in ("unusual", "rare")
    assert next(iter(silence["beliefs"])) == "lure speed"
    assert silence["beliefs"]["something else"] >= 0.2
    assert 50 <= silence["deep_water"]["toward_deg"] <= 80  # true: 64 at 10:10
    assert "no proof" in found["next_time"][0]
    assert any("S2" in tip for tip in found["next_time"])
    against = {row["label"]: row["strikes"] for row in found["effort"]["heading against the deep current"]}
    assert against["against it"] == 11
    assert against["along with it"] == 0
    page = report.html(the_day, found)
    assert "not proven" in page
    assert not re.search(r"\bproves|\bproven\b(?<!not proven)(?<!never proven)", page)


class Seen(HTMLParser):
    """Tags that opened and closed, and what would be fetched."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.add(tag)
        self.wrong += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href", "srcset", "action")]
        if tag not in ("meta", "line", "circle", "rect", "polyline", "polygon", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """It closes the one opened last."""
        if tag in ("line", "circle", "rect", "polyline", "polygon"):
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"/{tag}")


def test_one_page_that_fetches_nothing(the_day: Story, found: dict[str, Any]) -> None:
    page = report.html(the_day, found, -2.0)
    seen = Seen()
    seen.feed(page)
    assert (seen.wrong, seen.open) == ([], [])
    assert seen.tags.isdisjoint({"script", "link", "img", "iframe"})
    assert not re.search(r"https?:|url\(|@import|nan|NaN", page)
    assert "06:10 to 11:00 (UTC-2)" in page
    assert page.count("<svg") >= 6


def test_names_are_text(the_day: Story, found: dict[str, Any]) -> None:
    from dataclasses import replace

    title = '<img src=x onerror="alert(1)">'
    one = replace(the_day, config=replace(the_day.config, boat=replace(the_day.config.boat, title=title)))
    assert "<img" not in report.html(one, {**found, "boat": title})


def test_what_was_said_is_told_where_it_stayed(the_day: Story) -> None:
    told = turning_points(the_day.said)
    assert 3 <= len(told) < len(the_day.said)
    assert [q.t_s for q in told] == sorted(q.t_s for q in told)


def test_a_day_of_nothing_is_reported_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three minutes of an outing without a strike, by its id, through the command."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    recorder = logbook.begun(tmp_path / "spreadwatch", config.load(), "live")
    for tick in range(4 * 180):
        recorder.step(inputs_at(tick), framed=tick % 2 == 0)
    outing = recorder.close(180.0).outing
    out = tmp_path / "day.html"
    result = CliRunner().invoke(main, ["report", str(outing), "--to", str(out)])
    assert result.exit_code == 0, result.output
    assert "nobody can say which silence is usual" in out.read_text()
    read = json.loads((tmp_path / "day.json").read_text())
    assert read["strikes"]["all"] == 0
    assert read["silences"] == [] or read["silences"][0]["word"] == "cannot tell"


def test_what_is_no_outing_is_said(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["report", "20260718-77", "--to", str(tmp_path / "x.html")])
    assert result.exit_code == 2
    assert "no such outing" in result.output


def test_twins_are_held_against_each_other(found: dict[str, Any], the_day: Story) -> None:
    """P1 and S1 have the same rig and load cells on both, P2 and S2 the rig; R1 and R2 differ."""
    assert [one["rods"] for one in found["twins"]] == [["P2", "S2"], ["P1", "S1"]]
    for one in found["twins"]:
        assert one["t_s"] == next(s for s in found["silences"] if s["minutes"] > 100)["judged_s"]
        assert "cannot tell" in one["words"]
        assert one["words"].split(";")[0] in report.html(the_day, found)
    assert found["twins"][0]["words"].startswith(
        "nothing measured on both: cannot tell."
    )  # one load cell, on S2
    assert "P1 2 in" in found["twins"][1]["words"]


def test_how_the_deep_water_went_is_told(found: dict[str, Any], the_day: Story) -> None:
    """Against the boat while fish struck, with it in the silence: 0.25 m/s at most, and beyond doubt."""
    (silence,) = [s for s in found["silences"] if s["minutes"] > 100]
    along = silence["deep_along_boat"]
    assert -0.3 < along["then_mps"] < -0.1
    assert 0.1 < along["now_mps"] < 0.3
    assert along["now_mps"] - along["then_mps"] > 4.0 * along["sigma_mps"]
    assert "against it before the strikes" in report.html(the_day, found)


def test_in_april_not_a_word_of_deep_water() -> None:
    """Not in the page either, whose other days say that nothing sees it."""
    one = coarse("april")
    read = findings(one)
    assert any(s["word"] in ("unusual", "rare") for s in read["silences"])
    page = report.html(one, read) + str([read[name] for name in read if not name.startswith("deep")])
    assert not re.search(r"\bdeep (water|layer|current)|thermocline", page, re.IGNORECASE)
