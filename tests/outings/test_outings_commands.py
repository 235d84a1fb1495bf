"""`spreadwatch outings` as people type it: what it says of whole, torn and foreign outings; ids, never paths."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from outing_tools import inputs_at, recorded

from assistant.__main__ import main


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where outings are: two of them, the second torn."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    root = tmp_path / "spreadwatch"
    for count in (400, 40):
        recorded(root, [inputs_at(tick) for tick in range(count)])
    file = root / "20260718-2" / "00000.outing"
    file.write_bytes(file.read_bytes()[:-150])
    return root


def ask(*arguments: str) -> Result:
    """The command line `spreadwatch outings ...`."""
    return CliRunner().invoke(main, ["outings", *arguments], catch_exceptions=False)


def test_list(root: Path) -> None:
    first, second = ask("list").output.splitlines()
    assert first.startswith("20260718-1 ")
    assert "0 h 01 min" in first
    assert "not ended" not in first
    assert "not ended in order" in second


def test_list_of_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert ask("list").output == f"no outings in {tmp_path / 'spreadwatch'}\n"
    assert ask("verify").exit_code == 2


def test_show(root: Path) -> None:
    shown = json.loads(ask("show", "20260718-1").output)
    assert shown["sentences"] == {"udp:1": 1200}
    assert (shown["seconds"], shown["closed"], shown["mode"]) == (99.75, True, "live")


def test_verify(root: Path) -> None:
    both = json.loads(ask("verify").output)
    assert (both["unreadable"], both["lost"]) == (0, 0)
    assert both["outings"][0]["verdict"] == "whole"
    torn = json.loads(ask("verify", "20260718-2").output)["outings"][0]
    assert "not ended in order" in torn["verdict"]
    assert torn["torn_bytes"] > 0


def test_verify_tells_what_was_saved_and_is_lost(root: Path) -> None:
    """A flipped bit in the middle: one record; the closing at the end proves that it had been saved."""
    file = root / "20260718-1" / "00000.outing"
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 1
    file.write_bytes(data)
    found = json.loads(ask("verify", "20260718-1").output)
    assert found["lost"] == 1
    assert found["outings"][0]["damaged_places"] == 1


@pytest.mark.parametrize(
    "name",
    [
        "../x",
        "20260718-1/../20260718-1",
        "/etc",
        "%2e%2e",
        "20260718-3",
        "20260718-1\x00",
        "-",
        "a" * 4000,
        "CON",
        "",
    ],
)
def test_only_ids_are_taken(root: Path, name: str) -> None:
    for command in ("show", "verify", "export", "delete"):
        result = ask(command, "--", name)
        assert result.exit_code == 2
        assert "outing" in result.output


def test_a_link_is_no_outing(root: Path, tmp_path: Path) -> None:
    (root / "20260718-7").symlink_to(tmp_path)
    assert "20260718-7" not in ask("list").output
    assert ask("show", "20260718-7").exit_code == 2
