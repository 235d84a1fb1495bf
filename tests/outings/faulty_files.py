"""Files whose operations fail when a test wants them to, and a disk that holds only what was synced."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from assistant.outings.files import Files


@dataclass
class FaultyFiles(Files):
    """The real files; before each operation `fault(name, count so far)` may raise an OSError or wait.

    `saved` is the length of each file that a sync has promised.
    """

    fault: Callable[[str, int], None] = lambda name, count: None
    count: int = 0
    written: dict[int, int] = field(default_factory=dict)
    saved: dict[int, int] = field(default_factory=dict)
    paths: dict[int, Path] = field(default_factory=dict)

    def _operation(self, name: str) -> None:
        self.count += 1
        self.fault(name, self.count)

    def make_folders(self, path: Path) -> None:
        self._operation("make_folders")
        super().make_folders(path)

    def make_folder(self, path: Path) -> None:
        self._operation("make_folder")
        super().make_folder(path)

    def create(self, path: Path) -> int:
        self._operation("create")
        file = super().create(path)
        self.written[file], self.saved[file], self.paths[file] = 0, 0, path
        return file

    def write(self, file: int, data: bytes | memoryview) -> int:
        try:
            self._operation("write")
        except OSError:
            if len(data) > 1:  # a disk that fills takes a part first (measured: 196 of 300 bytes)
                self.written[file] += super().write(file, data[: len(data) // 2])
            raise
        taken = super().write(file, data)
        self.written[file] += taken
        return taken

    def sync(self, file: int) -> None:
        self._operation("sync")
        super().sync(file)
        self.saved[file] = self.written[file]

    def sync_folder(self, path: Path) -> None:
        self._operation("sync_folder")
        super().sync_folder(path)

    def truncate(self, file: int, length: int) -> None:
        self._operation("truncate")
        super().truncate(file, length)

    def close(self, file: int) -> None:
        super().close(file)
        self._operation("close")

    def remove(self, path: Path) -> None:
        self._operation("remove")
        super().remove(path)

    def free_bytes(self, path: Path) -> int:
        self._operation("free_bytes")
        return super().free_bytes(path)


def failing(start: int, stop: int, number: int = errno.EIO) -> Callable[[str, int], None]:
    """A fault: every operation from the `start`th up to before the `stop`th fails."""

    def fault(name: str, count: int) -> None:
        if start <= count < stop:
            raise OSError(number, f"injected at operation {count} ({name})")

    return fault


def slow(name: str, seconds: float) -> Callable[[str, int], None]:
    """A fault: this operation takes so long."""

    def fault(operation: str, count: int) -> None:
        if operation == name:
            time.sleep(seconds)

    return fault
