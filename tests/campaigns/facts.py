"""What trollers say of their gear, against the default bands: steady tows in still water, and a trip.

Source of every fact: common practice, no source. Every coefficient of a rig is drawn from its band as the live
ensemble does it (and the counter's factor, except where line is counted by colours or measured); a fact said of a
range of speeds or settings is drawn over that range, and one that names no lure or kind of line over both. A depth
that is told is inside when the 10-90 % band holds all of what is told; a fact that only bounds a number is inside when
the band reaches within the bounds. Weighted line is counted where it goes under water.
Prints a table (stderr): ! outside, ~ inside but not typical (the median is out of bounds), in brackets what is no fact
but a part of the one it stands by (one lure of two, say); and one JSON object last.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from facts_rigs import BALL_80, COPPER, CORE, LARGE, STANDARD, Draws, Rigs, Towing, band
from numpy.typing import NDArray

from assistant.units import FOOT_M

Array = NDArray[np.float64]
NEAR_MPH = 0.1  # "near 2.4 mph"
TROLLING_MPH = (2.0, 2.8)
TO_FT = 1.0 / FOOT_M


@dataclass(frozen=True, slots=True)
class Row:
    """One fact: what is said, the model's band and median, whether the band holds it, and whether the median does."""

    fact: str
    said: tuple[float, float]
    unit: str
    low: float
    median: float
    high: float
    nominal: float
    inside: bool
    typical: bool
    told: bool = True  # False: a part of what is told

    def part(self) -> Row:
        """The same as a part of the fact it stands by."""
        return replace(self, told=False)


def row(fact: str, said: tuple[float, float], unit: str, values: Array) -> Row:
    """A fact that is a number, or a range of them: the band must hold all of it. values: nominal first."""
    low, high = band(values[1:])
    inside = low <= said[0] and said[1] <= high
    return Row(fact, said, unit, low, float(np.median(values[1:])), high, float(values[0]), inside, inside)


def within(fact: str, said: tuple[float, float], unit: str, values: Array) -> Row:
    """A fact that bounds a number: the band must reach within the bounds. values: nominal first."""
    low, high = band(values[1:])
    middle = float(np.median(values[1:]))
    inside, typical = low <= said[1] and said[0] <= high, said[0] <= middle <= said[1]
    return Row(fact, said, unit, low, middle, high, float(values[0]), inside, typical)


def always(fact: str, holds: NDArray[np.bool_]) -> Row:
    """A fact that must hold in every draw: the share of draws in which it does."""
    share = float(np.mean(holds))
    return Row(fact, (1.0, 1.0), "of 1", share, share, share, float(holds[0]), share == 1.0, share == 1.0)


def planers(rigs: Rigs) -> Iterator[Row]:
    """The two depths everybody knows, and what a lure's drag does to them."""
    draws = rigs.draws
    for name, rig, dial, said in (
        ("large disc, 40 lb wire, 150 ft, setting 1-1.5, 2.0-2.8 mph", LARGE, (1.0, 1.5), (60.0, 70.0)),
        (
            "standard disc, 65 lb braid, 140 ft, setting 2.5-3.5, 2.0-2.8 mph",
            STANDARD,
            (2.5, 3.5),
            (50.0, 50.0),
        ),
    ):
        speed, setting = draws.over("speed", TROLLING_MPH), draws.over("dial", dial)
        for lure in ("spoon", "flasher-fly"):
            tow = rigs.tow(rig.behind(lure), speed, setting)
            yield row(f"{name}, {lure}", said, "ft", tow.lure_m[:, 2] * TO_FT).part()
        either = draws.over("lure", (0.0, 1.0)) <= 0.5
        light, heavy = (rigs.tow(rig.behind(lure), speed, setting) for lure in ("spoon", "flasher-fly"))
        mixed = np.where(either, light.lure_m[:, 2], heavy.lure_m[:, 2])
        yield row(f"{name}, either lure", said, "ft", mixed * TO_FT)
        at = draws.same(2.4)
        light, heavy = (rigs.tow(rig.behind(lure), at, setting) for lure in ("spoon", "flasher-fly"))
        rise = 100.0 * (1.0 - heavy.planer_m[:, 2] / light.planer_m[:, 2])
        yield within(f"{rig.name}: flasher-fly for spoon, planer rises", (10.0, 30.0), "%", rise)
        yield always(f"{rig.name}: flasher-fly for spoon, pull rises", heavy.pull_n > light.pull_n)
        straight = rigs.tow(rig, at, draws.same(0.0))
        yield always(f"{rig.name}: setting 0 has no swing", np.abs(straight.lure_m[:, 1]) < 1e-6)


