"""Advice on a turn that is asked for under way: its forecasts wait their turn behind the live ones."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import NamedTuple

from assistant.ahead.advice import Wanted, advise, doubt_of
from assistant.ahead.following import Question
from assistant.ahead.manoeuvre import Manoeuvre
from assistant.ahead.outlook import Forecast
from assistant.configured import Config
from assistant.lines.spread import SpreadState
from assistant.messages import BoatState, LineState
from assistant.payloads import to_json
from assistant.web.settings import Refused


class Live(NamedTuple):
    """The boat and its lines at one instant, and what was foreseen then."""

    spread: SpreadState
    boat: BoatState
    lines: Mapping[str, LineState]
    outlook: Forecast | None


Look = Callable[[Question, SpreadState], Awaitable[Forecast]]


async def worked_out(config: Config, question: Question, live: Live, look: Look) -> bytes:
    """What would keep every line clear through that turn, as a JSON object: `lines` in words.

    Args:
        look: the forecast of a question about the lines at that instant.
    Raises:
        Refused: it is no turn; or forecasts fail meanwhile.
    """
    turn, boat = question.manoeuvre, live.boat
    if question.kind != "turn":
        raise Refused(422, "side: advice is on turns; want port or starboard")
    speed, heading = boat.stw_mps.value, boat.heading_rad.value
    if speed is None or heading is None:
        raise Refused(503, "no advice: speed or heading is not known")
    wanted = Wanted(turn.angle_rad(), turn.rate_radps, heading, speed, config.alerts, config.boat.units)
    loop = asyncio.get_running_loop()

    def from_thread(manoeuvre: Manoeuvre) -> Forecast:
        asked = look(Question("turn", manoeuvre), live.spread)
        return asyncio.run_coroutine_threadsafe(_awaited(asked), loop).result()

    found = await asyncio.to_thread(
        advise, wanted, from_thread, live.lines, live.outlook, doubt_of(boat)
    )  # fmt: skip
    unknown = sorted({rod for option in found.options for rod in option.unknown})
    said = {"lines": list(found.lines()), "why": found.why, "offered": len(found.options)}
    return to_json({**said, "bottom_unknown": unknown})


async def _awaited(asked: Awaitable[Forecast]) -> Forecast:
    return await asked
