"""`spreadwatch solve`: reads towing cases from JSON files, prints one JSON object a line."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from assistant.lines.cases import CaseError, NoSteadyShape, solve

NOT_SOLVED = 2


def main(paths: Sequence[str]) -> int:
    """Solve all cases of all files; a bad one is told on stderr and the others still printed.

    Returns:
        0, or 2 if any case or file was bad.
    """
    code = 0
    for path in paths:
        try:
            cases = list(_cases(Path(path)))
        except (OSError, ValueError, RecursionError) as error:
            print(
                f'{path}: {error}; next step: give a JSON file with one case or {{"cases": [...]}}',
                file=sys.stderr,
            )
            code = NOT_SOLVED
            continue
        for number, case in enumerate(cases):
            if not _print_result(path, number, case):
                code = NOT_SOLVED
    return code


def _cases(path: Path) -> Iterator[Any]:
    data = json.loads(path.read_text(encoding="utf-8-sig"))
    if isinstance(data, Mapping) and "cases" in data:
        data = data["cases"]
        if not isinstance(data, list):
            raise ValueError(f"cases: {type(data).__name__}; allowed: a list")
        yield from data
    else:
        yield data


def _print_result(path: str, number: int, case: Any) -> bool:
    name: Any = f"#{number}"
    try:
        if not isinstance(case, Mapping):
            raise CaseError(f"{type(case).__name__}; allowed: an object")
        name = case.get("id", name)
        result = solve(case)
        line = json.dumps({"id": case.get("id"), "result": result}, allow_nan=False)
    except (CaseError, NoSteadyShape, ValueError, TypeError, IndexError, KeyError, OverflowError) as error:
        print(f"{path}: case {name}: {error}", file=sys.stderr)
        return False
    print(line, flush=True)
    return True


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