def thinner(rigs: Rigs) -> Iterator[Row]:
    """Thinner line runs deeper: both at the same place of their bands, so that the thinner one is the thinner one."""
    alike = ("diameter_m", "mass_kg_m", "normal_drag", "strumming", "tangential_drag", "stiffness_n")
    speed = rigs.draws.same(2.4)
    for thin, thick in (("braid-30", "braid-65"), ("mono-20", "mono-30"), ("mono-30", "mono-40")):
        deep, high = (
            rigs.tow(STANDARD.on(line), speed, rigs.draws.same(3.0), alike=alike) for line in (thin, thick)
        )
        ratio = high.lure_m[:, 2] / deep.lure_m[:, 2]
        yield always(f"standard disc: {thin} runs deeper than {thick}", ratio < 1.0)
    braid, mono = (
        rigs.tow(STANDARD.on(line), speed, rigs.draws.same(3.0)) for line in ("braid-30", "mono-40")
    )
    ratio = mono.lure_m[:, 2] / braid.lure_m[:, 2]
    yield within(
        "standard disc: thick mono runs shallower than braid, depth over depth", (0.0, 1.0), "", ratio
    )


def weighted(rigs: Rigs) -> Iterator[Row]:
    """Lead-core, copper and the ball."""
    draws = rigs.draws
    for colours in (3, 5, 10):
        speed = draws.over("near 2.4", (2.4 - NEAR_MPH, 2.4 + NEAR_MPH))
        tow = rigs.tow(CORE.weighted(30.0 * colours), speed)
        name = f"lead-core, {colours} colours near 2.4 mph, per colour"
        yield row(name, (5.0, 5.0), "ft", tow.lure_m[:, 2] * TO_FT / colours)
    for out in (100, 150, 250, 300):
        speed = draws.over("near 2.7", (2.7 - NEAR_MPH, 2.7 + NEAR_MPH))
        tow = rigs.tow(COPPER.weighted(out), speed)
        name = f"copper, {out} ft near 2.7 mph, per 100 ft"
        yield row(name, (22.0, 22.0), "ft", tow.lure_m[:, 2] * TO_FT * 100.0 / out)
    deeper = []
    for rig in (CORE, COPPER):
        slow, fast = (rigs.tow(rig, draws.same(mph)).lure_m[:, 2] for mph in (1.3, 2.4))
        deeper.append(slow / fast)
        yield within(f"{rig.name}: 2.4 -> 1.3 mph, times as deep", (1.6, 1.9), "", deeper[-1]).part()
    either = np.where(draws.over("weighted line", (0.0, 1.0)) <= 0.5, *deeper)
    yield within("weighted line, either: 2.4 -> 1.3 mph, times as deep", (1.6, 1.9), "", either)
    tow = rigs.tow(BALL_80, draws.same(2.4))
    yield within("12 lb ball, 80 ft, 2.4 mph: cable leans", (10.0, 25.0), "deg", np.degrees(tow.lean_rad))
    yield within("12 lb ball, 80 ft, 2.4 mph: loses", (0.0, 8.0), "ft", 80.0 - tow.planer_m[:, 2] * TO_FT)


