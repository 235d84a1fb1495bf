"""An alert seen on one screen is seen on all: the daemon as people start it, and two pages that watch it."""

from __future__ import annotations

import contextlib
import http.client
import json
import signal
import threading
import urllib.request
from typing import Any

from flow_tools import feeding_udp, free_ports, get_frame, start, summary_of, until
from test_daemon import lines_known, udp_port

SEEN_S = 1.0  # on the flow's clock


class Screen(threading.Thread):
    """A page: keeps (t_s, phase by key) of every frame that comes."""

    def __init__(self, page: int) -> None:
        super().__init__(daemon=True)
        self._page = page
        self.shown: list[tuple[float, dict[str, str]]] = []

    def run(self) -> None:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self._page, timeout=60)) as link:
            link.request("GET", "/events")
            with link.getresponse() as answer:
                while line := answer.readline():
                    if line.startswith(b"data:"):
                        self._take(json.loads(line[5:]))

    def _take(self, state: dict[str, Any]) -> None:
        self.shown.append((state["t_s"], {one["key"]: one["phase"] for one in state["alerts"]}))

    def standing(self) -> str | None:
        """A key that stands and nobody has seen."""
        now = self.shown[-1][1] if self.shown else {}
        return next((key for key, phase in now.items() if phase == "active"), None)

    def seen_s(self, key: str, from_s: float) -> float | None:
        """When it was first shown as seen."""
        return next(
            (t for t, now in list(self.shown) if t >= from_s and now.get(key) == "acknowledged"), None
        )


def act(page: int, body: dict[str, Any]) -> None:
    """What a tap sends."""
    asked = urllib.request.Request(
        f"http://127.0.0.1:{page}/api/alert", json.dumps(body).encode(), {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(asked, timeout=20.0) as answer:
        assert answer.status == 200


def test_seen_on_one_screen_is_seen_on_both_within_a_second() -> None:
    """All instruments fall silent; somebody taps `Seen` on one of two pages."""
    udp, (page,) = udp_port(), free_ports(1)
    process = start("run", "--source", f"udp:{udp}", "--broker", "none", "--outings", "none", "--port", page)
    with feeding_udp(udp):
        until(lambda: lines_known(page), process)
    screens = [Screen(page) for _ in range(2)]
    for screen in screens:
        screen.start()
    key = until(lambda: all(screen.standing() for screen in screens) and screens[0].standing(), process)
    act(page, {"do": "acknowledge", "key": key})
    frame = get_frame(page)
    assert frame is not None
    times = [until(lambda one=screen: one.seen_s(key, frame["t_s"] - SEEN_S), process) for screen in screens]
    assert max(times) - frame["t_s"] <= SEEN_S
    process.send_signal(signal.SIGINT)
    summary_of(process)
    for screen in screens:
        screen.join(10.0)
