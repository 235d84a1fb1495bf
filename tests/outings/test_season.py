"""A season of small outings: sums by hand, the same answer from a pool and from Dask, files made once."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from distributed import LocalCluster
from outing_tools import checksummed

from assistant import config, soundings_file
from assistant.__main__ import main
from assistant.errors import OptionError
from assistant.messages import Event, Inputs, Sentence
from assistant.outings import season, season_rows, store
from assistant.outings.entries import Opening, Told
from assistant.outings.recorder import Recorder
from assistant.outings.season import Season
from assistant.units import FOOT_M

MINUTES = 6


def outing(root: Path, day: int, strikes: tuple[tuple[float, str], ...]) -> None:
    """Six minutes at 2.3 mph over a bottom of 40 m; strikes at (seconds, rod)."""
    one = Recorder(root, Opening("", "0.0", "live", 0, config.load()), f"202607{day:02d}")
    due = dict(strikes)
    for tick in range(MINUTES * 240 + 8):
        t_s = tick * 0.25
        said: list[str] = []
        if tick % 4 == 0:
            minutes = 1.0 * day + t_s * 2.0 / 3600.0
            clock = f"12{tick // 240:02d}{tick // 4 % 60:02d}"
            way, depth = 2.0 + 0.05 * math.sin(t_s / 3.0), 40.0 + 0.2 * math.sin(t_s / 7.0)
            course, east = 2.0 * math.sin(t_s / 4.0) % 360.0, 0.1 + 0.001 * math.sin(t_s / 5.0)
            place = f"45{minutes:08.5f},N,030{east:08.5f},W"
            said = [
                f"GPRMC,{clock}.00,A,{place},{way:.2f},{course:.1f},{day:02d}0726,,,A",
                f"IIHDT,{course:.1f},T",
                f"IIVHW,,T,,M,{way:.2f},N,,K",
                f"SDDPT,{depth:.1f},0.0",
            ]
        sentences = tuple(Sentence(t_s, "udp:1", checksummed(text)) for text in said)
        one.step(Inputs(t_s, sentences), framed=tick % 8 == 0)
        if t_s in due:
            one.tell(Told(Event(t_s, "fish on", due[t_s]))).result(20.0)
    one.close(1e3)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two outings, three strikes: W twice, P1 once."""
    root = tmp_path_factory.mktemp("season") / "spreadwatch"
    outing(root, 18, ((200.0, "W"),))
    outing(root, 19, ((150.0, "W"), (300.0, "P1")))
    return root


@pytest.fixture(scope="module")
def pooled(root: Path) -> Season:
    """Both by processes of this machine."""
    return season.gathered(root, config.load(), season.pool(2))


def test_effort_and_strikes_are_those_of_the_outings(pooled: Season) -> None:
    rods = [rod.name for rod in config.load().rods]
    assert (pooled.outings, pooled.left_out, pooled.strikes) == (["20260718-1", "20260719-1"], [], 3)
    assert pooled.rod_hours == pytest.approx(2 * MINUTES * len(rods) / 60.0, rel=0.1)
    lines = {row.label: row for row in pooled.rates["line"]}
    assert set(lines) == set(rods)
    assert {name: row.strikes for name, row in lines.items() if row.strikes} == {"P1": 1, "W": 2}
    assert sum(row.strikes for row in pooled.rates["depth"]) == 3
    assert sum(row.rod_hours for row in pooled.rates["depth"]) == pytest.approx(pooled.rod_hours)
    assert lines["W"].rate > lines["P1"].rate > lines["C"].rate > 0.0
    assert lines["W"].rate < 2 / lines["W"].rod_hours  # drawn toward the others


def test_soundings_become_those_of_the_boat(pooled: Season, root: Path) -> None:
    """Some 370 m of track each, one kept every 10 m, 40 m deep; a second look adds none."""
    rows = soundings_file.read(soundings_file.file_of(root, config.load().boat.id))
    assert len(rows) == pooled.soundings
    assert 40 < len(rows) < 90
    assert rows[:, 2] == pytest.approx(np.full(len(rows), 40.0), abs=0.5)
    again = season.gathered(root, config.load(), _nobody)
    assert again == pooled


def _nobody(folders: object) -> list[str]:
    raise AssertionError(f"made twice: {folders}")


def test_a_fleet_gives_the_same(pooled: Season, root: Path, tmp_path: Path) -> None:
    """A Dask scheduler and two workers on this machine, reached by its address."""
    other = tmp_path / "spreadwatch"
    other.mkdir()
    for name in store.ids(root):
        _copied(root / name, other / name)
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None) as cluster:
        told = season.gathered(other, config.load(), season.fleet(cluster.scheduler_address))
    assert season.plain(told) == season.plain(pooled)


def _copied(source: Path, target: Path) -> None:
    target.mkdir()
    for path in store.segments(source):
        (target / path.name).write_bytes(path.read_bytes())


def test_what_grew_is_made_again_and_what_is_broken_left_out(root: Path, tmp_path: Path) -> None:
    one = tmp_path / "spreadwatch"
    one.mkdir()
    _copied(root / "20260718-1", one / "20260718-1")
    (one / "20260720-1").mkdir()
    (one / "20260720-1" / "00000.outing").write_bytes(b"nothing of ours")
    told = season.gathered(one, config.load(), season.pool(1))
    assert told.outings == ["20260718-1"]
    assert told.left_out[0].startswith("20260720-1: ")
    assert season_rows.is_made(one / "20260718-1")
    with (one / "20260718-1" / "00000.outing").open("ab") as stream:
        stream.write(b"more")
    assert not season_rows.is_made(one / "20260718-1")


def test_as_typed(root: Path, pooled: Season) -> None:
    said = CliRunner().invoke(main, ["season", str(root)], catch_exceptions=False)
    assert said.exit_code == 0
    assert "2 outings" in said.output
    assert "not drawn by lot" in said.output
    found = json.loads(
        CliRunner().invoke(main, ["season", str(root), "--json"], catch_exceptions=False).output
    )
    assert found == season.plain(pooled)
    steps = {round(float(row["label"].split("-")[0]) * FOOT_M, 1) for row in found["rates"]["depth"]}
    assert all(math.isfinite(step) for step in steps)


def test_nothing_there_and_nobody_home(root: Path, tmp_path: Path) -> None:
    assert CliRunner().invoke(main, ["season", str(tmp_path)]).exit_code == 2
    with pytest.raises(OptionError, match="--dask"):
        list(season.fleet("no scheduler")(["x"]))
