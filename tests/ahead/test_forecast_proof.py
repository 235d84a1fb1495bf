"""Short form of the campaign that holds forecasts against the simulator's own lines."""

from __future__ import annotations

import forecast_proof


def test_forecasts_hold_against_the_simulator() -> None:
    """Few turns: most of them inside the band, and the worst moment met where everything is known."""
    result = forecast_proof.main(["--seed", "1", "--n", "6"])
    assert result["held"] >= 0.5
    assert result["worst_moment_error_percent"]["planer"] <= 5.0
    assert result["worst_moment_error_percent"]["weighted"] <= 8.0
