"""What every folder of tests may ask for: a tool of the machine, and the shared folder of recorded logs."""

from __future__ import annotations

import json
import os
import shutil
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def need() -> Callable[[str], str]:
    """need("mosquitto") -> its path; without it the test skips, or fails when CI=true says it is there."""

    def find(tool: str) -> str:
        path = shutil.which(tool, path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
        if path is None:
            missing = f"{tool} is not installed; bash tests/run.sh installs it where root or sudo is at hand"
            if os.environ.get("CI") == "true":
                pytest.fail(missing)
            pytest.skip(missing)
        return path

    return find


@pytest.fixture(scope="session")
def player_bar() -> Callable[..., dict[str, Any]]:
    """player_bar(url, do="pause") -> where the bar of a recording then is; the url ends with a slash."""

    def ask(url: str, **what: object) -> dict[str, Any]:
        body, headers = json.dumps(what).encode(), {"Content-Type": "application/json"}
        request = urllib.request.Request(f"{url}api/player", body, headers)
        with urllib.request.urlopen(request, timeout=5.0) as answer:
            read: dict[str, Any] = json.load(answer)
        return read

    return ask


@pytest.fixture(scope="session")
def shared() -> Path:
    """The shared folder: SPREADWATCH_SHARED, else ../shared of the repository; without it the test skips."""
    folder = Path(os.environ.get("SPREADWATCH_SHARED") or ROOT.parent / "shared")
    if not folder.is_dir():
        pytest.skip(f"no shared folder at {folder}; set SPREADWATCH_SHARED to where it is")
    return folder


@pytest.fixture(scope="session", autouse=True)
def _outings_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a test records is none of the user's outings."""
    before = os.environ.get("XDG_DATA_HOME")
    os.environ["XDG_DATA_HOME"] = str(tmp_path_factory.mktemp("data"))
    yield
    if before is None:
        del os.environ["XDG_DATA_HOME"]
    else:
        os.environ["XDG_DATA_HOME"] = before


@pytest.fixture(scope="session")
def root() -> Path:
    """The root of the repository."""
    return ROOT
