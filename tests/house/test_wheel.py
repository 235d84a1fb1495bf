"""The wheel holds program, configuration and page, and installs no top-level `configs` or `tests`."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def wheel(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built by the project's own build backend without a network."""
    folder = tmp_path_factory.mktemp("wheel")
    build = "import sys; from hatchling.build import build_wheel; print(build_wheel(sys.argv[1]))"
    run = [sys.executable, "-c", build, str(folder)]
    done = subprocess.run(run, cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return next(folder.glob("*.whl"))


def test_wheel_holds_everything(wheel: Path, root: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder, pattern, prefix in (
        ("configs", "**/*.toml", "assistant/"),
        ("assistant/web/page", "*.*", ""),
        ("sim/scenarios", "*.toml", ""),
    ):
        wanted = {prefix + file.relative_to(root).as_posix() for file in (root / folder).glob(pattern)}
        assert wanted, folder
        assert wanted - names == set()
    tops = {name.split("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"assistant", "firmware_bridge", "sim"}


def test_unpacked_wheel_finds_its_configuration(wheel: Path, tmp_path: Path) -> None:
    """Away from the checkout, with only the wheel's files, the demo spread loads and the version is said."""
    zipfile.ZipFile(wheel).extractall(tmp_path)
    code = "from assistant import config; c = config.load(); print(len(c.rods), c.origin['spread'])"
    where = [sys.executable, "-P", "-c", f"import sys; sys.path.insert(0, {str(tmp_path)!r}); {code}"]
    done = subprocess.run(where, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["8", str(tmp_path / "assistant/configs/spread.toml")]
