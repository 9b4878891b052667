"""Read everything that a job names, and report the faults of all files at once."""

import os
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import Final, TypedDict, TypeVar

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.alignment import (
    ElementTable,
    IntersectionTable,
    ProfileTable,
    StakeTable,
    SuperelevationTable,
)
from checker.model.books import Book
from checker.model.drawing import Drawing, Notice, Triangles
from checker.model.inputs import Inputs, Revision
from checker.model.job import (
    Accuracy,
    AlignmentInput,
    CheckSection,
    DescribedFigure,
    DesignInput,
    Job,
    Levels,
    Network,
    OlderDesign,
    Stakeout,
    Surface,
    Traverse,
    Vectors,
)
from checker.model.points import Points, Quality
from checker.model.progress import Tell, silent
from checker.model.wording import Wording
from checker.read.alignments import (
    read_elements,
    read_intersections,
    read_profile,
    read_stakes,
    read_superelevation,
)
from checker.read.drawing import read_drawing
from checker.read.faces import read_faces
from checker.read.figure_book import read_figure_book
from checker.read.files import Files, Source, misnamed_job
from checker.read.frames import VAGUEST_M
from checker.read.job import read_job
from checker.read.level_book import read_level_book
from checker.read.points import read_points
from checker.read.same_files import same_files
from checker.read.sights import read_sight_book
from checker.read.traverse_book import read_traverse_book
from checker.read.vectors import read_vector_book
from checker.read.wording import read_wording
from checker.units import Formula, LengthUnit

T = TypeVar("T")


def find_job(path: Path) -> Path:
    """Return the job file that a command line names: itself, or job.toml in the folder.

    Raises InputError where there is none.
    """
    # These two answer no to whatever cannot be a path, where those of Path would raise.
    folder = os.path.isdir(path)  # noqa: PTH112
    file = path / "job.toml" if folder else path
    if os.path.isfile(file):  # noqa: PTH113
        if not folder and file.suffix.lower() in _NO_JOB:
            raise InputError([_no_job_file(file)])
        return file
    raise InputError(
        [
            Problem(
                slug="no-job",
                where=Where(file=str(path)),
                message="there is no job.toml here" if folder else "there is no such job",
                hint=(misnamed_job(path) if folder else "")
                or "give the folder that holds job.toml, or the job file itself",
            )
        ]
    )


_NO_JOB: Final = {
    ".dxf": ("a drawing", "--drawing {} --points <your shots>"),
    ".csv": ("a table", "--drawing <the design> --points {}"),
    ".txt": ("a table", "--drawing <the design> --points {}"),
    ".geojson": ("a map", "--drawing <the design> --points <your shots>"),
}
"""Endings that no job file has: what such a file is, and how a job is made of it."""


def _no_job_file(file: Path) -> Problem:
    what, given = _NO_JOB[file.suffix.lower()]
    return Problem(
        slug="no-job",
        where=Where(file=str(file)),
        message=f"this is {what}, not a job",
        hint=f"see what is in it: checker show {file}; or let a job be written for it: "
        f"checker new <folder> {given.format(file)}",
    )


def open_job(file: Path, *, allow_outside: bool = False, tell: Tell = silent) -> tuple[Job, Inputs]:
    """Read a job file and all that it names.

    Raises InputError: the job file's faults first; once it is sound, those of all its files.
    """
    files = Files(file.parent, allow_outside=allow_outside, tell=tell)
    job = read_job(files.open(file.name, "job", Where(file=file.name)), file.parent)
    return job, read_inputs(job, files)


def read_inputs(job: Job, files: Files) -> Inputs:
    """Read every file of the job; `files` already holds the job file."""
    reader = _Reader(job, files)
    inputs = reader.read()
    if reader.problems:
        raise InputError(reader.problems)
    return inputs


class _Courses(TypedDict):
    """The fields of `Inputs` that hold tables of alignments."""

    elements: dict[str, ElementTable]
    intersections: dict[str, IntersectionTable]
    profiles: dict[str, ProfileTable]
    superelevations: dict[str, SuperelevationTable]
    stakes: dict[str, StakeTable]


