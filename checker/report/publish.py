"""A report on disk: written aside, then put in the target's place in one step.

At every moment the target is the old report or the new one, whole. Where the system can exchange
two folders at once (Linux, on most of its file systems), there is no moment without a report;
elsewhere it can be missing between two renames, and a run that dies there leaves the old report
beside it, which the next run puts back. Nothing is renamed from one file system to another: what is
written aside lies in the target's own parent folder.
"""

import contextlib
import errno
import hashlib
import os
import re
import secrets
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from checker.errors import OutputError
from checker.report import manifest
from checker.report.outlet import OpenFile, Write
from checker.report.swap import exchange, held, hold
from checker.report.windows import refuse_unusable

_NAMED: Final = 5
"""How many foreign files a message names."""
_LONG_NAME: Final = 200
"""Longer names leave no room for what the folders beside them are called."""
_WAIT_S: Final = 60.0
"""So long a run waits for another one to put its report in place, which takes a moment."""
_NO_FLUSH: Final = {errno.EINVAL, errno.ENOTSUP, errno.ENOSYS}
"""What some network drives answer to a flush that they do not know."""


def publish(files: Mapping[str, bytes], target: Path) -> None:
    """Publish files that are in memory: relative path -> content, manifest.json among them."""

    def fill(open_file: OpenFile) -> None:
        for name, data in sorted(files.items()):
            with open_file(name) as write:
                write(data)

    publish_report(fill, target)


def publish_report(fill: Callable[[OpenFile], None], target: Path) -> None:
    """Write a report's files to the folder `target`, or leave everything as it was.

    fill: is given what begins a file, by its relative path with forward slashes, and writes all of
    the report, manifest.json too. Of two runs that write the same report at once, the later one
    wins, whole. Raises OutputError where the target is no report of ours, or where writing fails.
    """
    refuse_unusable(target, "--out")
    try:
        target = Path(os.path.realpath(target))
        _refuse_root(target)
        target.parent.mkdir(parents=True, exist_ok=True)
        with _aside(target) as new:
            _write(fill, new)
            with _alone(target.parent):
                _refuse_foreign(target)
                _put_in_place(new, target)
    except OSError as fault:
        raise OutputError(_explain(fault, target)) from fault


@contextlib.contextmanager
def _aside(target: Path) -> Iterator[Path]:
    """Make a folder beside the target, held so that no other run takes it for litter.

    What lies there in the end is the half of a new report or the whole of the old one: it goes.
    """
    with contextlib.ExitStack() as stack:
        with _alone(target.parent):
            _tidy(target)
            _refuse_foreign(target)
            new = _beside(target, "new")
            # first, so that an interrupt finds no moment between
            stack.callback(shutil.rmtree, new, ignore_errors=True)
            new.mkdir()
            stack.enter_context(hold(new))
        yield new


def _beside(target: Path, kind: str) -> Path:
    """Return a path beside the target that no other run uses."""
    return target.parent / f"{_prefix(target, kind)}{secrets.token_hex(6)}"


def _prefix(target: Path, kind: str) -> str:
    name = target.name
    if len(os.fsencode(name)) > _LONG_NAME:
        name = hashlib.sha256(os.fsencode(name)).hexdigest()[:16]
    return f".{name}.{kind}-"


def _write(fill: Callable[[OpenFile], None], folder: Path) -> None:
    """Write and flush every file, so that a power cut after the swap finds them whole."""
    folders = {folder}

    @contextlib.contextmanager
    def open_file(name: str) -> Iterator[Write]:
        parts = PurePosixPath(name).parts
        if not parts or PurePosixPath(name).is_absolute() or ".." in parts:
            raise ValueError(f"a report's file must lie inside its folder: {name}")
        path = folder.joinpath(*parts)
        path.parent.mkdir(parents=True, exist_ok=True)
        folders.add(path.parent)
        with path.open("xb") as file:
            yield file.write
            file.flush()
            _flush(file.fileno())

    fill(open_file)
    for each in folders:
        _flush_folder(each)


def _put_in_place(new: Path, target: Path) -> None:
    """Put the new folder in the target's place, and the old one, if any, in the new one's."""
    if not target.exists():
        new.rename(target)
    else:
        with contextlib.suppress(OSError):
            shutil.copymode(target, new)  # who may read the folder is the user's to say
        if not exchange(new, target):
            _swap(new, target)
    _flush_folder(target.parent)


def _swap(new: Path, target: Path) -> None:
    """Exchange two folders by renaming; the old one comes back if that fails."""
    old = _beside(target, "old")
    target.rename(old)
    try:
        new.rename(target)
    except BaseException:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _flush(handle: int) -> None:
    try:
        os.fsync(handle)
    except OSError as fault:
        if fault.errno not in _NO_FLUSH:
            raise


def _flush_folder(folder: Path) -> None:
    """Flush a folder's entries; systems that cannot open a folder keep them by themselves."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Let one run at a time tidy up and swap below a folder; raises OutputError if none ends."""
    until = time.monotonic() + _WAIT_S
    while True:
        with hold(folder) as ours:
            if ours:
                yield
                return
        if time.monotonic() > until:
            raise OutputError(
                f"another program has held {folder} for {_WAIT_S:.0f} seconds. Nothing was "
                "written.\n    hint: wait for other runs to end, or name another folder with --out"
            )
        time.sleep(0.01)


def _refuse_root(target: Path) -> None:
    """Raise OutputError where the target cannot be swapped: a drive's own root."""
    if target == target.parent or os.path.ismount(target):
        raise OutputError(
            f"{target} is the root of a drive, which cannot be replaced as a whole. Nothing was "
            "written.\n    hint: name a folder below it with --out"
        )


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
        litter = re.compile(re.escape(_prefix(target, kind)) + "[0-9a-f]{12}")
        for path in sorted(target.parent.iterdir()):
            if not litter.fullmatch(path.name) or not path.is_dir():
                continue
            if kind == "old" and not target.exists():
                path.rename(target)
            elif not held(path):
                shutil.rmtree(path, ignore_errors=True)


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
