"""Compare a report's folder with its manifest, file by file, without opening a page of it."""

import hashlib
import json
import os
import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import NoReturn

from checker.errors import InputError, Problem, Where
from checker.model.verification import Verification

MANIFEST = "manifest.json"
SCHEMA = 1
_MAX_BYTES = 1 << 28
"""A manifest of a million files; a larger one is none of ours."""
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)


def verify_report(folder: Path) -> Verification:
    """Return what differs between a report's folder and its manifest.

    Raises InputError where the folder holds no manifest of a report, or cannot be read.
    """
    shown = folder.as_posix()
    path = folder / MANIFEST
    try:
        if not os.path.isfile(path):  # noqa: PTH113  (never raises, whatever the path)
            _refuse(shown, f"there is no {MANIFEST} in it")
        if path.stat().st_size > _MAX_BYTES:
            _refuse(f"{shown}/{MANIFEST}", "it is too large for a manifest of a report")
        data = path.read_bytes()
        listed = _listed(data, f"{shown}/{MANIFEST}")
        there = _files(folder)
        altered = tuple(
            name for name in listed if name in there and not _same(folder, listed[name])
        )
    except OSError as fault:
        _refuse(shown, f"it cannot be read: {fault.strerror or fault}")
    return Verification(
        path=shown,
        manifest_sha256=hashlib.sha256(data).hexdigest(),
        count=len(listed),
        size=sum(entry.size for entry in listed.values()),
        altered=altered,
        missing=tuple(name for name in listed if name not in there),
        added=tuple(sorted(there - listed.keys() - {MANIFEST})),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    path: str
    size: int
    sha256: str


def _listed(data: bytes, shown: str) -> dict[str, _Entry]:
    """Return what the manifest lists, by path and in the order of the paths."""
    try:
        document = json.loads(data)
        if document["schema"] != SCHEMA:
            raise ValueError(f"schema {document['schema']}, not {SCHEMA}")  # noqa: TRY301
        entries = [
            _Entry(path=_inside(each["path"]), size=int(each["bytes"]), sha256=each["sha256"])
            for each in document["files"]
        ]
        if not all(_DIGEST.fullmatch(entry.sha256) for entry in entries):
            raise ValueError("a SHA-256 has 64 digits of 0 to 9 and a to f")  # noqa: TRY301
    except (ValueError, TypeError, LookupError, AttributeError, RecursionError) as fault:
        _refuse(shown, f"it is no manifest of a report: {fault}")
    return {entry.path: entry for entry in sorted(entries, key=lambda entry: entry.path)}


def _inside(path: str) -> str:
    """Return a path of a manifest; ValueError where it would leave the report's folder."""
    pure = PurePosixPath(path)
    if not pure.parts or pure.is_absolute() or ".." in pure.parts or "\\" in path:
        raise ValueError(f"a report holds no file {path!r}")
    return path


def _files(folder: Path) -> set[str]:
    """Return all files, links and empty folders below a folder; an empty folder ends with /."""
    found = set()
    for where, folders, files in os.walk(folder, onerror=_reraise):
        here = Path(where)
        links = [name for name in folders if (here / name).is_symlink()]
        found |= {(here / name).relative_to(folder).as_posix() for name in (*files, *links)}
        if here != folder and not folders and not files:
            found.add(here.relative_to(folder).as_posix() + "/")
    return found


def _same(folder: Path, entry: _Entry) -> bool:
    """Return whether a file is the one that the manifest lists, by its size and its SHA-256."""
    path = folder / entry.path
    if path.is_symlink() or not path.is_file() or path.stat().st_size != entry.size:
        return False
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == entry.sha256


def _reraise(fault: OSError) -> NoReturn:
    raise fault


def _refuse(shown: str, message: str) -> NoReturn:
    raise InputError(
        [
            Problem(
                slug="not-a-report",
                where=Where(file=shown),
                message=message,
                hint="name the folder that checker build wrote, the one with index.html in it",
            )
        ]
    )