class _Reader:
    def __init__(self, job: Job, files: Files) -> None:
        self._job = job
        self._files = files
        self._notices: list[Notice] = []
        self.problems: list[Problem] = []

    def read(self) -> Inputs:
        job = self._job
        control = measured = None
        if job.control is not None:
            given = job.control
            control = self._points(
                (given.file,), "control", given.where, given.unit, given.columns, unique=True
            )
        if job.measured is not None:
            shots = job.measured
            measured = self._points(
                shots.files, "as-measured", shots.where, shots.unit, shots.columns, unique=False
            )
        drawings, tables = self._design(job.design) if job.design else ((), None)
        parts = [drawing.points for drawing in drawings] + ([tables] if tables else [])
        older = self._older(job.design) if job.design else ()
        books: dict[str, Book] = {}
        for section in job.checks:
            book = self._book(section)
            if book is not None:
                books[section.name] = book
        courses = self._courses()
        faces = self._faces()
        approximate = self._approximate()
        check_points = self._check_points()
        notes = self._notes()
        wording = self._wording()
        self.problems.extend(same_files(job, self._files.read))
        return Inputs(
            files=self._files.read,
            measured=measured,
            control=control,
            design=concatenate(parts) if job.design else None,
            older=older,
            drawings=drawings,
            books=books,
            **courses,
            faces=faces,
            approximate=approximate,
            check_points=check_points,
            notes=notes,
            wording=wording,
            notices=tuple(self._notices),
        )

    def _try(self, action: Callable[[], T]) -> T | None:
        try:
            return action()
        except InputError as fault:
            self.problems.extend(fault.problems)
            return None

    def _open(self, path: str, role: str, where: Where) -> Source | None:
        return self._try(lambda: self._files.open(path, role, where))

    def _points(
        self,
        paths: tuple[str, ...],
        role: str,
        where: Where,
        unit: LengthUnit,
        columns: dict[str, str],
        *,
        unique: bool,
    ) -> Points | None:
        opened = [self._open(path, role, where) for path in paths]
        sources = [source for source in opened if source is not None]
        if len(sources) < len(paths):
            return None
        shots = None if unique else self._job.measured
        outcome = self._try(
            lambda: read_points(
                sources,
                unit=unit,
                columns=columns,
                role=role,
                sigma_level=shots.sigma_level if shots else None,
                unique=unique,
                crs_from=shots.crs if shots else None,
                crs_to=self._job.reference.crs if shots else None,
                vaguest_m=_vaguest_m(self._job),
            )
        )
        if outcome is None:
            return None
        points, notices = outcome
        self._notices.extend(notices)
        return points

    def _design(self, design: DesignInput) -> tuple[tuple[Drawing, ...], Points | None]:
        drawings = []
        for path in design.drawings:
            drawing = self._try(partial(self._drawing, design, path))
            if drawing is not None:
                drawings.append(drawing)
                self._notices.extend(drawing.notices)
        tables = None
        if design.points:
            tables = self._points(
                design.points,
                "design points",
                design.where,
                design.unit,
                design.columns,
                unique=True,
            )
            if not design.drawings:
                self._same_file(design, design.points[0], "design points", "table of points")
        return tuple(drawings), tables

    def _drawing(self, design: DesignInput, path: str) -> Drawing:
        source = self._files.open(path, "design drawing", design.where)
        self._same_file(design, path, "design drawing", "drawing")
        return read_drawing(source, unit=design.unit, labels=design.labels)

    def _older(self, design: DesignInput) -> tuple[Revision, ...]:
        """Read the earlier revisions; what else their drawings hold concerns nobody any more."""
        found = []
        for each in design.older:
            drawing: Drawing | None = None
            tables = self._older_tables(design, each)
            points: Points | None
            if each.bare:
                points = concatenate([])
            elif each.is_drawing:
                drawing = self._try(partial(self._older_drawing, design, each))
                points = None if drawing is None else drawing.points
            else:
                points = self._points(
                    (each.path,),
                    "earlier revision",
                    design.where,
                    each.unit or design.unit,
                    design.columns,
                    unique=True,
                )
            if points is not None:
                found.append(
                    Revision(
                        of=each,
                        points=points,
                        figures=() if drawing is None else drawing.figures,
                        triangles=None if drawing is None else drawing.triangles,
                        elements=tables["elements"],
                        intersections=tables["intersections"],
                        profiles=tables["profiles"],
                        stakes=tables["stakes"],
                    )
                )
                if not each.bare:
                    self._not_current(design, each.path)
        return tuple(found)

    def _older_tables(self, design: DesignInput, older: OlderDesign) -> "_Courses":
        """Read the tables of alignments and stakes that an earlier revision states for itself."""
        found = _Courses(elements={}, intersections={}, profiles={}, superelevations={}, stakes={})
        alignments = {each.name: each for each in self._job.alignments}
        checks = {
            each.name: each
            for each in self._job.checks
            if isinstance(each, Stakeout) and each.stakes is not None
        }

        def unknown(slug: str, what: str, name: str, there: Iterable[str]) -> None:
            names = ", ".join(there)
            message = f'[design]: older names the {what} "{name}", which the job does not have'
            hint = f"it has: {names}" if names else "take the name out of older"
            self.problems.append(Problem(slug=slug, where=design.where, message=message, hint=hint))

        def courses(
            files: Mapping[str, str], into: dict[str, T], read: Callable[..., T], mapped: str
        ) -> None:
            """Read tables of alignments; headings are mapped as in the alignment's own table."""
            for name, path in files.items():
                course = alignments.get(name)
                if course is None:
                    unknown("unknown-alignment", "alignment", name, alignments)
                    continue
                own = {
                    "elements": course.columns if course.elements else {},
                    "intersections": course.columns if course.intersections else {},
                    "profile": course.profile_columns,
                }
                self._course(path, f"earlier {mapped}", course, into, read, own[mapped])

        courses(older.elements, found["elements"], read_elements, "elements")
        courses(older.intersections, found["intersections"], read_intersections, "intersections")
        courses(older.profiles, found["profiles"], read_profile, "profile")
        for name, path in older.stakes.items():
            check = checks.get(name)
            if check is None:
                unknown("unknown-check", "stakeout with a table of stakes", name, checks)
                continue
            self._course(
                path, "earlier stakes", check, found["stakes"], read_stakes, check.stakes_columns
            )
        return found

    def _older_drawing(self, design: DesignInput, older: OlderDesign) -> Drawing:
        source = self._files.open(older.path, "earlier revision", design.where)
        drawing = read_drawing(source, unit=older.unit or design.unit, labels=design.labels)
        # of the rest of what is odd about it nobody needs to know any more
        units = ("header-unit", "header-foot")
        self._notices.extend(each for each in drawing.notices if each.slug in units)
        return drawing

    def _not_current(self, design: DesignInput, path: str) -> None:
        """Report an earlier revision that is the current design under another name."""
        named = {each.path: each for each in self._files.read}
        own = named[path.replace("\\", "/")].sha256
        for other in (*design.drawings, *design.points):
            file = named.get(other.replace("\\", "/"))
            if file is not None and file.sha256 == own:
                self.problems.append(
                    Problem(
                        slug="older-is-current",
                        where=design.where,
                        message=f'"{path}" is named as an earlier revision, and is byte for byte '
                        f'the design itself, "{other}"',
                        hint="get the file of the earlier revision, or take it out of older",
                    )
                )

    def _same_file(self, design: DesignInput, path: str, role: str, called: str) -> None:
        """Report a design that is another file than the job was written for."""
        found = next((file.sha256 for file in self._files.read if file.role == role), None)
        if design.sha256 is not None and found not in (None, design.sha256.lower()):
            self.problems.append(
                Problem(
                    slug="other-drawing",
                    where=design.where,
                    message=f'"{path}" is not the {called} that the job was written for: its '
                    f"SHA-256 is {found}, the job says {design.sha256}",
                    hint="get the right revision, or, if this one is meant, write its SHA-256 "
                    "and revision into the job",
                )
            )

    def _book(self, section: CheckSection) -> Book | None:
        match section:
            case Traverse():
                return self._try(lambda: self._traverse_book(section))
            case Levels():
                return self._try(lambda: self._level_book(section))
            case Vectors():
                return self._try(lambda: self._vector_book(section))
            case Network(file=str(file)):
                return self._try(lambda: self._sight_book(section, file))
            case DescribedFigure(file=str(file)):
                return self._try(lambda: self._figure_book(section, file))
            case _:
                return None

    def _traverse_book(self, section: Traverse) -> Book:
        return read_traverse_book(
            self._files.open(section.file, "traverse book", section.where),
            unit=section.unit,
            angles=section.angles,
            angle_format=section.angle_format,
            columns=section.columns,
            notices=self._notices,
        )

    def _level_book(self, section: Levels) -> Book:
        return read_level_book(
            self._files.open(section.file, "level book", section.where),
            unit=section.unit,
            columns=section.columns,
            notices=self._notices,
        )

    def _vector_book(self, section: Vectors) -> Book:
        return read_vector_book(
            self._files.open(section.file, "vectors", section.where),
            unit=section.unit,
            columns=section.columns,
            notices=self._notices,
        )

    def _sight_book(self, section: Network, file: str) -> Book:
        return read_sight_book(
            self._files.open(file, "observations of a network", section.where),
            unit=section.file_unit,
            angle_format=section.angle_format,
            columns=section.columns,
            notices=self._notices,
        )

    def _check_points(self) -> dict[str, Points]:
        """Read the check points that accuracy statements name."""
        found: dict[str, Points] = {}
        for section in self._job.checks:
            if isinstance(section, Accuracy) and section.file is not None:
                points = self._points(
                    (section.file,),
                    "check points",
                    section.where,
                    section.unit,
                    section.columns,
                    unique=True,
                )
                if points is not None:
                    found[section.name] = points
        return found

    def _approximate(self) -> dict[str, Points]:
        """Read the rough positions that networks name."""
        found: dict[str, Points] = {}
        for section in self._job.checks:
            if isinstance(section, Network) and section.approximate is not None:
                points = self._points(
                    (section.approximate,),
                    "approximate positions",
                    section.where,
                    self._job.unit,
                    {},
                    unique=True,
                )
                if points is not None:
                    found[section.name] = points
        return found

    def _figure_book(self, section: DescribedFigure, file: str) -> Book:
        return read_figure_book(
            self._files.open(file, "courses of a figure", section.where),
            unit=section.unit,
            angle_format=section.angle_format,
            columns=section.columns,
            notices=self._notices,
        )

    def _courses(self) -> "_Courses":
        """Read the tables of the alignments, and the stakes that sections name."""
        found = _Courses(elements={}, intersections={}, profiles={}, superelevations={}, stakes={})
        for each in self._job.alignments:
            self._course(
                each.elements, "alignment", each, found["elements"], read_elements, each.columns
            )
            self._course(
                each.intersections,
                "alignment",
                each,
                found["intersections"],
                read_intersections,
                each.columns,
            )
            self._course(
                each.profile, "profile", each, found["profiles"], read_profile, each.profile_columns
            )
            self._course(
                each.superelevation,
                "superelevation",
                each,
                found["superelevations"],
                read_superelevation,
                {},
            )
        for section in self._job.checks:
            if isinstance(section, Stakeout):
                self._course(
                    section.stakes,
                    "stakes",
                    section,
                    found["stakes"],
                    read_stakes,
                    section.stakes_columns,
                )
        return found

    def _course(
        self,
        path: str | None,
        role: str,
        owner: AlignmentInput | Stakeout,
        into: dict[str, T],
        read: Callable[..., T],
        columns: dict[str, str],
    ) -> None:
        source = None if path is None else self._open(path, role, owner.where)
        if source is None:
            return
        unit = owner.unit if isinstance(owner, AlignmentInput) else self._job.unit
        table = self._try(lambda: read(source, unit=unit, columns=columns, notices=self._notices))
        if table is not None:
            into[owner.name] = table

    def _faces(self) -> dict[str, Triangles]:
        """Read the surfaces that are given as tables."""
        found: dict[str, Triangles] = {}
        for section in self._job.checks:
            if not isinstance(section, Surface) or section.tables is None:
                continue
            tables = section.tables
            corners = self._open(tables.points, "surface corners", section.where)
            faces = self._open(tables.faces, "surface faces", section.where)
            if corners is None or faces is None:
                continue
            outcome = self._try(
                lambda corners=corners, faces=faces, tables=tables: read_faces(  # type: ignore[misc]
                    corners, faces, unit=tables.unit, columns=tables.columns
                )
            )
            if outcome is not None:
                found[section.name], notices = outcome
                self._notices.extend(notices)
        return found

    def _wording(self) -> Wording:
        if self._job.wording is None:
            return Wording()
        source = self._open(self._job.wording, "wording", Where(file=self._job.file))
        read = None if source is None else self._try(lambda: read_wording(source))
        return read or Wording()

    def _notes(self) -> str:
        if self._job.notes is None:
            return ""
        where = Where(file=self._job.file)
        source = self._open(self._job.notes, "notes", where)
        if source is None:
            return ""
        try:
            return source.data.decode("utf-8-sig")
        except UnicodeDecodeError:
            return source.data.decode("cp1252", errors="replace")


