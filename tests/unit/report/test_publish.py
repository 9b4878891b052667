import errno
import json
import os
from pathlib import Path
from typing import Any

import pytest

from checker.errors import OutputError
from checker.report import publish as module
from checker.report.manifest import manifest
from checker.report.publish import publish
from checker.report.swap import held, hold


def report(text: str, *more: str) -> dict[str, bytes]:
    files = {"index.html": text.encode(), **dict.fromkeys(more, b"x")}
    files["manifest.json"] = manifest(files)
    return files


def tree(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_new_report_is_written_with_its_parents(tmp_path: Path) -> None:
    files = report("one", "deep/er/page.html")
    publish(files, tmp_path / "a" / "b" / "site")
    assert tree(tmp_path / "a" / "b" / "site") == files
    assert names(tmp_path / "a" / "b") == ["site"]


def test_a_later_report_replaces_the_earlier_whole(tmp_path: Path) -> None:
    publish(report("one", "old.html"), tmp_path / "site")
    publish(report("two", "new.html"), tmp_path / "site")
    assert tree(tmp_path / "site") == report("two", "new.html")
    assert names(tmp_path) == ["site"]


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    publish(report("one"), tmp_path / "site")
    assert "index.html" in tree(tmp_path / "site")


@pytest.mark.parametrize("name", ["mine.txt", "sub/mine.txt", ".hidden"])
def test_a_foreign_file_is_refused_named_and_left(tmp_path: Path, name: str) -> None:
    publish(report("one"), tmp_path / "site")
    path = tmp_path / "site" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("dear")
    with pytest.raises(OutputError, match=name):
        publish(report("two"), tmp_path / "site")
    assert path.read_text() == "dear"
    assert (tmp_path / "site" / "index.html").read_text() == "one"


def test_a_foreign_empty_folder_and_a_link_are_refused(tmp_path: Path) -> None:
    publish(report("one"), tmp_path / "site")
    (tmp_path / "site" / "photos").mkdir()
    with pytest.raises(OutputError, match="photos/"):
        publish(report("two"), tmp_path / "site")
    (tmp_path / "site" / "photos").rmdir()
    (tmp_path / "site" / "link").symlink_to(tmp_path)
    with pytest.raises(OutputError, match="link"):
        publish(report("two"), tmp_path / "site")


@pytest.mark.parametrize(
    "content",
    [None, b"{}", b"not json", b'{"schema": 9, "files": []}', b"[]", b'{"schema": 1}', b"[" * 9999],
)
def test_a_folder_that_is_no_report_is_refused(tmp_path: Path, content: bytes | None) -> None:
    (tmp_path / "data.csv").write_text("1,2")
    if content is not None:
        (tmp_path / "manifest.json").write_bytes(content)
    with pytest.raises(OutputError, match=r"data\.csv"):
        publish(report("one"), tmp_path)
    assert (tmp_path / "data.csv").read_text() == "1,2"


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "site").write_text("a file")
    with pytest.raises(OutputError, match="is a file"):
        publish(report("one"), tmp_path / "site")
    assert (tmp_path / "site").read_text() == "a file"


