"""A fish that is on without a rod: until landed, lost, named, withdrawn or a quarter of an hour old."""

from __future__ import annotations

from assistant.messages import Event
from assistant.outings.lull import Lull, heard
from assistant.outings.unnamed import fish_on


def event(
    t_s: float, kind: str, rod: str | None = None, number: int = 0, corrects: int | None = None
) -> Event:
    return Event(t_s, kind, rod, number=number, corrects=corrects)


def test_it_is_on_until_it_is_landed_or_lost() -> None:
    strike = event(10.0, "fish on")
    assert not fish_on((), 10.0)
    assert fish_on((strike,), 10.0)
    assert fish_on((strike, event(20.0, "cleaned", "P2")), 500.0)
    for end in ("landed", "lost"):
        assert not fish_on((strike, event(60.0, end)), 60.0)
        assert not fish_on((strike, event(60.0, end, "P2")), 60.0)


def test_nobody_knows_after_a_quarter_of_an_hour() -> None:
    assert fish_on((event(10.0, "fish on"),), 909.0)
    assert not fish_on((event(10.0, "fish on"),), 910.0)


def test_one_that_gets_its_rod_afterwards_or_did_not_happen_is_not_without_one() -> None:
    first = heard(Lull(), (event(10.0, "fish on", number=1),))
    assert fish_on(first.told, 20.0)
    assert not fish_on(heard(first, (event(20.0, "fish on", "P2", 2, corrects=1),)).told, 20.0)
    assert not fish_on(heard(first, (event(20.0, "withdrawn", number=2, corrects=1),)).told, 20.0)
