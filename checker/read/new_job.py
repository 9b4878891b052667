"""The files of a job that does not exist yet: opened where they are, named as the job will."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from checker.errors import InputError, OutputError, Problem, Where
from checker.model.inputs import Inputs
from checker.model.job import Job
from checker.read.files import Files, Source
from checker.read.inputs import read_inputs
from checker.read.job import read_job
from checker.read.look import is_drawing

JOB_FILE = "job.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class NewJobFiles:
    """What a new job is made of; paths are those that the job will name.

    elsewhere: the paths of files that do not lie in the job's folder yet.
    """

    folder: Path
    design: Source
    measured: tuple[Source, ...]
    control: Source | None
    elsewhere: frozenset[str]

    @property
    def sources(self) -> tuple[Source, ...]:
        """All files."""
        return (self.design, *self.measured, *([] if self.control is None else [self.control]))

    @property
    def copies(self) -> dict[str, bytes]:
        """The files that must be copied into the folder, by their new names."""
        return {each.path: each.data for each in self.sources if each.path in self.elsewhere}


def refuse_existing(folder: Path) -> None:
    """Raise OutputError where the folder is a job already, or no folder."""
    # These answer no to whatever cannot be a path, where those of Path would raise.
    if os.path.exists(folder / JOB_FILE):  # noqa: PTH110
        raise OutputError(
            f"{folder / JOB_FILE}: there is a job already, and it is never overwritten; give "
            "another folder, or move the old job file away"
        )
    if os.path.exists(folder) and not os.path.isdir(folder):  # noqa: PTH110, PTH112
        raise OutputError(f"{folder}: this is a file, not a folder; give a folder for the new job")


def open_new(
    folder: Path, design: Path, measured: Sequence[Path], control: Path | None
) -> NewJobFiles:
    """Open the files of a new job.

    Raises InputError with every file that cannot be read, OutputError where a copy would replace
    another file of the folder.
    """
    problems: list[Problem] = []
    named: dict[str, Path] = {}
    elsewhere: set[str] = set()
    sources: list[Source] = []
    drawn = False
    for path, role in (
        (design, "design"),
        *((each, "as-measured points") for each in measured),
        *([(control, "control")] if control is not None else []),
    ):
        try:
            opened = Files(path.parent, allow_outside=True, of_job=False).open(
                path.name, role, Where(file=str(path))
            )
        except InputError as fault:
            problems.extend(fault.problems)
            continue
        name, outside = _name(folder, path, opened.data, named)
        named[name] = path
        if outside:
            elsewhere.add(name)
        sources.append(Source(path=name, data=opened.data))
        if is_drawing(opened.data):
            if role == "design":
                drawn = True
            else:
                problems.append(_is_drawing(path, role, drawn=drawn))
    if problems:
        raise InputError(problems)
    count = len(measured)
    return NewJobFiles(
        folder=folder,
        design=sources[0],
        measured=tuple(sources[1 : 1 + count]),
        control=sources[1 + count] if control is not None else None,
        elsewhere=frozenset(elsewhere),
    )


def _is_drawing(path: Path, role: str, *, drawn: bool) -> Problem:
    """Return the fault of a drawing that was given for a table. drawn: the design is one too."""
    option = "--control" if role == "control" else "--points"
    return Problem(
        slug="drawing-for-table",
        where=Where(file=str(path)),
        message=f"{option} takes a table of points ({role}), and this is a drawing",
        hint="give the file that the field or office software exported as text"
        if drawn
        else f"are --drawing and {option} exchanged?",
    )


def _name(folder: Path, path: Path, data: bytes, named: Mapping[str, Path]) -> tuple[str, bool]:
    """Return how the job names a file, and whether it must be copied to be there."""
    full, root = path.resolve(), folder.resolve()
    inside = full.relative_to(root).as_posix() if full.is_relative_to(root) else ""
    if inside and in_utf_8(inside) == inside:
        return inside, False
    name = in_utf_8(path.name)  # what a job file cannot name is copied under another name
    number = 1
    while name in named and named[name].resolve() != full:
        number += 1
        name = f"{path.stem}-{number}{path.suffix}"
    there = folder / name
    if not there.exists():
        return name, True
    if there.is_file() and there.read_bytes() == data:
        return name, False
    raise OutputError(
        f"{there}: another file of this name is in the folder, and it is never overwritten; give "
        "an empty folder, or rename one of the two"
    )


def in_utf_8(name: str) -> str:
    """Return a file's name with a low line for every byte of it that is no UTF-8."""
    return name.encode("utf-8", "replace").decode().replace("?", "_") if not _fits(name) else name


def _fits(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


class _Held(Files):
    """Files that are in memory already, and those of the folder."""

    def __init__(self, folder: Path, sources: Sequence[Source]) -> None:
        super().__init__(folder)
        self._held = {source.path: source for source in sources}

    def _content(self, path: str, where: Where, most: int) -> bytes:
        held = self._held.get(path)
        return held.data if held is not None else super()._content(path, where, most)


def try_job(files: NewJobFiles, text: str) -> tuple[Job, Inputs]:
    """Read a job's text and all its files before it is written; raises InputError as a job does."""
    job_file = Source(path=JOB_FILE, data=text.encode("utf-8"))
    held = _Held(files.folder, [*files.sources, job_file])
    held.open(JOB_FILE, "job", Where(file=JOB_FILE))
    job = read_job(job_file, files.folder)
    return job, read_inputs(job, held)
