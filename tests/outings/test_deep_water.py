"""The deep current from pulls, words and touches, against days made here from |v h - u| itself, not its expansion."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from quiet_tables import day

from assistant import config
from assistant.outings.deep_water import DeepWater, deep_water
from assistant.outings.effort import Minute, Observed, tabulate

BOAT = config.load().boat
SPEED_MPS = 0.94
TURN_RADPS = 4.0 * math.pi / 86164.0 * math.sin(math.radians(45.0))  # a sidereal day, Foucault's rate twice
DEPTH_M = 30.0  # the share of the deep layer there is 1 but for 1e-4


def heading_rad(minute: int) -> float:
    """S-curves about 200, from minute 145 on about 030."""
    return math.radians((200.0 if minute < 145 else 30.0) + 20.0 * math.sin(minute / 1.3))


def along(minute: int, drift_mps: float, toward_deg: float, last: int) -> tuple[float, float]:
    """Speed of a deep lure through the water, and of the boat; `toward_deg` is that of the last minute."""
    toward = math.radians(toward_deg) - TURN_RADPS * 60.0 * (last - minute)
    h = heading_rad(minute)
    north = SPEED_MPS * math.cos(h) - drift_mps * math.cos(toward)
    east = SPEED_MPS * math.sin(h) - drift_mps * math.sin(toward)
    return math.hypot(north, east), SPEED_MPS


def boat(minute: int, temp_c: float = 20.5) -> Mapping[str, Observed]:
    """What is the same for all rods."""
    return {
        "heading_rad": Observed(heading_rad(minute), 0.03, "measured", "HDG"),
        "water_speed_mps": Observed(SPEED_MPS, 0.03, "measured", "VHW"),
        "water_temp_c": Observed(temp_c, 0.1, "measured", "MTW"),
    }


def loaded(
    drift_mps: float, toward_deg: float, minutes: int, seed: int, temp_c: float = 20.5
) -> list[Minute]:
    """A day with load cells on P1 and S1, each wrongly scaled."""
    rng = np.random.default_rng(seed)
    scale = {"P1": 1.25, "S1": 0.85}
    slow = {name: 0.06 * rng.standard_normal(minutes) for name in scale}  # what the line model does not know

    def rod(minute: int, name: str) -> Mapping[str, Observed]:
        seen = {"depth_m": Observed(DEPTH_M, 2.0, "worked out", "VHW")}
        if name in scale:
            lure, water = along(minute, drift_mps, toward_deg, minutes - 1)
            pull = (
                14.0
                * scale[name]
                * (lure / water) ** 2
                * math.exp(slow[name][minute // 5] + 0.05 * rng.standard_normal())
            )
            seen["pull_n"] = Observed(pull, 1.0, "measured", f"load cell {name}")
            seen["worked_pull_n"] = Observed(14.0, 2.0, "worked out", "VHW")
        return seen

    return day(minutes, lambda m: boat(m, temp_c), rod)


def found(minutes: list[Minute]) -> DeepWater | None:
    """The answer at the end."""
    return deep_water(tabulate(minutes), BOAT)


@pytest.mark.parametrize("toward_deg", [63.5, 150.0, 300.0])
def test_direction_and_drift_from_two_load_cells(toward_deg: float) -> None:
    water = found(loaded(0.2, toward_deg, 240, seed=3))
    assert water is not None
    assert water.known
    off = (math.degrees(math.atan2(water.east_mps, water.north_mps)) - toward_deg + 180.0) % 360.0 - 180.0
    assert abs(off) < 25.0
    assert math.hypot(water.north_mps, water.east_mps) == pytest.approx(0.2, abs=0.07)
    assert water.seen_by == ("pull P1", "pull S1")


def test_its_sigma_is_honest() -> None:
    """Errors over sigma of 25 days: within 1 sigma on 68 % of an ideal day, here at least half and not always."""
    inside = []
    for seed in range(25):
        rng = np.random.default_rng(seed)
        north, east = 0.15 * rng.standard_normal(2)
        water = found(loaded(math.hypot(north, east), math.degrees(math.atan2(east, north)), 200, seed))
        assert water is not None
        (a, _), (_, d) = water.covariance
        inside += [abs(water.north_mps - north) < math.sqrt(a), abs(water.east_mps - east) < math.sqrt(d)]
    assert 0.5 <= np.mean(inside) <= 0.9


def test_without_a_current_there_is_none() -> None:
    water = found(loaded(0.0, 0.0, 240, seed=5))
    assert water is not None
    assert not water.known
    assert water.slows(math.radians(30.0)) < 0.05


def test_cold_water_has_no_deep_layer() -> None:
    """39-44 F from top to bottom: 6 C."""
    assert found(loaded(0.2, 60.0, 240, seed=3, temp_c=6.0)) is None


def test_a_lake_without_a_deep_layer_by_configuration() -> None:
    table = tabulate(loaded(0.2, 60.0, 240, seed=3))
    assert deep_water(table, replace(BOAT, deep_layer_sigma_mps=0.0)) is None


def test_nothing_that_sees_it() -> None:
    depth = {"depth_m": Observed(DEPTH_M, 2.0, "worked out", "VHW")}
    assert found(day(200, boat, lambda m, r: depth)) is None


def test_shallow_lines_say_nothing_of_it() -> None:
    shallow = Observed(5.0, 1.0, "worked out", "VHW")
    minutes = [
        replace(m, rods=tuple(replace(r, seen={**r.seen, "depth_m": shallow}) for r in m.rods))
        for m in loaded(0.2, 60.0, 240, seed=3)
    ]
    assert found(minutes) is None


@pytest.mark.parametrize(
    ("name", "value"), [("rod_bend", -1.0), ("cable_lean_word", -1.0), ("touch_m", -4.0)]
)
def test_soft_straight_and_touching_speak_for_water_that_goes_along(name: str, value: float) -> None:
    """Each by itself raises the chance that deep lures are slowed on the present heading; its opposite does not."""
    chances = []
    for said in (value, None, -value if name != "touch_m" else None):
        seen = {"depth_m": Observed(DEPTH_M, 2.0, "worked out", "VHW")}
        entry = {} if said is None else {name: Observed(said, 0.4, "entered", "typed")}
        other = {"rod_bend": Observed(0.0, 0.4, "entered", "typed")}

        def rod(
            m: int,
            r: str,
            seen: Mapping[str, Observed] = seen,
            entry: Mapping[str, Observed] = entry,
            other: Mapping[str, Observed] = other,
        ) -> Mapping[str, Observed]:
            return {
                **seen,
                **(entry if m == 170 and r == "W" else {}),
                **(other if m == 150 and r == "R1" else {}),
            }

        water = found(day(180, boat, rod))
        assert water is not None
        chances.append(water.slows(math.radians(30.0)))
    assert chances[0] > chances[1] + 0.02
    assert chances[2] <= chances[1] + 1e-9
