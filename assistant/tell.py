"""Tell the daemon of this machine something, the way its page does."""

from __future__ import annotations

import http.client
import json
from collections.abc import Mapping

from assistant.errors import OptionError

TIMEOUT_S = 5.0
LONGEST = 65536  # bytes of an answer that are read


def tell(port: int, said: Mapping[str, str]) -> str:
    """Send a note to the daemon whose page is at `port`; returns what to print. Raises what `ask` raises."""
    ask(port, "/api/note", said)
    return f"{said['rod']}: taken"


def mark(port: int, said: Mapping[str, object]) -> str:
    """Send an event likewise; it is on the disk when this returns. Raises what `ask` raises."""
    return (
        f"{said.get('rod', 'boat')}: {said['kind']} saved as number {ask(port, '/api/event', said)['saved']}"
    )


def ask(port: int, path: str, said: Mapping[str, object]) -> dict[str, object]:
    """Post something to the daemon whose page is at `port`; its answer.

    Raises:
        OptionError: no daemon answers there, or it refuses; its own words.
    """
    return answer_of(port, "POST", path, TIMEOUT_S, LONGEST, json.dumps(said))


def answer_of(
    port: int, method: str, path: str, timeout_s: float, longest: int, body: str | None = None
) -> dict[str, object]:
    """What the daemon whose page is at `port` answers to a request; `longest`: bytes of it that are read.

    Raises:
        OptionError: no daemon answers there, or it refuses; its own words.
    """
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout_s)
    try:
        link.request(method, path, body, {} if body is None else {"Content-Type": "application/json"})
        answer = link.getresponse()
        text = answer.read(longest).decode("utf-8", "replace")
    except (OSError, http.client.HTTPException):
        raise OptionError(
            f"nobody answers on port {port} of this machine: start `spreadwatch run`, or give its --port"
        ) from None
    finally:
        link.close()
    try:
        if answer.status == 200:
            return dict(json.loads(text))
        raise OptionError(str(json.loads(text)["error"]))
    except (ValueError, TypeError, KeyError):
        raise OptionError(f"port {port} is no page of spreadwatch (it says {answer.status})") from None
