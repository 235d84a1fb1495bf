"""What every request has to pass, and what every answer carries: ASGI middleware.

Only our own page may talk to our server: Host and Origin are compared whole against lists (against DNS
rebinding and cross-site requests), and anything that changes state must come from this machine and be JSON
(which a foreign page cannot send without asking first). A WebSocket obeys no same-origin policy but this one.
Plain http brings no Sec-Fetch headers to rely on.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOCAL_NAMES = ("127.0.0.1", "localhost", "[::1]")

ANSWER_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; object-src 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def allowed_hosts(names: Collection[str], port: int) -> frozenset[str]:
    """Every Host header that is ours: each name with the port, and bare where the port is http's own."""
    bare = [name.lower() for name in names]
    return frozenset([f"{name}:{port}" for name in bare] + (bare if port == 80 else []))


def is_loopback(scope: Scope) -> bool:
    """Whether the request comes from this machine."""
    client = scope.get("client")
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


class Guard:
    """Refuse what is not ours with 403 or 415, and put ANSWER_HEADERS on every answer."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str]) -> None:
        self.app = app
        self.hosts = hosts
        self.origins = frozenset(f"http://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The ASGI application."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] in ("http.response.start", "websocket.http.response.start"):
                MutableHeaders(scope=message).update(ANSWER_HEADERS)
            await send(message)

        refused = self._refusal(scope)
        await (refused or self.app)(scope, receive, send_guarded)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return PlainTextResponse("refused: this host name is not one of ours\n", 403)
        if len(origins) > 1 or (origins and origins[0].lower() not in self.origins):
            return PlainTextResponse("refused: not asked for by our own page\n", 403)
        if scope["type"] == "websocket" or scope["method"] in ("GET", "HEAD"):
            return None  # a WebSocket is sent what anybody may read, and changes nothing
        if not is_loopback(scope):
            return PlainTextResponse("refused: changes only from the boat's own computer\n", 403)
        if headers.get("content-type", "").split(";")[0].strip().lower() != "application/json":
            return PlainTextResponse("refused: changes must be application/json\n", 415)
        return None
