"""Tell the daemon of this machine something, the way its page does."""

from __future__ import annotations

import http.client
import json
from collections.abc import Mapping

from assistant.errors import OptionError

TIMEOUT_S = 5.0
LONGEST = 65536  # bytes of an answer that are read


def tell(port: int, said: Mapping[str, str]) -> str:
    """Send a note to the daemon whose page is at `port`; returns what to print.

    Raises:
        OptionError: no daemon answers there, or it refuses the note; its own words.
    """
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
    try:
        link.request("POST", "/api/note", json.dumps(said), {"Content-Type": "application/json"})
        answer = link.getresponse()
        text = answer.read(LONGEST).decode("utf-8", "replace")
    except (OSError, http.client.HTTPException):
        raise OptionError(
            f"nobody answers on port {port} of this machine: start `spreadwatch run`, or give its --port"
        ) from None
    finally:
        link.close()
    if answer.status == 200:
        return f"{said['rod']}: taken"
    try:
        raise OptionError(str(json.loads(text)["error"]))
    except (ValueError, TypeError, KeyError):
        raise OptionError(f"port {port} is no page of spreadwatch (it says {answer.status})") from None
