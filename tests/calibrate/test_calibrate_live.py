"""From live instruments: it listens, says what is missing, and stops when it has enough."""

from __future__ import annotations

import socket
import threading
import time
from functools import reduce
from operator import xor
from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant import config
from assistant.__main__ import main
from assistant.calibrate import sources


def free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def sending(port: int, stop: threading.Event) -> None:
    """Soundings of 4.1 m, and ten in a second."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for k in range(600):
            if stop.wait(0.1):
                return
            body = f"SDDPT,{4.1 + 0.1 * (k % 2):.1f},0.0"
            out.sendto(f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode(), ("127.0.0.1", port))


def test_it_stops_when_it_has_enough(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sources, "LOOK_S", 1.0)
    (tmp_path / "boat.toml").write_text('id = "marigold"\ntitle = "Marigold"\n', encoding="utf-8")
    port, stop = free_port(), threading.Event()
    feeder = threading.Thread(target=sending, args=(port, stop), daemon=True)
    feeder.start()
    begin_s = time.monotonic()
    result = CliRunner().invoke(
        main,
        f"calibrate sounder --depth 4.5m --source udp:{port} --minutes 2 --config {tmp_path} --yes".split(),
    )
    stop.set()
    feeder.join()
    assert result.exit_code == 0, result.output
    assert "still missing" in result.output
    assert time.monotonic() - begin_s < 110.0
    assert config.load(tmp_path).boat.sounder_measured_m == pytest.approx(0.35, abs=0.06)


def test_a_source_of_no_known_form_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["calibrate", "latency", "--source", "carrier:pigeon"])
    assert result.exit_code == 2
    assert "pigeon" in result.output
