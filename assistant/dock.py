"""`spreadwatch depth`: one rod at the dock, or its line-out card, as text or JSON."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from assistant import config as configuration
from assistant.configured import Config
from assistant.dock_ask import Asked, Question, asked
from assistant.dock_text import answer_text, card_text
from assistant.errors import OptionError
from assistant.lines import dock
from assistant.lines.conditions import TESTED_OUT_M
from assistant.lines.depth_curve import depth_curve
from assistant.lines.steady import NoSteadyShape
from assistant.payloads import line_object, q_object
from assistant.units import FOOT_M

STEPS_M = {
    "angler": [k * FOOT_M for k in (5, 10, 15, 20, 25, 50)],
    "metric": [1.0, 2.0, 3.0, 5.0, 10.0, 20.0],
}
"""Steps of wanted depth a card may have, by display units."""
MARKS_M = {"angler": FOOT_M, "metric": 0.5}  # a card's numbers are multiples of this
MAX_ROWS = 12  # one screen of 24 lines with what is said around them
CARD_REACH = 2.0  # times the line out of spread.toml, when no --out is given


def answer(config: Config, name: str, question: Question, as_json: bool) -> str:
    """Depth, swing, distance astern, pull and lure speed of one rod.

    Raises:
        OptionError: what was asked makes no sense.
    """
    wanted = asked(config, name, question)
    ready = dock.at_dock(config)
    state = dock.line_at(ready, wanted.k, wanted.ask)
    if as_json:
        said = {"conditions": list(state.conditions), **_not_used(ready)}
        return _json(wanted, name, {**line_object(state), **said})
    return answer_text(config, wanted, state, ready.counter(wanted.k)) + _warning(ready)


def card(config: Config, name: str, question: Question, as_json: bool) -> str:
    """The line-out card of one rod: wanted depth -> number on its counter.

    Raises:
        OptionError: what was asked makes no sense, or no line out has a steady shape.
    """
    wanted = asked(config, name, question)
    if question.out is None:
        reach = min(CARD_REACH * wanted.ask.line_out_m, max(TESTED_OUT_M, wanted.ask.line_out_m))
        wanted = replace(wanted, ask=replace(wanted.ask, line_out_m=reach))
    ready = dock.at_dock(config)
    units = config.boat.units
    try:
        made = dock.card(ready, wanted.k, wanted.ask, lambda deep_m: depths(deep_m, units), MARKS_M[units])
    except (NoSteadyShape, ValueError) as error:
        raise OptionError(f"no card for {name}: {error}") from None
    if as_json:
        rows = [
            {
                "wanted_m": round(r.wanted_m, 4),
                "line_out_m": round(r.line_out_m, 4),
                "depth_m": q_object(r.depth_m),
            }
            for r in made.rows
        ]
        edges = {key: dict(zip(("depth_m", "line_out_m"), place, strict=True))
                 for key, place in (("shallowest", made.shallowest), ("deepest", made.deepest))}  # fmt: skip
        evidence = ready.counter(wanted.k).evidence
        more = {"more_is_no_deeper": made.rises, "rows": rows, **_not_used(ready)}
        return _json(wanted, name, {"evidence": evidence, **edges, **more})
    return card_text(config, wanted, made, ready.counter(wanted.k)) + _warning(ready)


def _not_used(ready: dock.Dock) -> dict[str, str]:
    return {"not_used": ready.refused} if ready.refused else {}


def _warning(ready: dock.Dock) -> str:
    return f"\nNot used: {ready.refused}." if ready.refused else ""


def depths(deepest_m: float, units: str) -> Sequence[float]:
    """Wanted depths [m] down to the deepest reach: the finest steps that make no more rows than fit."""
    steps = STEPS_M[units]
    step = next((s for s in steps if deepest_m / s < MAX_ROWS + 1), steps[-1])
    return [k * step for k in range(1, int(deepest_m / step + 1e-9) + 1)]


def _json(wanted: Asked, name: str, rest: dict[str, Any]) -> str:
    head = {
        "rod": name,
        "line_out_m": round(wanted.ask.line_out_m, 6),
        "setting": wanted.dial,
        "speed_mps": round(wanted.ask.speed_mps, 6),
        "water_temp_c": None if wanted.water_temp_c is None else round(wanted.water_temp_c, 6),
    }
    return json.dumps({**head, **rest}, allow_nan=False)


def curve_us(times: int = 200, rounds: int = 20) -> float:
    """CPU time [us] of one depth-versus-line-out curve: the packaged spread's rods in turn, best of several rounds."""
    config = configuration.load()
    ready = dock.at_dock(config)
    asks = [asked(config, rod.name, Question()).ask for rod in config.rods]
    chains = [dock.chain_of(ready, k, ask) for k, ask in enumerate(asks)]
    best_s = float("inf")
    for _ in range(rounds):
        start_s = time.thread_time()
        for n in range(times):
            ask = asks[n % len(asks)]
            depth_curve(chains[n % len(asks)], ask.water, ask.speed_mps)
        best_s = min(best_s, (time.thread_time() - start_s) / times)
    return round(1e6 * best_s, 1)