def test_a_file_for_a_parent_is_a_message(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file")
    with pytest.raises(OutputError, match="could not be written"):
        publish(report("one"), tmp_path / "file" / "site")


@pytest.mark.parametrize("fails_at", range(8))
def test_a_full_disk_leaves_the_old_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    publish(report("one"), tmp_path / "site")
    calls = 0
    real = os.fsync

    def fsync(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls > fails_at:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    files = report("two", "a.html", "b.html")
    if fails_at < len(files):
        with pytest.raises(OutputError, match="No space left on device"):
            publish(files, tmp_path / "site")
        assert tree(tmp_path / "site") == report("one")
    else:  # only folders were left to flush: the report is whole
        publish(files, tmp_path / "site")
        assert tree(tmp_path / "site") == files
    assert names(tmp_path) == ["site"]


@pytest.fixture
def no_exchange(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on systems that cannot exchange two folders in one step."""
    monkeypatch.setattr(module, "exchange", lambda *_: False)


@pytest.mark.usefixtures("no_exchange")
def test_where_folders_cannot_be_exchanged_they_are_renamed(tmp_path: Path) -> None:
    publish(report("one", "old.html"), tmp_path / "site")
    publish(report("two", "new.html"), tmp_path / "site")
    assert tree(tmp_path / "site") == report("two", "new.html")
    assert names(tmp_path) == ["site"]


@pytest.mark.usefixtures("no_exchange")
@pytest.mark.parametrize("exception", [OSError(13, "Permission denied"), KeyboardInterrupt()])
@pytest.mark.parametrize("which", [1, 2])
def test_a_swap_that_fails_brings_the_old_report_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, which: int, exception: BaseException
) -> None:
    publish(report("one"), tmp_path / "site")
    real, calls = Path.rename, 0

    def rename(self: Path, target: Path) -> Path:
        nonlocal calls
        calls += 1
        if calls == which:
            raise exception
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    expected = OutputError if isinstance(exception, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        publish(report("two"), tmp_path / "site")
    assert tree(tmp_path / "site") == report("one")
    assert names(tmp_path) == ["site"]


LITTER = "0123456789ab"


def test_litter_of_a_killed_run_is_cleaned(tmp_path: Path) -> None:
    publish(report("one"), tmp_path / "site")
    for kind in ("new", "old"):
        litter = tmp_path / f".site.{kind}-{LITTER}"
        litter.mkdir()
        (litter / "index.html").write_text("half")
    publish(report("two"), tmp_path / "site")
    assert names(tmp_path) == ["site"]


@pytest.mark.parametrize("name", [".site.new-12", ".site.new-0123456789aX", ".other.new-" + LITTER])
def test_what_only_looks_like_litter_is_left_alone(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    (tmp_path / f".site.new-{LITTER}").write_text("a file")
    publish(report("one"), tmp_path / "site")
    assert names(tmp_path) == sorted([name, f".site.new-{LITTER}", "site"])


def test_a_report_left_aside_by_a_killed_run_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(report("one"), tmp_path / "site")
    (tmp_path / "site").rename(tmp_path / f".site.old-{LITTER}")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, "_write", full)
    with pytest.raises(OutputError):
        publish(report("two"), tmp_path / "site")
    assert tree(tmp_path / "site") == report("one")


def test_what_another_run_is_writing_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / f".site.new-{LITTER}"
    other.mkdir()
    with hold(other) as ours:
        assert ours
        publish(report("one"), tmp_path / "site")
        assert other.is_dir()
    publish(report("one"), tmp_path / "site")
    assert not other.exists()


def test_a_folder_is_held_by_one_run_at_a_time(tmp_path: Path) -> None:
    with hold(tmp_path) as first, hold(tmp_path) as second:
        assert first
        assert not second
        assert held(tmp_path)
    assert not held(tmp_path)


def test_a_run_that_cannot_get_its_turn_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "_WAIT_S", 0.05)
    with hold(tmp_path), pytest.raises(OutputError, match="has held"):
        publish(report("one"), tmp_path / "site")
    assert names(tmp_path) == []


def test_a_drive_that_knows_no_flush_is_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fsync(_: int) -> None:
        raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr(os, "fsync", fsync)
    publish(report("one"), tmp_path / "site")
    assert tree(tmp_path / "site") == report("one")


def test_the_folder_keeps_who_may_read_it(tmp_path: Path) -> None:
    publish(report("one"), tmp_path / "site")
    (tmp_path / "site").chmod(0o750)
    publish(report("two"), tmp_path / "site")
    assert (tmp_path / "site").stat().st_mode & 0o777 == 0o750


def test_the_root_of_a_drive_is_refused() -> None:
    with pytest.raises(OutputError, match="root of a drive"):
        publish(report("one"), Path("/"))


@pytest.mark.parametrize("name", ["../x", "/x", ""])
def test_a_path_out_of_the_folder_is_a_fault_of_ours(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="inside its folder"):
        publish({name: b""}, tmp_path / "site")
    assert names(tmp_path) == []


def test_a_link_to_a_report_is_written_through(tmp_path: Path) -> None:
    publish(report("one"), tmp_path / "site")
    (tmp_path / "latest").symlink_to(tmp_path / "site")
    publish(report("two"), tmp_path / "latest")
    assert (tmp_path / "latest").is_symlink()
    assert (tmp_path / "site" / "index.html").read_text() == "two"


def test_manifest_lists_every_other_file() -> None:
    files = report("one", "b", "a")
    document = json.loads(files["manifest.json"])
    assert document["schema"] == 1
    assert [entry["path"] for entry in document["files"]] == ["a", "b", "index.html"]
    assert document["files"][0]["bytes"] == 1
    assert len(document["files"][0]["sha256"]) == 64
