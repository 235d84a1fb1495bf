"""`spreadwatch calibrate`: shows, asks, writes its own file whole, and the program then goes by it."""

from __future__ import annotations

from pathlib import Path

import pytest
from calibration_days import scenario, seconds_of, two_way
from click.testing import CliRunner

from assistant import config
from assistant.__main__ import main
from assistant.calibrate import record
from assistant.config import ConfigError
from assistant.config_calibration import CALIBRATION
from assistant.estimate.speed import true_mps
from assistant.lines import reels

MINE = '# my boat\nid = "marigold"\ntitle = "Marigold"  # hers\nspeed_log_factor = 1.05\n'
SPEED = '[speed]\ndate = 2026-05-02\nevidence = "two runs"\ncurve = [[0.6, 1.2], [1.2, 1.1]]\nsigma = 0.02\n'


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A directory of one's own."""
    (tmp_path / "boat.toml").write_text(MINE, encoding="utf-8")
    return tmp_path


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recorded run out and back at two speeds; the log reads 0.87 of true."""
    day = scenario(two_way(20.0, (1.7, 2.7), 100.0), 0.25, 250.0, log_factor=0.87)
    path = tmp_path_factory.mktemp("run") / "run.nmea"
    with path.open("w", encoding="ascii") as out:
        for second in seconds_of(day, 7, sum(leg.duration_s for leg in day.legs)):
            out.writelines(f"{text}\r\n" for _, text in second.sentences)
    return path


def test_it_shows_asks_and_writes(own: Path, log: Path) -> None:
    runner, asked = CliRunner(), ["calibrate", "speed", str(log), "--config", str(own)]
    no = runner.invoke(main, asked, input="n\n")
    assert no.exit_code == 1
    assert "1.050 -> 1.1" in no.output
    assert not (own / CALIBRATION).exists()
    yes = runner.invoke(main, [*asked, "--yes"])
    assert yes.exit_code == 0, yes.output
    assert (own / "boat.toml").read_text(encoding="utf-8") == MINE
    boat = config.load(own).boat
    assert true_mps(0.8, boat) == pytest.approx(0.8 / 0.87, rel=0.06)
    assert boat.speed_log_sigma is not None


def test_thin_evidence_is_refused_and_nothing_written(own: Path, log: Path) -> None:
    result = CliRunner().invoke(
        main, ["calibrate", "speed", str(log), "--minutes", "2", "--config", str(own), "--yes"]
    )
    assert result.exit_code == 2
    assert "missing" in result.output
    assert not (own / CALIBRATION).exists()


def test_without_a_directory_nothing_is_written(log: Path) -> None:
    result = CliRunner().invoke(main, ["calibrate", "speed", str(log), "--yes"])
    assert result.exit_code == 2
    assert "--config" in result.output


def test_without_a_running_daemon_it_says_what_to_give(own: Path) -> None:
    (own / "boat.toml").write_text(MINE + f'outings = "{own / "outings"}"\n', encoding="utf-8")
    result = CliRunner().invoke(main, ["calibrate", "latency", "--config", str(own)])
    assert result.exit_code == 2
    assert "--source" in result.output


def test_a_counter_is_taped(own: Path) -> None:
    marks = [f"--mark={pair}" for pair in ("50ft=44ft", "100ft=87ft", "160ft=138ft")]
    result = CliRunner().invoke(main, ["calibrate", "counter", "S2", *marks, "--config", str(own), "--yes"])
    assert result.exit_code == 0, result.output
    loaded = config.load(own)
    rod = next(rod for rod in loaded.rods if rod.name == "S2")
    curve = reels.curve_of(loaded, rod)
    assert curve.true_m(100 * 0.3048) == pytest.approx(87 * 0.3048, rel=0.01)
    assert "3 marks" in curve.evidence


def test_other_tables_and_comments_stay(own: Path) -> None:
    (own / CALIBRATION).write_text("# hands off\n" + SPEED + "# end\n", encoding="utf-8")
    record.write(own, "latency", "2026-06-01", "4 turns", {"course_lag_s": 0.8, "sigma_s": 0.2})
    record.write(own, "latency", "2026-06-02", 'a "quoted"\nname', {"course_lag_s": 0.9, "sigma_s": 0.2})
    text = (own / CALIBRATION).read_text(encoding="utf-8")
    assert text.startswith("# hands off\n" + SPEED)
    assert "# end" in text
    assert text.count("[latency]") == 1
    assert "0.8" in (own / f"{CALIBRATION}.bak").read_text(encoding="utf-8")
    assert config.load(own).boat.course_lag_s == 0.9
    assert config.load(own).boat.speed_log_curve == ((0.6, 1.2), (1.2, 1.1))


def test_what_cannot_be_read_back_is_never_written(own: Path) -> None:
    with pytest.raises(ConfigError, match="sigma_s"):
        record.write(own, "latency", "2026-06-01", "4 turns", {"course_lag_s": 0.8, "sigma_s": 99.0})
    assert not (own / CALIBRATION).exists()


def test_a_full_disk_leaves_the_old_file(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (own / CALIBRATION).write_text(SPEED, encoding="utf-8")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("assistant.calibrate.record.os.fsync", full)
    with pytest.raises(OSError, match="space"):
        record.write(own, "latency", "2026-06-01", "4 turns", {"course_lag_s": 0.8, "sigma_s": 0.2})
    assert (own / CALIBRATION).read_text(encoding="utf-8") == SPEED


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[sped]\ndate = 2026-05-02\n", "did you mean"),
        (SPEED.replace("[[0.6, 1.2], [1.2, 1.1]]", "[[1.2, 1.1], [0.6, 1.2]]"), "rise"),
        (SPEED.replace("1.2], [", "9.0], ["), "0.3..3"),
        (SPEED.replace("date = 2026-05-02\n", ""), "date is missing"),
        (SPEED.replace("curve", "curves"), "did you mean"),
        ("[counter.Z9]\ndate = 2026-05-02\n", "no such rod"),
        ('[counter.S2]\ndate = 2026-05-02\nevidence = "x"\nline = "wire-30"\nmarks = [[10, 9], [20, 18], [30, 26]]\n',
         "not on that rod"),
        ('[counter.S2]\ndate = 2026-05-02\nevidence = "x"\nline = "braid-30"\nmarks = [[10, 9], [20, 48], [30, 26]]\n',
         "half of the counter"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_what_is_allowed(own: Path, text: str, words: str) -> None:
    (own / CALIBRATION).write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=words):
        config.load(own)


def test_marks_of_the_register_that_are_newer_count(own: Path) -> None:
    (own / CALIBRATION).write_text(
        '[counter.S2]\ndate = 2026-05-02\nevidence = "x"\nline = "braid-30"\nmarks = [[10, 9], [20, 18], [30, 26]]\n',
        encoding="utf-8",
    )
    register = (
        '[[reel]]\nname = "s"\nrod = "S2"\nline = "braid-30"\nspooled = 2026-04-01\n'
        'marks = [{ counter = "50 ft", true = "44 ft", date = DATE }]\n'
    )
    for date, marks in (("2026-06-01", 1), ("2026-04-02", 3)):
        (own / "reels.toml").write_text(register.replace("DATE", date), encoding="utf-8")
        (reel,) = config.load(own).reels
        assert len(reel.marks) == marks
