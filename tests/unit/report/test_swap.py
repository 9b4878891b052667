"""What the operating system gives for swapping folders, and what is done where it gives nothing."""

import fcntl
import os
import sys
from pathlib import Path
from typing import Any

import pytest

from checker.report.swap import exchange, held, hold

DAY_S = 86_400.0


def folders(tmp_path: Path) -> tuple[Path, Path]:
    one, other = tmp_path / "one", tmp_path / "other"
    for folder in (one, other):
        folder.mkdir()
        (folder / "name").write_text(folder.name)
    return one, other


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux exchanges folders")
def test_two_folders_are_exchanged_in_one_step(tmp_path: Path) -> None:
    one, other = folders(tmp_path)
    if not exchange(one, other):
        pytest.skip("this file system exchanges nothing")
    assert (one / "name").read_text() == "other"
    assert (other / "name").read_text() == "one"


def test_what_cannot_be_exchanged_is_left_as_it_was(tmp_path: Path) -> None:
    one, _ = folders(tmp_path)
    assert not exchange(one, tmp_path / "nothing")
    assert (one / "name").read_text() == "one"


@pytest.mark.parametrize("platform", ["win32", "darwin"])
def test_other_systems_exchange_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, platform: str
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    assert not exchange(*folders(tmp_path))


def test_a_hold_ends_with_its_block_and_with_its_fault(tmp_path: Path) -> None:
    def stopped() -> None:
        with hold(tmp_path):
            assert held(tmp_path)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert not held(tmp_path)


def test_a_folder_that_is_gone_counts_as_held(tmp_path: Path) -> None:
    assert held(tmp_path / "gone")


def without_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fcntl", None)


def on_a_drive_without_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    def flock(*_: Any) -> None:
        raise OSError(9, "Bad file descriptor")

    monkeypatch.setattr(fcntl, "flock", flock)


@pytest.mark.parametrize("lacking", [without_locks, on_a_drive_without_locks])
def test_where_nothing_can_be_held_a_days_rest_makes_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lacking: Any
) -> None:
    one, _ = folders(tmp_path)
    lacking(monkeypatch)
    with hold(one) as ours:
        assert ours
    assert held(one)
    now = one.stat().st_mtime
    for path in (one / "name", one):
        os.utime(path, (now - 2 * DAY_S, now - 2 * DAY_S))
    assert not held(one)
