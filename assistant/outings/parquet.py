"""The Frames of an outing as Apache Parquet, a stretch of them at a time: a day does not have to fit in memory.

pyarrow reads and writes it; the package is an extra of its own, because it is larger than everything else together.
"""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

from assistant.errors import OptionError
from assistant.messages import BOAT_QUANTITIES, LINE_QUANTITIES
from assistant.outings.recording import opening_of
from assistant.replay import replay

GROUP = 1800  # Frames in a row group: a quarter of an hour live
NUMBERS = ("value", "low", "high")


def columns_of(rods: list[str]) -> list[str]:
    """Name of every published number of a Frame: those of the boat, then ROD.QUANTITY."""
    return [*BOAT_QUANTITIES, *(f"{rod}.{name}" for rod in rods for name in LINE_QUANTITIES)]


class _Groups(io.BytesIO):
    """Takes Frames as a replay writes them; every GROUP of them becomes a row group."""

    def __init__(self, arrow: Any, writer: Any, schema: Any, rods: list[str]) -> None:
        super().__init__()
        self._arrow, self._writer, self._schema, self._rods = arrow, writer, schema, rods
        self._columns: list[list[object]] = [[] for _ in schema]

    def write(self, line: bytes, /) -> int:  # type: ignore[override]  # of bytes, as a replay has them
        """One Frame."""
        frame = json.loads(line)
        qs = [frame["boat"][name] for name in BOAT_QUANTITIES]
        qs += [frame["lines"][rod][name] for rod in self._rods for name in LINE_QUANTITIES]
        cells = [frame["t_s"], frame["utc"], *(q[part] for q in qs for part in (*NUMBERS, "state"))]
        for column, cell in zip(self._columns, cells, strict=True):
            column.append(cell)
        if len(self._columns[0]) >= GROUP:
            self.end()
        return len(line)

    def end(self) -> None:
        """Write what is left as a row group."""
        if self._columns[0]:
            arrays = [
                self._arrow.array(cells, type=row.type)
                for cells, row in zip(self._columns, self._schema, strict=True)
            ]
            self._writer.write_table(self._arrow.Table.from_arrays(arrays, schema=self._schema))
            self._columns = [[] for _ in self._schema]


def as_parquet(folder: Path) -> bytes:
    """One row for each Frame that was made live: SI, low and high beside each number; unknown is null.

    Raises:
        OptionError: pyarrow is not installed.
        LogError: the outing cannot be read.
    """
    try:
        import pyarrow as arrow
        from pyarrow import parquet
    except ImportError:
        raise OptionError("Parquet needs pyarrow: pip install 'spreadwatch[parquet]'") from None
    opening = opening_of(folder)
    rods = [rod.name for rod in opening.config.rods]
    state = arrow.dictionary(arrow.int8(), arrow.string())
    rows = [("t_s", arrow.float64()), ("utc", arrow.string())]
    for name in columns_of(rods):
        rows += [(name, arrow.float64()), (f"{name}.low", arrow.float64()), (f"{name}.high", arrow.float64())]
        rows += [(f"{name}.state", state)]
    schema = arrow.schema(rows, metadata={"outing": folder.name, "program": opening.program})
    out = io.BytesIO()
    with parquet.ParquetWriter(out, schema, compression="zstd") as writer:
        groups = _Groups(arrow, writer, schema, rods)
        replay(folder, opening.config, groups, opening.seed)
        groups.end()
    return out.getvalue()
