"""What a newcomer changes in under ten lines: each change is made to a copy of the source, and works there."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

TREES = ("assistant", "firmware_bridge", "sim", "configs")


@dataclass(frozen=True)
class Change:
    """Edits (file, text before which the new text goes, new text), and code that shows the effect as `shows`."""

    what: str
    edits: tuple[tuple[str, str, str], ...]
    code: str
    shows: str


SCENARIO = """about = "a test"
legs = [{ duration_s = 20, speed_mph = 2.0, heading_deg = 90 }]
"""
PLAY = """
import subprocess, sys
from pathlib import Path
args = ["NAME", "--to", "file:out.nmea", "--seconds", "10"]
subprocess.run([sys.executable, "-m", "sim", *args], check=True, stderr=subprocess.DEVNULL)
"""
DISC = "configs/bodies/disc-standard.toml"
MONO = "configs/lines/mono-40.toml"
SPREAD = "configs/spread.toml"

CHANGES = (
    Change(
        what="a sentence: one row",
        edits=(
            (
                "assistant/sensing/sentences.py",
                '    Row("MTW",',
                '    Row("MTA", (Field("xdr_temp_c", "value", CELSIUS, "unit"),), names=("value", "unit")),\n',
            ),
        ),
        code="from assistant.messages import Sentence\nfrom assistant.sensing.nmea import decode\n"
        'print(decode(Sentence(0.0, "x", "$IIMTA,50.0,F*00")).readings[0].value)',
        shows="10.0",
    ),
    Change(
        what="a line type: one file",
        edits=(
            (SPREAD, '    { line = "wire-30" },', '    { line = "my-wire" },\n#'),
            ("configs/lines/my-wire.toml", "", MONO),
        ),
        code="from assistant import config\nprint(config.load().rods[1].rig[0].line)",
        shows="my-wire",
    ),
    Change(
        what="a disc: one file",
        edits=(
            (
                SPREAD,
                '    { body = "disc-large", setting = 1.0 },',
                '    { body = "my-disc", setting = 1.0 },\n#',
            ),
            ("configs/bodies/my-disc.toml", "", DISC),
        ),
        code="from assistant import config\nprint(config.load().bodies['my-disc'].setting_max)",
        shows="3.5",
    ),
    Change(
        what="a configuration key: one row and one field",
        edits=(
            (
                "assistant/config_keys.py",
                '    Key("gravity_m_s2"',
                '    Key("berth_m", number(0.0, 99.0, "m"), "its length"),\n',
            ),
            ("assistant/configured.py", "    gravity_m_s2: float", "    berth_m: float = 0.0\n"),
            ("configs/boat.toml", "title =", "berth_m = 7.5\n"),
        ),
        code="from assistant import config\nprint(config.load().boat.berth_m)",
        shows="7.5",
    ),
    Change(
        what="a display unit: one row",
        edits=(
            (
                "assistant/units.py",
                '        "m/s": DisplayUnit(1.0 / MPH',
                '        "m": DisplayUnit(1 / FATHOM_M, 0.0, 1, "fm"),\n',
            ),
        ),
        code="from assistant.messages import Q\nfrom assistant.terminal import shown\n"
        'print(shown(Q(18.288, 18.0, 19.0, "m", "ok", 0.0, "x"), "angler"))',
        shows="10.0",
    ),
    Change(
        what="a published topic: one row",
        edits=(
            (
                "assistant/payloads.py",
                '    Topic(suffix="panel"',
                '    Topic(suffix="clock", payloads=lambda f: {"clock": to_json(f.t_s)}, retained=True, qos=1),\n',
            ),
        ),
        code="from assistant import payloads\nfrom assistant.messages import Frame\n"
        'print(payloads.topic_messages(Frame(2.5, None, 0, "live", {}, {}))["clock"][0].decode())',
        shows="2.5",
    ),
    Change(
        what="a source: one row and one wire",
        edits=(
            (
                "firmware_bridge/instruments.py",
                '    "stdin": Scheme',
                '    "echo": Scheme("echo:TEXT", lambda rest: partial(wires.echo_wire, rest), ends=True),\n',
            ),
            (
                "firmware_bridge/wires.py",
                "async def stdin_wire",
                "async def echo_wire(text: str) -> AsyncIterator[bytes]:\n"
                '    """The text itself."""\n'
                "    yield text.encode()\n\n\n",
            ),
        ),
        code="import asyncio\nfrom firmware_bridge.instruments import open_source\n"
        'async def f():\n    return [s.text async for s in open_source("echo:$GPTXT,hi*62", lambda: 0.0)]\n'
        "print(asyncio.run(f()))",
        shows="['$GPTXT,hi*62']",
    ),
    Change(
        what="a scenario: one file",
        edits=(("sim/scenarios/my-day.toml", "", SCENARIO),),
        code=PLAY.replace("NAME", "my-day") + 'print("$" in Path("out.nmea").read_text())',
        shows="True",
    ),
    Change(
        what="a fault: one row",
        edits=(
            (
                "sim/faults.py",
                '    "noise": lambda',
                '    "upside down": lambda s, size: Sending(s.t_s, s.text[::-1]),\n',
            ),
            (
                "sim/scenarios/my-day.toml",
                "",
                SCENARIO + '[[faults]]\nkind = "upside down"\nsentence = "*"\nstart_s = 0\nstop_s = 99\n',
            ),
        ),
        code=PLAY.replace("NAME", "my-day") + 'print(Path("out.nmea").read_text().split()[0].endswith("$"))',
        shows="True",
    ),
)


@pytest.fixture
def copy(root: Path, tmp_path: Path) -> Path:
    """The source, to be changed."""
    ignore = shutil.ignore_patterns("__pycache__", "*.nbi", "*.nbc")
    for tree in TREES:
        shutil.copytree(root / tree, tmp_path / tree, ignore=ignore)
    return tmp_path


@pytest.mark.parametrize("change", CHANGES, ids=[change.what for change in CHANGES])
def test_change_in_under_ten_lines(change: Change, copy: Path) -> None:
    lines = 0
    for name, before, new in change.edits:
        file = copy / name
        if not before:  # a file of its own: data, and no line of code
            file.write_text((copy / new).read_text() if new.endswith(".toml") else new)
            continue
        text = file.read_text()
        assert before in text, f"{name}: {before}"
        lines += new.count("\n")
        file.write_text(text.replace(before, new + before, 1))
    assert lines < 10
    env = {**os.environ, "PYTHONPATH": str(copy)}
    run = [sys.executable, "-c", change.code]
    done = subprocess.run(run, cwd=copy, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == change.shows
