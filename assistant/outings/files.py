"""The operations of the recorder on files, one method each, so that a test can count them or let any of them fail."""

from __future__ import annotations

import contextlib
import errno
import os
from pathlib import Path


class Files:
    """The operating system's own."""

    def make_folders(self, path: Path) -> None:
        """Make a folder and those above it where they are missing. Raises OSError."""
        path.mkdir(parents=True, exist_ok=True)

    def make_folder(self, path: Path) -> None:
        """Make one folder that must be new. Raises FileExistsError, OSError."""
        path.mkdir()

    def create(self, path: Path) -> int:
        """Create a file that must be new; its descriptor. Raises OSError."""
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o644)

    def write(self, file: int, data: bytes | memoryview) -> int:
        """Append; how many bytes were taken, which may be fewer. Raises OSError."""
        return os.write(file, data)

    def sync(self, file: int) -> None:
        """Wait until what was written is on the disk, with the length. Raises OSError."""
        os.fdatasync(file)

    def sync_folder(self, path: Path) -> None:
        """Wait until the names in a folder are on the disk. Raises OSError."""
        folder = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    def truncate(self, file: int, length: int) -> None:
        """Cut a file. Raises OSError."""
        os.ftruncate(file, length)

    def close(self, file: int) -> None:
        """Close. Raises OSError."""
        os.close(file)

    def remove(self, path: Path) -> None:
        """Remove a file. Raises OSError."""
        path.unlink()

    def free_bytes(self, path: Path) -> int:
        """Space left for us [bytes]. Raises OSError."""
        found = os.statvfs(path)
        return found.f_bavail * found.f_frsize


class Segment:
    """One file of an outing, begun with `first`, then only appended to. Raises OSError where something fails.

    After any error it is abandoned, never tried again: a failed sync leaves it unknown what is on the disk, and a
    second one may claim success (Rebello et al., USENIX ATC 2020).
    """

    def __init__(self, files: Files, path: Path, first: bytes) -> None:
        self._files, self._path = files, path
        self.saved_bytes = 0
        self._file = files.create(path)
        try:
            self.append(first)
            files.sync_folder(path.parent)
        except OSError:
            self.abandon()
            with contextlib.suppress(OSError):
                files.remove(path)
            raise

    def append(self, data: bytes) -> None:
        """Write all of `data` and wait until it is on the disk. A full disk takes a part first, and fails then."""
        left = memoryview(data)
        while left:
            taken = self._files.write(self._file, left)
            if taken <= 0:
                raise OSError(errno.EIO, "nothing was taken")
            left = left[taken:]
        self._files.sync(self._file)
        self.saved_bytes += len(data)

    def abandon(self) -> None:
        """Close after an error, and cut what was not saved."""
        with contextlib.suppress(OSError):
            self._files.truncate(self._file, self.saved_bytes)
        self.close()

    def close(self) -> None:
        """Close; an error here comes after the last sync and loses nothing."""
        with contextlib.suppress(OSError):
            self._files.close(self._file)
