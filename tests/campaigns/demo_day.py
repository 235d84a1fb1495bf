"""The invented days of sim/ through the judge of quiet spells, held against what a good helper would have said.

    python tests/campaigns/demo_day.py --seed 1 --n 2            # coarse: lines settled once a minute
    python tests/campaigns/demo_day.py --seed 1 --n 1 --whole    # every sentence through the whole flow

Each of `n` seeds plays three days. `day`: load cells and a crew that tells. `day-alone`: neither, until the weight rod
touches. `april`: cold shallow water, where a soft bend and a touch mean no deep layer. One JSON object last; exit 1
when an expectation is not met.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from collections.abc import Callable, Mapping, Sequence

from day_coarse import Said, coarse

from assistant import day
from assistant.messages import Event
from assistant.outings.deep_water import deep_water
from assistant.outings.logbook import NoRecorder

LOCAL_START = {"day": 370, "day-alone": 370, "april": 420}
"""Minute of the local day at which each begins."""
DEEP = re.compile("deep|layer|thermocline", re.IGNORECASE)


def at(said: Sequence[Said], start_min: int, clock: str) -> list[Said]:
    """Everything said from a local time "HH:MM" on."""
    hours, minutes = map(int, clock.split(":"))
    return [one for one in said if one.quiet.t_s >= 60.0 * (60 * hours + minutes - start_min)]


def heading_of(trial: str) -> float:
    """The heading a test says to hold; NaN: none."""
    found = re.match(r"hold (\d{3}) ", trial)
    return float(found.group(1)) if found else math.nan


def with_helpers(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected of the day with load cells and a crew that tells."""
    start = LOCAL_START["day"]
    early = [one for one in said if one not in at(said, start, "09:20")]
    late = [one for one in at(said, start, "09:20") if one not in at(said, start, "10:20")]
    hinted = [one for one in at(said, start, "08:49") if one not in at(said, start, "09:03")]
    before_any = [one for one in said if one not in at(said, start, "08:36")]
    by_ten = [one for one in at(said, start, "10:00") if one not in at(said, start, "10:11")]
    s2 = [one for one in at(said, start, "09:20") if one not in at(said, start, "09:58")]
    suspected = [words for one in said for words in one.quiet.suspects]
    return {
        "no word of a quiet spell before 09:20": all(one.quiet.word == "usual" for one in early),
        "a quiet spell by 10:20": any(one.quiet.word in ("unusual", "rare") for one in late),
        "nothing differs before the turn": not any(one.quiet.differs for one in before_any),
        "the first hint is physical: bends": all("rod bend" in " ".join(one.quiet.differs) for one in hinted),
        "the first hint is physical: cables": all("cables" in " ".join(one.quiet.differs) for one in hinted),
        "the touch raises belief in deep current": touch_raises(said, told),
        "220 to 280 by 10:10": bool(by_ten)
        and all(220 <= heading_of(one.quiet.trial) <= 280 for one in by_ten),
        "the shear named, not as proof": any(
            one.quiet.reason.startswith("likely: lure speed") for one in late
        ),
        "something dragging on S2": all(any(w.startswith("S2 ") for w in one.quiet.suspects) for one in s2),
        "no other line suspected": all(words.startswith("S2 ") for words in suspected),
        "11 strikes": sum(event.kind == "fish on" for event in told) == 11,
    }


def touch_raises(said: Sequence[Said], told: Sequence[Event]) -> bool:
    """Whether the minutes after the first touch give more for a deep current along with the boat than those before."""
    touched_s = next((event.t_s for event in told if event.kind == "touch"), math.nan)
    heading = math.radians(30.0)
    before, after = (
        [
            one.water.slows(heading) if one.water is not None else 0.0
            for one in said
            if low < one.quiet.t_s <= high
        ]
        for low, high in ((touched_s - 240.0, touched_s), (touched_s + 60.0, touched_s + 300.0))
    )
    return bool(before and after) and (max(after) > max(before) or min(after) > 0.999)


def alone(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected without anything that sees the deep water before the touch."""
    touched_s = next((event.t_s for event in told if event.kind == "touch"), math.inf)
    early = [one for one in said if one.quiet.t_s < touched_s]
    return {
        "a touch soon after 09:00": 60.0 * (540 - LOCAL_START["day-alone"]) < touched_s < 60.0 * (560 - 370),
        "cannot tell before the touch": all(one.quiet.reason == "why: cannot tell" for one in early),
        "no word of deep water before it": not any(deep_words(one) for one in early),
        "no word of a quiet spell before 09:20": all(
            one.quiet.word == "usual"
            for one in said
            if one not in at(said, LOCAL_START["day-alone"], "09:20")
        ),
        "nothing suspected": not any(one.quiet.suspects for one in said),
        "the touch raises belief in deep current": touch_raises(said, told),
    }


def in_april(said: Sequence[Said], told: Sequence[Event]) -> dict[str, bool]:
    """What is expected of cold shallow water."""
    return {
        "never a word about a deep layer": not any(deep_words(one) for one in said),
        "no deep current worked out": all(one.water is None for one in said),
        "a silence was judged": any(one.quiet.word in ("unusual", "rare") for one in said),
        "a touch and soft bends were told": {"touch", "bend"} <= {event.kind for event in told},
    }


def deep_words(one: Said) -> bool:
    """Whether anything said speaks of deep water."""
    quiet = one.quiet
    return bool(DEEP.search(" ".join([quiet.reason, quiet.trial, *quiet.differs, *quiet.suspects])))


EXPECTED: Mapping[str, Callable[[Sequence[Said], Sequence[Event]], dict[str, bool]]] = {
    "day": with_helpers,
    "day-alone": alone,
    "april": in_april,
}


def whole(name: str, seed: int) -> tuple[list[Said], tuple[Event, ...]]:
    """A day through every step of the flow; what was said once a minute, and what was told."""
    config = day.config_of(name)
    one = day.Day(config, NoRecorder())
    found: list[Said] = []
    for frame in one.frames(day.stamped(name, seed, None)):
        lull, quiet = one.lull, frame.quiet
        if (
            quiet is not None
            and lull.table is not None
            and (not found or quiet.t_s - found[-1].quiet.t_s >= 59.0)
        ):
            found.append(Said(quiet, deep_water(lull.table, config.boat)))
    return found, one.lull.told


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--n", type=int, default=1)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--day", choices=list(EXPECTED), action="append")
    options = parser.parse_args(arguments)
    runs, met = [], True
    for seed in range(options.seed, options.seed + options.n):
        for name in options.day or EXPECTED:
            if options.whole:
                said, told = whole(name, seed)
            else:
                said, state = coarse(name, day.config_of(name), seed)
                told = state.told
            found = EXPECTED[name](said, told)
            met = met and all(found.values())
            missed = [what for what, good in found.items() if not good]
            runs.append(
                {"seed": seed, "day": name, "met": sum(found.values()), "of": len(found), "missed": missed}
            )
            print(json.dumps(runs[-1]), file=sys.stderr, flush=True)
    print(json.dumps({"whole": options.whole, "all_met": met, "runs": runs}))
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
