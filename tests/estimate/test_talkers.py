"""Two GPS on one wire are told apart by their talkers; one that changes its talker stays one."""

from __future__ import annotations

from functools import reduce
from operator import xor

import pytest

from assistant import locate
from assistant.configured import BoatConfig
from assistant.messages import BoatState, Inputs, Sentence

BOAT = BoatConfig("marigold", "Marigold", prefer=())
WIRE = "udp:10110"


def rmc(talker: str, t_s: float, north_m: float, knots: float = 2.0) -> str:
    """A position sentence at t_s [s] on a course due north, so far north of the usual place [m]."""
    minutes = (north_m + knots * 0.5144 * t_s) / 1852.0
    clock = f"{int(t_s) // 60:02d}{int(t_s) % 60:02d}.{round(t_s % 1 * 100):02d}"
    body = f"{talker}RMC,12{clock},A,45{minutes:07.4f},N,03000.0000,W,{knots:.2f},{0.1 * (t_s % 3):.1f},180726,9.0,W,A"
    return f"${body}*{reduce(xor, body.encode(), 0):02X}"


def shown(sentences: list[Sentence], seconds: float, boat: BoatConfig = BOAT) -> list[BoatState]:
    """What the flow's first half says four times a second."""
    state, out, at = locate.initial(boat), [], 0
    for tick in range(1, round(4.0 * seconds) + 1):
        t_s = tick * 0.25
        begin = at
        while at < len(sentences) and sentences[at].t_s <= t_s:
            at += 1
        state, instant = locate.located(state, Inputs(t_s, tuple(sentences[begin:at])), wanted=True)
        assert instant.boat is not None
        out.append(instant.boat)
    return out


def two(seconds: int, apart_m: float, second: str = "GL") -> list[Sentence]:
    """Both receivers once a second, a third of one apart."""
    both = [
        (Sentence(t, WIRE, rmc("GP", t, 0.0)), Sentence(t + 0.33, WIRE, rmc(second, t + 0.33, apart_m)))
        for t in range(seconds)
    ]
    return [one for pair in both for one in pair]


@pytest.mark.parametrize("second", ["GL", "GN", "GA"])
def test_two_that_differ_are_named(second: str) -> None:
    boats = shown(two(60, 90.0, second), 60.0)
    named = [k for k, boat in enumerate(boats) if "two GPS differ" in boat.sog_mps.cause]
    assert named, "90 m apart for a minute"
    cause = boats[-1].lat_deg.cause
    assert f"{WIRE}#GP" in cause
    assert f"{WIRE}#{second}" in cause
    assert "position" in cause
    assert boats[-1].lat_deg.state == "doubtful"
    assert named[0] * 0.25 < 25.0


def test_never_averaged() -> None:
    """What is shown is one antenna's way or the other's, 90 m apart: never a place between."""
    boats = shown(two(60, 90.0), 60.0)
    for boat in boats[80:]:
        assert boat.lat_deg.value is not None
        off_m = (boat.lat_deg.value - 45.0) * 111_120.0 - 2.0 * 0.5144 * boat.t_s
        assert min(abs(off_m), abs(off_m - 90.0)) < 3.0


def test_two_that_agree_are_no_news() -> None:
    boats = shown(two(60, 3.0), 60.0)
    assert {boat.lat_deg.state for boat in boats[40:]} == {"ok"}
    assert not any("differ" in boat.sog_mps.cause for boat in boats)


def test_the_other_takes_over() -> None:
    """The one in use falls silent: position goes on from the other."""
    sentences = [s for s in two(80, 3.0) if not (s.text.startswith("$GP") and s.t_s > 40.0)]
    boats = shown(sentences, 78.0)
    assert boats[-1].lat_deg.state == "ok"
    assert boats[-1].lat_deg.source == f"{WIRE}#GL/RMC"


def test_prefer_names_one() -> None:
    boats = shown(two(60, 3.0), 60.0, BoatConfig("marigold", "Marigold", prefer=(f"{WIRE}#GL",)))
    assert boats[-1].lat_deg.source == f"{WIRE}#GL/RMC"


def test_one_receiver_that_changes_its_talker_stays_one() -> None:
    """GP while only those satellites are heard, GN with others: back and forth every half minute."""
    sentences = [
        Sentence(float(t), WIRE, rmc("GN" if t // 30 % 2 else "GP", float(t), 0.0)) for t in range(200)
    ]
    boats = shown(sentences, 199.0)
    assert {boat.lat_deg.source for boat in boats[20:]} == {f"{WIRE}/RMC"}
    assert {boat.lat_deg.state for boat in boats[20:]} == {"ok"}


def test_talkers_by_type_are_one_receiver() -> None:
    """RMC as GN, GGA and the rest as GP: usual, and one receiver."""

    def gga(t_s: float) -> str:
        body = rmc("GP", t_s, 0.0).split(",")
        text = f"GPGGA,{body[1]},{','.join(body[3:7])},1,09,0.9,2.0,M,,M,,"
        return f"${text}*{reduce(xor, text.encode(), 0):02X}"

    sentences = [
        one
        for t in range(60)
        for one in (
            Sentence(float(t), WIRE, rmc("GN", float(t), 0.0)),
            Sentence(t + 0.1, WIRE, gga(float(t))),
        )
    ]
    assert {boat.lat_deg.source for boat in shown(sentences, 59.0)[20:]} == {f"{WIRE}/RMC"}
