"""A port to listen on: the one asked for, else the next that is free."""

from __future__ import annotations

import socket

from assistant.web.events import SEND_BUFFER_BYTES


def listening(host: str, first: int, tried: int, instead: str) -> socket.socket:
    """Listen on the first free port from `first` on.

    Args:
        tried: how many; instead: what to choose where none is free, for the error.

    Raises:
        OSError: none of them is free.
    """
    for port in range(first, min(first + tried, 65536)):
        listener = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)  # inherited
        try:
            listener.bind((host, port))
            listener.listen()
        except OSError:
            listener.close()
            continue
        return listener
    raise OSError(f"no free port on {host} from {first} on: choose another {instead}")
