"""The status line of the terminal: time, speed, heading, and the depth of every lure, rewritten in place."""

from __future__ import annotations

import shutil
from typing import TextIO

from assistant.messages import Frame, Q
from assistant.units import DISPLAY_UNITS

REWRITE_S = 1.0
PLAIN_S = 10.0  # where lines cannot be rewritten (a file, a pipe) they come less often


def shown(q: Q, units: str) -> str:
    """A number in display units: "~" before one that is not ok, "--" for one that is not known."""
    if q.value is None or q.state == "dead":
        return "--"
    unit = DISPLAY_UNITS[units][q.unit]
    number = f"{q.value * unit.scale + unit.offset:.{unit.digits}f}"
    return ("" if q.state == "ok" else "~") + number


def status_line(frame: Frame, units: str) -> str:
    """One Frame in one line."""
    labels = {name: unit.label for name, unit in DISPLAY_UNITS[units].items()}
    clock = f"{frame.utc[11:19]} UTC" if frame.utc else f"{frame.t_s:.0f} s"
    speed, heading = (shown(frame.boat[name], units) for name in ("stw_mps", "heading_rad"))
    depths = "  ".join(f"{rod} {shown(line.depth_m, units)}" for rod, line in frame.lines.items())
    water = f"water {speed} {labels['m/s']}  heading {heading}{labels['rad']}"
    return f"{frame.mode}  {clock}  {water}  depth {labels['m']}: {depths}"


class StatusLine:
    """Shows frames on `stream`, rewriting one line on a terminal."""

    def __init__(self, stream: TextIO, units: str) -> None:
        self._stream = stream
        self._units = units
        self._rewrites = stream.isatty()
        self._next_s = 0.0

    def __call__(self, frame: Frame) -> None:
        """Show a frame, if it is time to."""
        if frame.t_s < self._next_s:
            return
        self._next_s = frame.t_s + (REWRITE_S if self._rewrites else PLAIN_S)
        line = status_line(frame, self._units)
        if self._rewrites:
            width = shutil.get_terminal_size().columns - 1
            self._stream.write(f"\r\x1b[K{line[:width]}")
        else:
            self._stream.write(line + "\n")
        self._stream.flush()

    def close(self) -> None:
        """Leave the last line standing."""
        if self._rewrites:
            self._stream.write("\n")
            self._stream.flush()
