"""The outings that `spreadwatch bench` replays are whole and hold the forecasts a live run would have made."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from assistant import replay_bench
from assistant.outings.recording import Outing


def test_what_is_timed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every 5 s a forecast from the first number on; the rates are of those outings."""
    foreteller = replay_bench.Foreteller()
    folder = replay_bench.recorded(tmp_path, 30.0, foreteller)
    outing = Outing(folder)
    outlooks = [inputs.outlook.t_s for inputs, _ in outing.steps() if inputs.outlook is not None]
    assert outing.checked().closed
    assert len(outlooks) == foreteller.made >= 5
    assert {round(b - a, 2) for a, b in itertools.pairwise(outlooks)} <= {1.0, 5.0}
    monkeypatch.setattr(replay_bench, "BEST_OF", 1)
    assert replay_bench.times_real(folder, 30.0) > 0.0
