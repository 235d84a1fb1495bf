"""No test of the flow leaves a process behind."""

from __future__ import annotations

from collections.abc import Iterator

import flow_tools
import pytest


@pytest.fixture(autouse=True)
def _ends_what_it_started() -> Iterator[None]:
    yield
    while flow_tools.STARTED:
        process = flow_tools.STARTED.pop()
        if process.poll() is None:
            process.kill()
        process.communicate()
