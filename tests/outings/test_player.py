"""A recording on the page: the bar does what it is asked, and the page hears where it is."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from test_quiet_minutes import frame, q

from assistant import config, player
from assistant.messages import Event, Frame
from assistant.player import Bar, Kept
from assistant.web.settings import Refused

STOPS = (100.0, 200.0, 400.0)


def asked(bar: Bar, **what: object) -> float:
    """Ask it; where it is then."""
    bar.asked(json.dumps(what).encode(), 500.0, STOPS)
    return bar.t_s


def test_play_pause_drag_step_and_rate() -> None:
    bar = Bar(20.0)
    asked(bar, do="pause")
    assert not bar.playing
    asked(bar, do="play")
    assert bar.playing
    assert asked(bar, do="seek", value=150) == 150.0
    assert asked(bar, do="seek", value=9e9) == 500.0
    assert asked(bar, do="seek", value=-5) == 0.0
    assert [asked(bar, do="next") for _ in range(3)] == [90.0, 190.0, 390.0]
    assert [asked(bar, do="back") for _ in range(3)] == [190.0, 90.0, 0.0]
    asked(bar, do="rate", value=5.0)
    assert bar.rate == 5.0


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"3",
        b'{"do": "fly"}',
        b'{"do": "seek"}',
        b'{"do": "seek", "value": true}',
        b'{"do": "rate", "value": 7}',
    ],
)
def test_what_cannot_be_asked_is_refused(body: bytes) -> None:
    bar = Bar(1.0, 30.0)
    with pytest.raises(Refused):
        bar.asked(body, 500.0, STOPS)
    assert (bar.t_s, bar.rate, bar.playing) == (30.0, 1.0, True)


def test_the_state_last_made_is_shown() -> None:
    import zlib

    kept = Kept()
    assert kept.at(5.0) is None
    for t_s in (0.0, 2.0, 4.0):
        kept.bodies.append(zlib.compress(b"%d" % t_s))
        kept.times.append(t_s)
    assert [kept.at(t) for t in (-1.0, 0.0, 3.9, 4.0, 99.0)] == [b"0", b"0", b"2", b"4", b"4"]


def frames() -> Iterator[Frame]:
    """Two minutes of a weight rod."""
    for tick in range(240):
        yield frame(0.5 * tick, {"heading_rad": q(1.0)}, q(20.0), q(1.0))


def test_the_page_hears_where_it_is_and_nothing_can_be_set(
    monkeypatch: pytest.MonkeyPatch, player_bar: Callable[..., dict[str, Any]]
) -> None:
    """The whole player in this process: its summary says how far it came."""
    lines: list[str] = []
    monkeypatch.setattr(player, "say", lines.append)
    told = (Event(60.0, "fish on", "W"), Event(61.0, "hook-up", "W"))
    errors: list[BaseException] = []

    def visit() -> None:
        try:
            while not lines:
                time.sleep(0.02)
            url = lines[0].split()[-1]
            time.sleep(1.0)
            bar = player_bar(url, do="pause")
            assert bar["playing"] is False
            assert bar["events"] == [{"t_s": 60.0, "words": "W fish on"}]
            assert player_bar(url, do="next")["t_s"] == 50.0
            with urllib.request.urlopen(f"{url}events", timeout=5) as stream:
                lines_in = (line for line in stream if line.startswith(b"data:"))
                states = [json.loads(next(lines_in)[5:]) for _ in range(3)]
            assert states[-1]["player"]["t_s"] == 50.0
            assert states[-1]["t_s"] == 50.0
            with pytest.raises(urllib.error.HTTPError):
                player_bar(url, do="fly")
        except BaseException as error:  # noqa: BLE001  # told by the test itself
            errors.append(error)

    thread = threading.Thread(target=visit)
    thread.start()
    result = player.show(config.load(), frames(), lambda: told, 8700, 20.0, 8.0)
    thread.join(10.0)
    assert errors == []
    assert result == {"frames": 60, "made_s": 118.0, "shown_s": 50.0}
