"""Quiet ticks are put off and marched in one go: nobody can tell, whoever looks when."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from live_tools import Live

from assistant.config import load
from assistant.lines import spread
from assistant.lines.fleet import Fleet
from assistant.messages import LineSetting, LineState

LOOKED_AT = 4  # ticks between two reports both spreads give


def _voyage(live: Live, each_tick: bool) -> list[dict[str, LineState]]:
    """A minute and a half with turns, surges, a fish, line that runs, a sensor that fails and a gap."""
    seen = []
    for k in range(360):
        live.speed_mps = 1.05 + 0.3 * math.sin(k / 17.0)
        turn_radps = math.radians(6.0) * (k % 120 > 80)
        live.tick(_settings(live, k), turn_radps)
        if k == 300:
            live.t_s += 30.0
        if each_tick:
            live.lines()
            live.state = spread.caught_up(live.state)
        if k % LOOKED_AT == 0:
            seen.append(live.lines())
    return seen


def _settings(live: Live, k: int) -> Sequence[LineSetting]:
    rods = [rod.name for rod in live.config.rods]
    return {
        50: [live.set(rods[0], rod_state="fish on")],
        70: [live.set(rods[0], rod_state="fishing"), live.set(rods[1], tripped=True)],
        130: [live.set(rods[2], line_out_m=live.config.rods[2].line_out_m + 5.0)],
        200: [live.set(rods[1], tripped=False)],
    }.get(k, [])


def test_a_line_looked_at_every_tick_is_the_one_looked_at_every_second() -> None:
    config = load(None)
    often, seldom = Live(config, 1.05), Live(config, 1.05)
    assert _voyage(often, True) == _voyage(seldom, False)


def test_quiet_ticks_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    """Straight on with nothing set, four ticks are one call."""
    steps = []
    marched = spread.marched

    def counted(fleet: Fleet, tips: object, *others: object) -> tuple[Fleet, bool, bool]:
        steps.append(len(tips) if tips.ndim == 3 else 1)  # type: ignore[attr-defined, arg-type]
        return marched(fleet, tips, *others)  # type: ignore[arg-type]

    monkeypatch.setattr(spread, "marched", counted)
    live = Live(load(None), 1.05)
    live.run(20.0)
    live.lines()
    assert sum(steps) == 80
    assert steps.count(4) >= 18


def test_a_march_that_fails_fails_where_it_would_have(monkeypatch: pytest.MonkeyPatch) -> None:
    """The march is made to fail at one place of the boat's way, in the middle of four quiet ticks."""
    marched = spread.marched
    bad: list[float] = []

    def failing(fleet: Fleet, tips: object, *others: object) -> tuple[Fleet, bool, bool]:
        rows = tips if tips.ndim == 3 else tips[None]  # type: ignore[attr-defined, index]
        after, failed, rescued = marched(fleet, tips, *others)  # type: ignore[arg-type]
        return after, failed or any(float(row[0, 0]) in bad for row in rows), rescued

    def sail(each_tick: bool) -> list[dict[str, LineState]]:
        live, seen = Live(load(None), 1.05), []
        for k in range(80):
            live.tick(())
            if each_tick:
                live.state = spread.caught_up(live.state)
            if k == 41 and not bad:
                bad.append(_next_tip_north_m(live))
            if k % LOOKED_AT == 0:
                seen.append(live.lines())
        return seen

    monkeypatch.setattr(spread, "marched", failing)
    clean = sail(True)  # learns the bad place after passing its tick
    often, seldom = sail(True), sail(False)
    assert often == seldom
    assert often != clean
    assert any("model settling anew" in line.conditions for lines in often for line in lines.values())


def _next_tip_north_m(live: Live) -> float:
    """North of the first rod tip where it is now; the second voyage fails when it comes here."""
    fleet = spread.caught_up(live.state).fleet
    assert fleet is not None
    return float(fleet.tips[0, 0, 0])
