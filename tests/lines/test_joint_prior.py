"""What facts of whole rigs do to the draws: against the steady solver, plain draws kept by chance, exact properties."""

from __future__ import annotations

import importlib.util
import math
import sys
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant import config
from assistant.configured import Coefficient, Config, Fact
from assistant.lines import spread
from assistant.lines.chain import Water
from assistant.lines.draws import MEMBERS, at_normal, at_normals, normal_draws, normals_of
from assistant.lines.facts import CONTRADICTION, LEAST, joint
from assistant.lines.gear import RodSetting, towed
from assistant.lines.limits import Suspects
from assistant.lines.many import depths_m
from assistant.lines.prior import ALIKE, Prior
from assistant.lines.steady import straight

Array = NDArray[np.float64]
WATER = Water(999.0)
FT = 0.3048


@cache
def campaign() -> Any:
    """coverage.py of the campaigns, whose name a package has too."""
    file = Path(__file__).resolve().parents[1] / "campaigns" / "coverage.py"
    spec = importlib.util.spec_from_file_location("band_coverage", file)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # where dataclasses look for what their fields are
    spec.loader.exec_module(module)
    return module


@cache
def loaded() -> Config:
    """The packaged configuration."""
    return config.load()


def lure_depth_m(fact: Fact, z: Mapping[str, float]) -> float:
    """Depth of a fact's rig at 2.4 mph with these standard normal numbers, by the steady solver."""

    def draw(kind: str, name: str, coefficient: Coefficient) -> float:
        return at_normal(coefficient, z.get(f"{kind}.{name}", 0.0))

    chain = towed(loaded(), fact.rod, RodSetting(fact.rod.line_out_m), WATER, draw)
    return float(straight(chain, WATER, 2.4 * 0.44704).points_m[0, 2])


def members_depths_m(config_: Config, fact: Fact, seed: int) -> Array:
    """The same for every member of the ensemble."""
    known = joint(config_, seed)
    names = [
        f"{kind.name}.{name}"
        for part in fact.rod.rig
        for kind in [config_.lines[part.line] if part.line else config_.bodies[str(part.body)]]
        for name in kind.coefficients
    ]
    z = {key: known.draws(seed, key) for key in names}
    return np.array([lure_depth_m(fact, {k: float(v[m]) for k, v in z.items()}) for m in range(MEMBERS)])


def test_many_at_once_are_each_what_the_steady_solver_says() -> None:
    """The dry top is taken as steep as the wet line below it: 2 % or 10 cm, a fifth of what is told's width."""
    rng = np.random.default_rng(4)
    fact, count = loaded().facts[0], 40
    z: dict[str, Array] = {}

    def draws(kind: str, name: str, coefficient: Coefficient) -> Array:
        return at_normals(coefficient, z.setdefault(f"{kind}.{name}", 0.8 * rng.standard_normal(count)))

    outs, speeds = np.full(count, fact.rod.line_out_m), np.full(count, 2.4 * 0.44704)
    lure, planer = depths_m(loaded(), fact.rod, WATER, draws, outs, speeds)
    for k in range(count):
        alone = lure_depth_m(fact, {key: float(values[k]) for key, values in z.items()})
        assert lure[k] == pytest.approx(alone, rel=0.02, abs=0.1)
    assert np.all(planer < lure + 0.5)


@pytest.mark.parametrize("number", [0, 1])
def test_members_agree_with_the_depths_told(number: int) -> None:
    """Spread narrower than without facts, and about what is told."""
    fact = loaded().facts[number]
    plain, known = (
        np.concatenate([members_depths_m(one, fact, seed) for seed in range(4)])
        for one in (replace(loaded(), facts=()), loaded())
    )
    assert np.std(np.log(known)) < 0.85 * np.std(np.log(plain))
    told = fact.says.value
    assert abs(math.log(np.median(known) / told)) < 0.3


def test_members_have_the_spread_of_draws_kept_by_chance() -> None:
    """Rejection (exact, of the same facts, with another solver) gives the same quantiles of what is told most."""
    rng, count = np.random.default_rng(8), 120
    kept = [campaign().drawn(loaded(), rng) for _ in range(count)]
    for body, name in (("disc-large", "lift_coefficient"), ("flasher-fly", "drag_area_m2")):
        coefficient = loaded().bodies[body].coefficients[name]
        values = np.array([draw(body, name, coefficient) for draw in kept])
        z = normals_of(coefficient, values)
        members = np.concatenate([joint(loaded(), seed).draws(seed, f"{body}.{name}") for seed in range(4)])
        error = 1.0 / math.sqrt(count)  # of a mean, in units of the prior's width; three of them and a bit
        assert np.mean(members) == pytest.approx(np.mean(z), abs=3.5 * error)
        assert np.std(members) == pytest.approx(np.std(z), rel=0.3)
        assert np.std(z) < 0.9  # the facts do tell


def test_what_no_fact_names_keeps_its_draws() -> None:
    for key in ("disc-mini.lift_coefficient", "braid-30.diameter_m", "copper-45.normal_drag"):
        assert np.array_equal(joint(loaded(), 3).draws(3, key), normal_draws(3, key))
    none = joint(replace(loaded(), facts=()), 3)
    assert not none.told


