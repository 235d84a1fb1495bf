"""A talker that computes its checksums wrongly: off by default, and doubtful when switched on."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import locate
from assistant.configured import BoatConfig
from assistant.errors import LogError
from assistant.messages import Inputs
from assistant.raw_log import read_log
from firmware_bridge.framing import Framer, split_unchecked
from firmware_bridge.instruments import open_source

WRONG = b"$IIVHW,200.0,T,209.0,M,1.80,N,3.33,K*00\r\n"
MARK = "?checksums=ignored"


def test_the_mark_stands_at_the_end_of_any_source() -> None:
    assert split_unchecked("udp:10110" + MARK) == ("udp:10110", True)
    assert split_unchecked("serial:/dev/ttyX?baud=4800&checksums=ignored") == (
        "serial:/dev/ttyX?baud=4800",
        True,
    )
    assert split_unchecked("udp:10110") == ("udp:10110", False)
    assert open_source("udp:10110" + MARK, lambda: 0.0).framer.unchecked
    assert not open_source("udp:10110", lambda: 0.0).framer.unchecked


def test_a_wrong_sum_is_handed_on_only_when_told_so_and_counts_as_wrong() -> None:
    strict, lax = Framer(), Framer(unchecked=True)
    assert strict.feed(WRONG) == [] and lax.feed(WRONG) == [WRONG.decode().strip()]
    assert strict.counts == lax.counts and lax.counts["bad_sum"] == 1
    assert lax.feed(b"$IIVHW,200.0,T\r\n\x07\x07\r\n") == [], "without a sum, or noise: never"


def test_all_that_such_a_source_says_is_doubtful(tmp_path: Path) -> None:
    log = tmp_path / "wrong.nmea"
    rmc = b"$IIRMC,1200%02d.00,A,4500.%03d,N,03000.000,W,1.8%d,200.%d,180726,,,A*00\r\n"
    log.write_bytes(b"".join(rmc % (k, k, k % 3, k % 7) + WRONG for k in range(40)))
    with pytest.raises(LogError):
        read_log(log)
    state = locate.initial(BoatConfig("m", "M", variation_deg=-9.0))
    shown = []
    for inputs in read_log(Path(str(log) + MARK)).inputs():
        state, instant = locate.located(state, Inputs(inputs.t_s, inputs.sentences), wanted=True)
        shown.append(instant.boat)
    assert shown[-1].stw_mps.value == pytest.approx(1.8 * 0.514444, abs=0.01)
    for quantity in ("stw_mps", "sog_mps", "heading_rad", "lat_deg"):
        assert {getattr(b, quantity).state for b in shown} <= {"doubtful", "dead"}, quantity
    assert shown[-1].sog_mps.cause == "from a source whose checksums are ignored"
    assert MARK[1:] in shown[-1].sog_mps.source


def test_the_recorded_log_with_constant_sums_becomes_usable(shared: Path) -> None:
    """README of the logs: 95 % of its sentences are wrong, speeds to 7.6 kn are sane."""
    path = shared / "nmea" / "bay-2013-07-31-badsums.nmea"
    assert len(read_log(Path(str(path) + MARK)).clock.texts) > 15 * len(read_log(path).clock.texts)
