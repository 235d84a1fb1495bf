"""The simulator as a process of its own: the brain never imports it."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

STOP_S = 3.0

# The child leaves when its stdin closes, so that it never outlives us, however we end.
_CHILD = """
import os, runpy, threading
threading.Thread(target=lambda: (os.read(0, 1), os._exit(0)), daemon=True).start()
runpy.run_module("sim", run_name="__main__", alter_sys=True)
"""


def command(arguments: Sequence[str]) -> list[str]:
    """`python -m sim ...`; -P so that a folder `sim` where the user happens to be is not taken for it."""
    return [sys.executable, "-P", "-m", "sim", *arguments]


def environment() -> dict[str, str]:
    """The environment in which that command finds the `sim` that lies beside this package."""
    home = str(Path(__file__).resolve().parent.parent)
    paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


def become(arguments: Sequence[str]) -> None:
    """Replace this process by the simulator; does not return."""
    sys.stdout.flush()
    sys.stderr.flush()
    os.execve(sys.executable, command(arguments), environment())


@contextlib.contextmanager
def running(arguments: Sequence[str]) -> Iterator[subprocess.Popen[bytes]]:
    """The simulator beside us; it ends with the block. Ctrl-C reaches us only: we end it in our own time."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-c", _CHILD, *arguments],
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.terminate()
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
