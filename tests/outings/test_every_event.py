"""Every kind of event there is, by the page's address, by `spreadwatch mark` and over MQTT, into a running daemon."""

from __future__ import annotations

import json
import signal
import sys
import urllib.request
from pathlib import Path

import paho.mqtt.publish
import pytest
from click.testing import CliRunner
from outing_tools import only_outing

from assistant.__main__ import main
from assistant.notes import kinds
from assistant.outings.happenings import KINDS

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "flow"))

from flow_tools import feeding_udp, free_ports, get_frame, start, summary_of, until

VALUES = {
    "line out": "150 ft", "setting": "1.5", "rod state": "aboard", "speed": "1.9 mph", "temperature": "50 F",
    "pull": "3 lb", "depth": "70 ft", "lean": "straight", "bend": "soft", "touch": "bottom",
}  # fmt: skip
TOLD = [(kind, VALUES.get(kind)) for kind in (*KINDS, *kinds()) if kind != "withdrawn"]


def test_every_kind_has_a_value_here() -> None:
    """Else a new one would be left out: those without a value are what happens on a rod."""
    assert {kind for kind, value in TOLD if value is None} == {
        "fish on", "hook-up", "landed", "lost", "trip", "re-armed", "checked", "cleaned", "back as it was",
        "wheel fouled", "wheel clear",
    }  # fmt: skip
    assert set(VALUES) <= {kind for kind, _ in TOLD}


def said(kind: str, value: str | None) -> dict[str, object]:
    """An event of P1 as an object."""
    return {"rod": "P1", "kind": kind} | ({} if value is None else {"value": value})


def test_every_kind_by_every_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All of them are in the outing in the order in which they were told, each with how the line ran before it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    page, broker = free_ports(2)
    (udp,) = free_ports(1)
    options = ["--source", f"udp:{udp}", "--broker", f"embedded:{broker}", "--port", page]
    process = start("run", *options, "--outings", tmp_path / "spreadwatch")
    try:
        with feeding_udp(udp):
            until(lambda: (f := get_frame(page)) and f["lines"]["P1"]["depth_m"]["value"], process)
            for kind, value in TOLD:
                body = json.dumps(said(kind, value)).encode()
                request = urllib.request.Request(
                    f"http://127.0.0.1:{page}/api/event", body, {"Content-Type": "application/json"}
                )
                urllib.request.urlopen(request, timeout=10.0).close()
            for kind, value in TOLD:
                words = ["P1", *kind.split(), *([] if value is None else [value])]
                told = CliRunner().invoke(main, ["mark", "--port", str(page), *words])
                assert told.exit_code == 0, told.output
            messages = [
                ("spreadwatch/marigold/event", json.dumps(said(kind, value)), 1, False)
                for kind, value in TOLD
            ]
            paho.mqtt.publish.multiple(messages, port=broker)
            wrong = CliRunner().invoke(main, ["mark", "--port", str(page), "P1", "line", "out", "9000", "ft"])
            assert (wrong.exit_code, "0..1968 ft" in wrong.stderr) == (2, True), wrong.stderr
            until(
                lambda: len(only_outing(tmp_path / "spreadwatch").events()) == 3 * len(TOLD), process
            )  # MQTT answers nothing
        process.send_signal(signal.SIGINT)
        summary_of(process, 30.0)
    finally:
        process.kill()
    found = list(only_outing(tmp_path / "spreadwatch").events().values())
    ways = [one.event.source for one in found]
    assert ways == ["typed"] * 2 * len(TOLD) + ["mqtt"] * len(TOLD)
    for part in range(3):
        events = [one.event for one in found[part * len(TOLD) : (part + 1) * len(TOLD)]]
        assert [(event.kind, event.value) for event in events] == TOLD
    assert all(one.event.rod == "P1" for one in found)
    assert all(one.line["depth_m"] > 1.0 for one in found if one.event.kind == "fish on")