def _vaguest_m(job: Job) -> float:
    """Return how poorly a transformation may be known: no poorer than any limit in plan."""
    used = [section.tolerance for section in job.checks]
    if job.control is not None:
        used.append(job.control.tolerance)
    plan = ("horizontal", "along", "across", "left", "right")
    limits: list[Formula | None] = [getattr(each, key) for each in used if each for key in plan]
    return min([VAGUEST_M, *(limit.constant for limit in limits if limit and limit.constant > 0)])


def concatenate(parts: list[Points]) -> Points:
    """Return the points of several readings as one table, in that order.

    Quality is dropped: it belongs to as-measured points, which are read as one table.
    """
    files: list[str] = []
    offsets = []
    for part in parts:
        offsets.append(len(files))
        files.extend(part.files)

    def joined(name: str, dtype: type) -> np.ndarray:
        arrays = [getattr(part, name) for part in parts]
        return np.concatenate([*arrays, np.empty(0, dtype=dtype)]).astype(dtype, copy=False)

    file = [part.file + offset for part, offset in zip(parts, offsets, strict=True)]
    return Points(
        id=joined("id", object),
        northing_m=joined("northing_m", np.float64),
        easting_m=joined("easting_m", np.float64),
        elevation_m=joined("elevation_m", np.float64),
        description=joined("description", object),
        layer=joined("layer", object),
        handle=joined("handle", object),
        file=np.concatenate([*file, np.empty(0, dtype=np.int64)]),
        line=joined("line", np.int64),
        files=tuple(files),
        quality=Quality(),
    )
