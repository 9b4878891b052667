"""Open the job's files: the only place that touches the disk for input.

Every file is read once, whole, and remembered with its size and SHA-256.
"""

import difflib
import hashlib
import stat
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath
from typing import Final

from checker.errors import InputError, Problem, Where
from checker.model.inputs import InputFile
from checker.model.progress import Tell, silent

MAX_BYTES = 1 << 30
"""Larger inputs are refused; a gigabyte of text is no job of one crew."""
MAX_FILES = 200
"""A job that names more is refused; each is held whole while it is read."""
_MAX_BYTES_OF: Final = {"job": 4 << 20, "notes": 4 << 20}
"""What people write by hand, by its role: a larger file is another one under that name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """The content of a file, with its path as the job names it."""

    path: str
    data: bytes


class Files:
    """The files below the job's folder, and a list of those that were read."""

    def __init__(
        self,
        root: Path,
        *,
        allow_outside: bool = False,
        tell: Tell = silent,
        of_job: bool = True,
    ) -> None:
        """Take the folder of the files.

        allow_outside lets paths leave it, tell hears what is read. of_job: a job file names them.
        """
        self._of_job = of_job
        self._root = root
        self._tell = tell
        self._allow_outside = allow_outside
        self._read: dict[str, InputFile] = {}

    @property
    def read(self) -> tuple[InputFile, ...]:
        """The files read so far, in that order, each once."""
        return tuple(self._read.values())

    def open(self, path: str, role: str, where: Where) -> Source:
        """Return a file's content.

        path: as the job names it, relative to the job's folder. role: what it is for.
        where: the place in the job that names it. Raises InputError with that place where the file
        is missing, outside the folder, not a plain file, too large or unreadable.
        """
        if path not in self._read and len(self._read) > MAX_FILES:  # the job file is one of them
            raise _refused(
                "too-many-files",
                Where(file=where.file),  # of the job as a whole, and so said once
                f"the job names more than {MAX_FILES} files",
                "join the tables of a day, or make a job for each part of the site",
            )
        self._tell(f"reading {path}")
        try:
            data = self._content(path, where, _MAX_BYTES_OF.get(role, MAX_BYTES))
        except (OSError, RuntimeError, ValueError) as fault:
            reason = getattr(fault, "strerror", None) or str(fault)
            raise _refused(
                "unreadable-file",
                where,
                f'"{path}" cannot be read: {reason}',
                "check that the file is there, is not locked by another program and may be read",
            ) from fault
        if path not in self._read:
            self._read[path] = InputFile(
                path=path.replace("\\", "/"),
                role=role,
                size=len(data),
                sha256=hashlib.sha256(data).hexdigest(),
            )
        return Source(path=path, data=data)

    def _content(self, path: str, where: Where, most: int) -> bytes:
        full = self._place(path, where)
        root = self._root.resolve()
        if not self._allow_outside and not full.resolve().is_relative_to(root):
            raise _refused(
                "outside-folder",
                where,
                f'"{path}" lies outside the job\'s folder',
                "copy the file into the job's folder, or run with --allow-outside",
            )
        if not full.exists():
            hint = self._several(path) or _nearest(full, of_job=self._of_job)
            raise _refused("missing-file", where, f'"{path}" is not there', hint)
        mode = full.stat()
        if not stat.S_ISREG(mode.st_mode):
            raise _refused(
                "not-a-file",
                where,
                f'"{path}" is a folder or a device, not a file',
                "name the file itself",
            )
        if mode.st_size > most:
            raise _refused(
                "file-too-large",
                where,
                f'"{path}" has {mode.st_size:,} bytes; at most {most:,} are read of such a file',
                "split the file, or leave out what the job does not need",
            )
        return full.read_bytes()

    def _several(self, path: str) -> str:
        """Return how several files are named, where one text names them all; else ""."""
        for sign in (",", ";"):
            parts = [part.strip() for part in path.split(sign) if part.strip()]
            if len(parts) > 1 and all((self._root / part).is_file() for part in parts):
                shown = ", ".join(f'"{part}"' for part in parts)
                return f"several files are a list, each in quotation marks of its own: [{shown}]"
        return ""

    def _place(self, path: str, where: Where) -> Path:
        """Return where a file lies that the job names, on whichever system the job was written.

        Backslashes part folders as slashes do, unless a file here is really called so. A drive or
        a server's share is a place of Windows alone.
        """
        literal = self._root / path
        if isinstance(literal, PureWindowsPath) or literal.exists():
            return literal
        drive = PureWindowsPath(path).drive
        if drive and (drive.startswith("\\") or path[len(drive) :].startswith(("/", "\\"))):
            raise _refused(
                "outside-folder",
                where,
                f'"{path}" begins with "{drive}", a drive or a share that only Windows knows',
                "copy the file into the job's folder, and write its path from there on",
            )
        return self._root / path.replace("\\", "/")


def _refused(slug: str, where: Where, message: str, hint: str) -> InputError:
    return InputError([Problem(slug=slug, where=where, message=message, hint=hint)])


def misnamed_job(folder: Path) -> str:
    """Return what to do with a job file that has another name than job.toml, "" without one."""
    try:
        names = sorted(item.name for item in folder.iterdir() if item.is_file())
    except OSError:
        return ""
    for name in names:
        if name.casefold().removesuffix(".txt") in ("job", "job.toml"):
            hidden = name.casefold().endswith(".txt")
            return (
                f'there is "{name}": name it job.toml'
                + (", in small letters" if name.casefold() == "job.toml" else "")
                + ("; the system may hide the ending .txt" if hidden else "")
            )
    jobs = [name for name in names if name.casefold().endswith(".toml")]
    return f"if {listed(jobs)} is the job file, name the file itself" if jobs else ""


def listed(names: list[str]) -> str:
    """Return names quoted, "a", "b" or "c"."""
    *first, last = (f'"{name}"' for name in names[:4])
    return f"{', '.join(first)} or {last}" if first else last


def _nearest(full: Path, *, of_job: bool) -> str:
    try:
        names = sorted(item.name for item in full.parent.iterdir() if item.is_file())
    except OSError:
        beside = " beside the job file" if of_job else " there"
        return f'there is no folder "{full.parent.name}"{beside}'
    close = difflib.get_close_matches(full.name, names, n=1, cutoff=0.5)
    if close:
        return f'did you mean "{close[0]}"?'
    if not names:
        relative = "; paths are relative to the job file" if of_job else ""
        return f"the folder is empty{relative}"
    shown = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
    if not of_job:
        return f"in this folder there are: {shown}"
    return f"paths are relative to the job file; in that folder there are: {shown}"
