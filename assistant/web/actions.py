"""What the page may do about an alert, checked. Pure."""

from __future__ import annotations

import json
from typing import Literal, get_args

from assistant.messages import AlertAction
from assistant.web.settings import Refused, short

Kind = Literal["acknowledge", "mute", "shelve"]
KEY_LENGTH = 100


def parse_action(body: bytes, t_s: float) -> AlertAction:
    """Read `{"do": "acknowledge", "key": KEY}`; `mute` needs no key.

    Raises:
        Refused: anything wrong with it.
    """
    try:
        asked = json.loads(body)
    except (ValueError, RecursionError):
        raise Refused(400, "body: not readable as JSON") from None
    if not isinstance(asked, dict) or not set(asked) <= {"do", "key"}:
        raise Refused(400, f'body {short(asked)}: want {{"do": "acknowledge", "key": KEY}}')
    key = asked.get("key")
    kinds: tuple[Kind, ...] = get_args(Kind)
    for kind in kinds:
        if asked.get("do") != kind:
            continue
        if kind == "mute":
            return AlertAction(t_s, kind)
        if not isinstance(key, str) or not 0 < len(key) <= KEY_LENGTH:
            raise Refused(422, f"key {short(key)}: want the key of an alert")
        return AlertAction(t_s, kind, key)
    raise Refused(422, f"do {short(asked.get('do'))}: want one of {', '.join(kinds)}")