def test_a_family_hears_what_is_told_of_its_other_size() -> None:
    """The hum of 30 lb braid by a fact of 65 lb braid; not of a line that is of no family, nor its thickness."""
    braid = loaded().lines["braid-30"]
    alone = replace(loaded(), lines={**loaded().lines, "braid-30": replace(braid, family="")})
    for key in ("braid-30.strumming", "braid-30.normal_drag"):
        assert key in joint(loaded(), 3).told
        assert key not in joint(alone, 3).told
    prior = Prior(3, {name: kind.family for name, kind in loaded().lines.items()})
    for line in ("braid-65", "braid-30", "wire-30"):
        for name, coefficient in loaded().lines[line].coefficients.items():
            prior.coefficient(line, name, coefficient)
    z = prior.of_gear({"braid-65", "braid-30", "wire-30"})
    for one, other, wanted in (
        ("braid-65.strumming", "braid-30.strumming", ALIKE),
        ("braid-65.diameter_m", "braid-30.diameter_m", 0.0),
        ("braid-65.strumming", "wire-30.strumming", 0.0),
    ):
        assert np.corrcoef(z[one], z[other])[0, 1] == pytest.approx(wanted, abs=0.06), (one, other)
        assert np.std(z[other]) == pytest.approx(1.0, abs=0.05)


def test_members_cover_each_coefficient_evenly_and_hang_together() -> None:
    """The facts say nothing of a leader's thickness: a quarter of 32 lies in each quarter of its band, to 3.

    A depth that is told ties what makes it: a disc that leans more or is smaller must lift more.
    """
    quarters = [NormalDist().inv_cdf(level) for level in (0.25, 0.5, 0.75)]
    for seed in range(4):
        z = joint(loaded(), seed).told["mono-20.diameter_m"]
        counts = np.bincount(np.searchsorted(quarters, z), minlength=4)
        assert np.abs(counts - MEMBERS // 4).max() <= 3, counts
    lift, roll, area = (
        np.concatenate([joint(loaded(), seed).told[f"disc-standard.{name}"] for seed in range(8)])
        for name in ("lift_coefficient", "roll_per_setting_deg", "plate_area_m2")
    )
    assert np.corrcoef(lift, roll)[0, 1] > 0.2
    assert np.corrcoef(lift, area)[0, 1] < -0.1


def test_the_same_seed_draws_the_same_and_another_seed_another() -> None:
    key = "disc-large.lift_coefficient"
    again = replace(loaded(), boat=replace(loaded().boat, title="another"))
    assert np.array_equal(joint(loaded(), 5).told[key], joint(again, 5).told[key])
    assert not np.array_equal(joint(loaded(), 5).told[key], joint(loaded(), 6).told[key])


def test_a_coefficient_changed_in_its_file_changes_the_draws() -> None:
    disc = loaded().bodies["disc-large"]
    lift = disc.coefficients["lift_coefficient"]
    strong = replace(disc, coefficients={**disc.coefficients, "lift_coefficient": replace(lift, value=1.2)})
    changed = replace(loaded(), bodies={**loaded().bodies, "disc-large": strong})
    key = "disc-large.lift_coefficient"
    assert not np.array_equal(joint(changed, 5).draws(5, key), joint(loaded(), 5).draws(5, key))


def test_facts_that_contradict_each_other_say_nothing() -> None:
    fact = loaded().facts[0]
    deep = replace(fact, says=Coefficient(40.0, 39.9, 40.1, "made up: twice as deep"))
    both = replace(loaded(), facts=(fact, deep))
    known = joint(both, 1)
    assert known.effective is not None and known.effective < LEAST
    assert not known.told
    assert dict(spread.initial(both, 1).refused) == {CONTRADICTION: 2}
    assert not spread.initial(loaded(), 1).refused


@pytest.mark.parametrize("tie", [0.0, -0.8])
def test_what_limits_a_band_also_where_two_unknowns_hang_together(tie: float) -> None:
    """The share a straight line explains: lift and lift again (by another name of the same word) count once."""
    rng = np.random.default_rng(2)
    lift, other = np.linalg.qr(rng.standard_normal((MEMBERS, 3)) - 0.0)[0][:, :2].T
    lift, other = lift - lift.mean(), other - other.mean()
    drag = tie * lift + math.sqrt(1.0 - tie**2) * other
    columns, _ = np.linalg.qr(np.stack([lift, drag], axis=1))
    both = Suspects(("planer",), ((columns, np.ones((2, 1))),))
    output = np.tile((lift + 0.5 * drag)[:, None], (1, 1, 5)).reshape(1, MEMBERS, 5)
    assert both.worst(output)[0]["depth_m"] == "planer"
    unrelated = np.tile(
        np.linalg.qr(np.stack([lift, drag, rng.standard_normal(MEMBERS)], axis=1))[0][:, 2:], (1, 5)
    )
    assert "depth_m" not in both.worst(unrelated[None])[0]