def faster(rigs: Rigs) -> Iterator[Row]:
    """2.0 -> 2.9 mph, in per cent of the depth lost."""
    slow, fast = rigs.draws.same(2.0), rigs.draws.same(2.9)

    def lost(tow: tuple[Towing, Towing]) -> Array:
        return np.asarray(100.0 * (1.0 - tow[1].lure_m[:, 2] / tow[0].lure_m[:, 2]))

    copper = lost((rigs.tow(COPPER, slow), rigs.tow(COPPER, fast)))
    yield within("copper: 2.0 -> 2.9 mph loses", (25.0, 40.0), "%", copper)
    for rig, dial in ((LARGE, 1.0), (STANDARD, 3.0)):
        setting = rigs.draws.same(dial)
        planer = lost((rigs.tow(rig, slow, setting), rigs.tow(rig, fast, setting)))
        yield within(f"{rig.name}: 2.0 -> 2.9 mph loses, over copper", (0.0, 0.5), "", planer / copper)
        light = lost((rigs.tow(rig, slow, setting, light=True), rigs.tow(rig, fast, setting, light=True)))
        yield within(f"{rig.name} of 0.03 kg in water: 2.0 -> 2.9 mph loses", (0.0, 8.0), "%", light)


def faster_given(rigs: Rigs) -> Iterator[Row]:
    """The same of light discs as far as the other facts agree: all that goes with speed is weight over lift, and a
    standard disc that is as deep as is told lifts more than its file's value has it.
    """
    rigs = Rigs(Draws(rigs.draws.seed, rigs.draws.count - 1), told=True)
    slow, fast = rigs.draws.same(2.0), rigs.draws.same(2.9)
    for rig, dial in ((LARGE, 1.0), (STANDARD, 3.0)):
        setting = rigs.draws.same(dial)
        before, after = (rigs.tow(rig, speed, setting, light=True).lure_m[:, 2] for speed in (slow, fast))
        name = f"{rig.name} of 0.03 kg in water, given the facts: 2.0 -> 2.9 mph loses"
        yield within(name, (0.0, 8.0), "%", 100.0 * (1.0 - after / before))


def tripped(rigs: Rigs) -> Iterator[Row]:
    """A planer lets go at 2.4 mph: pull and depth two minutes later."""
    for rig, dial in ((LARGE, 1.0), (STANDARD, 3.0)):
        for lure in ("spoon", "flasher-fly"):
            before, after = rigs.trip(rig.behind(lure), 2.4, dial, 120.0)
            name = f"{rig.name}, {lure}: tripped two minutes ago"
            yield within(f"{name}, pull of before", (0.0, 0.5), "", after[:, 3] / before[:, 3])
            yield within(f"{name}, depth of before", (0.0, 1.0 / 3.0), "", after[:, 0] / before[:, 0])


def sharpness(rigs: Rigs) -> dict[str, Any]:
    """Half widths of the planers' depth bands over their depth, default knowledge, 2.4 mph, still water."""
    halves = {}
    for rig, dial in ((LARGE, 1.0), (STANDARD, 3.0)):
        for lure in ("spoon", "flasher-fly"):
            tow = rigs.tow(rig.behind(lure), rigs.draws.same(2.4), rigs.draws.same(dial))
            depth = tow.lure_m[:, 2]
            low, high = band(depth[1:])
            halves[f"{rig.name}, {lure}"] = round(0.5 * (high - low) / float(depth[0]), 3)
    return {"half_width_over_depth": halves, "median": round(float(np.median(list(halves.values()))), 3)}


PARTS = (planers, thinner, weighted, faster, faster_given, tripped)


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Look at every fact; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=400, help="draws")
    args = parser.parse_args(argv)
    rigs = Rigs(Draws(args.seed, args.n))
    rows = [one for part in PARTS for one in part(rigs)]
    for one in rows:
        mark = "!" if not one.inside else " " if one.typical else "~"
        mark = f" {mark} " if one.told else f"({mark})"
        said = f"{one.said[0]:.3g}..{one.said[1]:.3g}"
        numbers = " ".join(f"{x:7.2f}" for x in (one.nominal, one.low, one.median, one.high))
        print(f"{mark} {one.fact:80} {said:>10} {one.unit:5} {numbers}", file=sys.stderr)
    result = {
        "seed": args.seed,
        "n": args.n,
        "facts": [
            {k: round(v, 4) if isinstance(v, float) else v for k, v in asdict(one).items()} for one in rows
        ],
        "outside": [one.fact for one in rows if one.told and not one.inside],
        "untypical": [one.fact for one in rows if one.told and one.inside and not one.typical],
        "parts_outside": [one.fact for one in rows if not one.told and not one.inside],
        "sharpness": sharpness(rigs),
    }
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
