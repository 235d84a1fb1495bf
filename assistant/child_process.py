"""A second process of this program for work that would hold the first one up, spoken to over stdin and stdout."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def started(code: str) -> subprocess.Popen[bytes]:
    """Run a line of Python with the modules this process has. It is in a session of its own: Ctrl-C reaches us only."""
    home = str(Path(__file__).resolve().parent.parent)
    paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.Popen(
        [sys.executable, "-P", "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        start_new_session=True,
    )
