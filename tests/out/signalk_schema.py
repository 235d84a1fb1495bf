"""Messages judged by the published schema of Signal K: its own npm package, run by node."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

PACKAGE = "@signalk/signalk-schema"
MODULES = Path(sys.prefix) / "node" / "node_modules"
"""Where tests/run.sh installs it."""

SCRIPT = """
const schema = require("@signalk/signalk-schema");
const tv4 = schema.getTv4();
const dir = "@signalk/signalk-schema/schemas/";
const judges = {
  delta: (m) => schema.validateDelta(m),
  full: (m) => schema.validateFull(Object.assign(schema.deltaToFull(m), {version: "1.8.2"})),
  hello: (m) => tv4.validateMultiple(m, require(dir + "hello.json"), true, true),
  discovery: (m) => tv4.validateMultiple(m, require(dir + "discovery.json"), true, true),
  subscribe: (m) => tv4.validateMultiple(m, require(dir + "messages/subscribe.json"), true, true),
  units: (m) => ({valid: true, errors: [], found: schema.getUnits(m) || null}),
  known: (m) => ({valid: schema.getMetadata(m) !== undefined, errors: []}),
};
const asked = JSON.parse(require("fs").readFileSync(0));
console.log(JSON.stringify(asked.map(([judge, message]) => {
  const said = judges[judge](message);
  return {valid: said.valid, found: said.found, errors: said.errors.map((e) => e.dataPath + " " + e.message)};
})));
"""

Judge = Callable[[Sequence[tuple[str, object]]], list[dict[str, Any]]]


def judge_with(node: str) -> Judge:
    """A function that gives what the schema says of [(judge, message), ...]; it skips where the package is not."""
    if not (MODULES / PACKAGE).is_dir():
        missing = (
            f"{PACKAGE} is not in {MODULES.name} of this environment; bash tests/run.sh installs it with npm"
        )
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)

    def judge(asked: Sequence[tuple[str, object]]) -> list[dict[str, Any]]:
        run = subprocess.run(
            [node, "-e", SCRIPT],
            input=json.dumps(list(asked)),
            env={**os.environ, "NODE_PATH": str(MODULES)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert run.returncode == 0, run.stderr
        found: list[dict[str, Any]] = json.loads(run.stdout)
        return found

    return judge
