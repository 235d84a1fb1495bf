"""Exports against other readers: GPX by gpxpy and by the published schema, CSV by Python's own csv."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import gpxpy
import pyarrow.parquet as arrow_parquet
import pytest
from click.testing import CliRunner
from gpx_schema import faults_in
from hypothesis import example, given, settings
from hypothesis import strategies as st
from outing_tools import checksummed

from assistant import config
from assistant.__main__ import main
from assistant.messages import Event, Inputs, Sentence
from assistant.outings import logbook, parquet, store
from assistant.outings.entries import Told
from assistant.outings.gpx import Point, Waypoint, gpx


def rmc(t_s: int) -> str:
    """Position of a boat that goes north at a steady 2 kn: 1/30 minute of latitude a minute."""
    minutes = t_s * 2.0 / 3600.0
    return checksummed(
        f"GPRMC,12{t_s // 60:02d}{t_s % 60:02d}.00,A,45{minutes:08.5f},N,03000.00000,W,2.0,0.0,180726,,,A"
    )


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An outing of 60 s, 30 s without a position, 40 s more; a strike in it, one in the dark and a withdrawn one."""
    root = tmp_path_factory.mktemp("out") / "spreadwatch"
    one = logbook.begun(root, config.load(), "live")
    for tick in range(520):
        t_s = tick * 0.25
        heard = (Sentence(t_s, "udp:1", rmc(tick // 4)),) if tick % 4 == 0 and not 60 <= t_s < 90 else ()
        one.step(Inputs(t_s, heard), framed=tick % 4 == 0)
        if tick == 80:
            one.tell(Told(Event(t_s, "fish on", "S2", "<big> & \x07 one"), {"depth_m": 21.34}))
            one.tell(Told(Event(t_s, "lost", "S2")))
            one.tell(Told(Event(t_s, "withdrawn", corrects=83)))  # steps 1..81, then these
    one.close(130.0)
    return root


def ask(root: Path, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> str:
    """`spreadwatch outings ...` of this root."""
    monkeypatch.setenv("XDG_DATA_HOME", str(root.parent))
    result = CliRunner().invoke(main, ["outings", *arguments], catch_exceptions=False, input="y\n")
    assert result.exit_code == 0, result.output
    return result.output


def test_gpx_as_another_reader_sees_it(root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (name,) = store.ids(root)
    out = tmp_path / "track.gpx"
    ask(root, monkeypatch, "export", name, "--to", str(out))
    read = gpxpy.parse(out.read_text(encoding="utf-8"), version="1.1")
    (track,) = read.tracks
    assert len(track.segments) == 2
    points = [point for piece in track.segments for point in piece.points]
    assert len(points) > 90
    for point in points:
        assert point.time is not None
        seconds = point.time.minute * 60 + point.time.second + point.time.microsecond * 1e-6
        assert point.latitude == pytest.approx(45.0 + seconds * 2.0 / 3600.0 / 60.0, abs=2e-5)
        assert point.longitude == pytest.approx(-30.0, abs=1e-6)
    strikes = [point for point in read.waypoints if point.type == "fish on"]
    assert [(p.name, p.description) for p in strikes] == [
        ("S2 fish on <big> &   one", "number 82; before: depth_m 21.34")
    ]
    assert [point.name for point in read.waypoints] == ["S2 fish on <big> &   one"]
    # 2 kn for 60 s and 40 s: by gpxpy's own geometry, less what ages before it is dead
    assert track.length_2d() == pytest.approx(2 * 1852 / 3600 * 100, rel=0.2)


def test_an_exported_track_is_valid(root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """By the GPX 1.1 schema itself."""
    (name,) = store.ids(root)
    out = tmp_path / "track.gpx"
    ask(root, monkeypatch, "export", name, "--to", str(out))
    assert faults_in(out.read_bytes()) == []


UTC = st.none() | st.datetimes().map(lambda at: at.isoformat(timespec="milliseconds") + "Z")
POINTS = st.builds(Point, st.floats(0.0, 1e5), UTC, st.floats(-90.0, 90.0), st.floats(-180.0, 180.0))


@given(st.text(), st.lists(POINTS, max_size=5), st.text(), st.text())
@example("a\x00 <b>", [Point(0.0, None, -90.0, 180.0), Point(1.0, None, 90.0, 179.99999999)], "n", "d")
@settings(max_examples=60, deadline=None)
def test_any_day_anywhere_is_valid(title: str, points: list[Point], name: str, about: str) -> None:
    """The ends of the scale too: the schema has no longitude of 180, only one of -180."""
    waypoints = [Waypoint(point, name, about, "fish on") for point in points[:2]]
    assert faults_in(gpx(title, points, waypoints)) == []


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        (b'lon="-30.0000000"', b'lon="180.0"'),
        (b'lat="45.0000000"', b'lat="90.1"'),
        (b"T12:00:00Z", b" 12:00"),
        (b"<trkseg>", b"<trkseg><name>x</name>"),
        (b'version="1.1"', b'version="1.0"'),
        (b"<name>n</name>", b"<desc>n</desc><name>n</name>"),
    ],
)
def test_the_schema_sees_what_is_wrong(good: bytes, bad: bytes) -> None:
    """Else it would be a check that cannot fail."""
    point = Point(0.0, "2026-07-18T12:00:00Z", 45.0, -30.0)
    text = gpx("a", [point], [Waypoint(point, "n", "d", "fish on")])
    assert good in text
    assert faults_in(text) == []
    assert faults_in(text.replace(good, bad)) != []


def test_gpx_of_no_position_at_all() -> None:
    text = gpx("x", [], [])
    assert gpxpy.parse(text.decode(), version="1.1").tracks[0].segments == []
    assert faults_in(text) == []


def test_csv_holds_what_a_replay_holds(root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (name,) = store.ids(root)
    out, frames = tmp_path / "a.csv", tmp_path / "frames.jsonl"
    ask(root, monkeypatch, "export", name, "--as", "csv", "--to", str(out))
    CliRunner().invoke(main, ["replay", name, "--frames", str(frames)], catch_exceptions=False)
    with out.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    lines = [json.loads(line) for line in frames.read_text().splitlines()]
    assert len(rows) == len(lines) == 130
    for row, frame in zip(rows, lines, strict=True):
        q = frame["lines"]["P1"]["depth_m"]
        assert row["P1.depth_m.state"] == q["state"]
        assert (float(row["P1.depth_m"]) if row["P1.depth_m"] else None) == q["value"]
        assert (float(row["sog_mps"]) if row["sog_mps"] else None) == frame["boat"]["sog_mps"]["value"]


def test_parquet_holds_what_csv_holds(root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Every cell of the one is the cell of the other; row groups are as small as asked for."""
    (name,) = store.ids(root)
    monkeypatch.setattr(parquet, "GROUP", 50)
    out = {form: tmp_path / f"a.{form}" for form in ("csv", "parquet")}
    for form, path in out.items():
        ask(root, monkeypatch, "export", name, "--as", form, "--to", str(path))
    with out["csv"].open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    read = arrow_parquet.ParquetFile(out["parquet"])
    assert [read.metadata.row_group(k).num_rows for k in range(read.num_row_groups)] == [50, 50, 30]
    table = read.read().to_pylist()
    assert len(table) == len(rows) == 130
    for mine, theirs in zip(table, rows, strict=True):
        assert {key: "" if cell is None else str(cell) for key, cell in mine.items()} == theirs


def test_delete(root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    other = tmp_path / "spreadwatch"
    one = logbook.begun(other, config.load(), "live")
    one.step(Inputs(0.0), framed=True)
    one.close(0.0)
    (name,) = store.ids(other)
    assert "deleted" in ask(other, monkeypatch, "delete", name)
    assert store.ids(other) == []
