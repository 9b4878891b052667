"""A report on disk: written aside, then swapped in whole.

At every moment the target is the old report or the new one. Between two renames it can be missing
for an instant; a run that dies there leaves the old report beside it, and the next run puts it
back.
"""

import contextlib
import os
import shutil
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from checker.errors import OutputError
from checker.report import manifest

_NAMED = 5
"""How many foreign files a message names."""


def publish(files: Mapping[str, bytes], target: Path) -> None:
    """Write a report's files to the folder `target`, or leave everything as it was.

    files: relative path, with forward slashes -> content, manifest.json among them.
    Raises OutputError where the target is no report of ours, or where writing fails.
    """
    target = Path(os.path.realpath(target))
    mark = f"{os.getpid()}"
    new = target.parent / f".{target.name}.new-{mark}"
    old = target.parent / f".{target.name}.old-{mark}"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _tidy(target)
        _refuse_foreign(target)
        _write(files, new)
        _swap(new, target, old)
    except OSError as fault:
        raise OutputError(_explain(fault, target)) from fault
    finally:
        if new.exists():
            shutil.rmtree(new, ignore_errors=True)
    shutil.rmtree(old, ignore_errors=True)


def _write(files: Mapping[str, bytes], folder: Path) -> None:
    """Write and flush every file, so that a power cut after the swap finds them whole."""
    folder.mkdir()
    folders = {folder}
    for name, data in sorted(files.items()):
        parts = PurePosixPath(name).parts
        if not parts or PurePosixPath(name).is_absolute() or ".." in parts:
            raise ValueError(f"a report's file must lie inside its folder: {name}")
        path = folder.joinpath(*parts)
        path.parent.mkdir(parents=True, exist_ok=True)
        folders.add(path.parent)
        with path.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    for each in folders:
        _flush_folder(each)


def _swap(new: Path, target: Path, old: Path) -> None:
    """Put the new folder in the target's place; the old one comes back if that fails."""
    had_old = target.exists()
    if had_old:
        target.rename(old)
    try:
        new.rename(target)
    except BaseException:
        if had_old:
            old.rename(target)
        raise
    _flush_folder(target.parent)


def _flush_folder(folder: Path) -> None:
    """Flush a folder's entries; systems that cannot open a folder keep them by themselves."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _refuse_foreign(target: Path) -> None:
    """Raise OutputError unless the target is free, empty, or a report of ours and nothing else."""
    if not target.exists():
        return
    if not target.is_dir():
        raise OutputError(
            f"{target} is a file; the report needs a folder of its own.\n"
            "    hint: name another folder with --out, or move that file"
        )
    found = _contents(target)
    if not found:
        return
    path = target / manifest.NAME
    listed = manifest.listed_paths(path.read_bytes()) if path.is_file() else None
    if listed is None:
        raise OutputError(
            f"{target} is not a report of this program: it holds {_names(found)} and no "
            f"{manifest.NAME} of ours. Nothing was written.\n"
            "    hint: name an empty or a new folder with --out"
        )
    foreign = [name for name in found if name != manifest.NAME and name not in listed]
    if foreign:
        raise OutputError(
            f"{target} holds what this program did not write: {_names(foreign)}. Nothing was "
            "written, nothing was removed.\n"
            "    hint: move these files elsewhere, or name another folder with --out"
        )


def _contents(folder: Path) -> list[str]:
    """Return all files, links and empty folders below a folder, by their relative path."""
    found = []
    for where, folders, files in os.walk(folder, onerror=_reraise):
        here = Path(where)
        links = [name for name in folders if (here / name).is_symlink()]
        found += [(here / name).relative_to(folder).as_posix() for name in (*files, *links)]
        if here != folder and not folders and not files:
            found.append(here.relative_to(folder).as_posix() + "/")
    return sorted(found)


def _names(found: list[str]) -> str:
    names = ", ".join(found[:_NAMED])
    more = len(found) - _NAMED
    return f"{names} and {more} more" if more > 0 else names


def _tidy(target: Path) -> None:
    """Mend what a run of ours that was killed left beside the target."""
    for kind in ("old", "new"):
        prefix = f".{target.name}.{kind}-"
        for path in sorted(target.parent.iterdir()):
            mark = path.name.removeprefix(prefix)
            if mark == path.name or not mark.isdecimal() or not path.is_dir() or _alive(int(mark)):
                continue
            if kind == "old" and not target.exists():
                path.rename(target)
            else:
                shutil.rmtree(path, ignore_errors=True)


def _alive(process: int) -> bool:
    """Tell whether another run with that process number still works; in doubt it does."""
    if process == os.getpid():
        return False
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _explain(fault: OSError, target: Path) -> str:
    place = fault.filename or target
    return (
        f"the report could not be written to {target}: {fault.strerror or fault} ({place}). "
        "An earlier report there stands as it was.\n"
        "    hint: look for a full disk, a read-only folder or a file that another program holds "
        "open, or name another folder with --out"
    )


def _reraise(fault: OSError) -> None:
    raise fault
