"""Short form of the campaign that plays advised turns in the simulator."""

from __future__ import annotations

import advice_kept


def test_what_is_advised_keeps_what_it_promised_where_what_was_asked_would_not() -> None:
    known = advice_kept.main(["--seed", "3", "--n", "2"])["known"]
    assert known["offers"] >= 3
    assert known["offers_as_wanted"] == known["offers_over_margins"] == known["offers"]
    assert known["as_asked"] < known["offers"]
