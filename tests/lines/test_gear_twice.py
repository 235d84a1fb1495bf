"""The same rods resolved twice: by the assistant and by the simulator, which share no code."""

from __future__ import annotations

import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from rig_tools import HERE, SPREADS, spread

from assistant import config
from assistant.configured import Config
from assistant.lines.chain import Towed, Water
from assistant.lines.gear import RodSetting, towed
from sim.checked import CheckError
from sim.gear import Rig, read_spread, read_water

CONFIGS = config.default_dir()


def own_tip(name: str, tmp_path: Path) -> Path:
    """A spread without the rods that the simulator does not take."""
    text = (HERE / name / "spread.toml").read_text(encoding="utf-8")
    head, *rods = text.split("[[rod]]")
    kept = [rod for rod in rods if "\nattached" not in rod and "\nboard" not in rod]
    file = tmp_path / "spread.toml"
    file.write_text(head + "".join("[[rod]]" + rod for rod in kept), encoding="utf-8")
    return file


def same(ours: Any, theirs: Any, names: list[str]) -> None:
    """Both are None, or alike in every number."""
    assert (ours is None) == (theirs is None)
    if ours is not None:
        for name in names:
            assert getattr(ours, name) == pytest.approx(getattr(theirs, name), rel=1e-9, abs=1e-15), name


def compare(ours: Towed, theirs: Rig, tripped: bool) -> None:
    """Lengths, diameters, masses, drag, weights and areas of every part."""
    for mine, other in zip(ours.segments, theirs.segments, strict=True):
        same(mine, other, [f.name for f in fields(mine)])
    for body, there in zip(ours.bodies, theirs.tripped if tripped else theirs.bodies, strict=True):
        same(body, there, [] if body is None else [f.name for f in fields(body)])


def check(loaded: Config, rigs: list[Rig]) -> None:
    """Every rig against the rod of its name, before and after a trip."""
    water = Water(loaded.boat.water_density_kg_m3, loaded.boat.gravity_m_s2)
    rods = {rod.name: rod for rod in loaded.rods}
    assert rigs
    for rig in rigs:
        rod = rods[rig.rod]
        for tripped in (False, True):
            compare(towed(loaded, rod, RodSetting(rod.line_out_m, None, tripped), water), rig, tripped)


@pytest.mark.parametrize("name", SPREADS)
def test_both_make_the_same_of_every_rig(name: str, tmp_path: Path) -> None:
    check(spread(name), read_spread(own_tip(name, tmp_path), CONFIGS, read_water(CONFIGS), {}))


def test_both_make_the_same_of_the_demo_spread() -> None:
    check(config.load(), read_spread(CONFIGS / "spread.toml", CONFIGS, read_water(CONFIGS), {}))


@pytest.mark.parametrize("key", ["attached", "board"])
def test_the_simulator_says_what_it_does_not_take(key: str, tmp_path: Path) -> None:
    rods = tomllib.loads((HERE / "every_rig/spread.toml").read_text(encoding="utf-8"))["rod"]
    assert any(key in rod for rod in rods)
    text = (CONFIGS / "spread.toml").read_text(encoding="utf-8")
    (tmp_path / "spread.toml").write_text(
        text.replace("counter_zero", f'{key} = {{ rod = "P1" }}\ncounter_zero', 1)
    )
    with pytest.raises(CheckError, match=f"'R1': {key}: not simulated"):
        read_spread(tmp_path / "spread.toml", CONFIGS, read_water(CONFIGS), {})


def test_the_simulator_names_a_label_that_is_not_there(tmp_path: Path) -> None:
    file = own_tip("every_rig", tmp_path)
    file.write_text(file.read_text().replace('setting = "A"', 'setting = "Z"'))
    with pytest.raises(CheckError, match="setting: 'Z'; allowed: 0, 1, 2, 3, A, B"):
        read_spread(file, CONFIGS, read_water(CONFIGS), {})
