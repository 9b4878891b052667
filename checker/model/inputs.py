"""Everything that was read for a job."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from checker.model.alignment import (
    ElementTable,
    ProfileTable,
    StakeTable,
    SuperelevationTable,
)
from checker.model.books import Book
from checker.model.drawing import Drawing, Notice, Triangles
from checker.model.points import Points


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """A file that was read; path as the job names it, role what it is for."""

    path: str
    role: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """The job's data. books: by the name of the section that asked for them.

    elements, profiles, superelevations: by the name of the alignment; stakes, faces (surfaces given
    as tables): by the name of the section.

    design: all design points of all drawings and tables, on the grid of the as-measured points
    once the run has brought ground to grid. notices: in the order of reading.
    """

    files: tuple[InputFile, ...]
    measured: Points | None = None
    control: Points | None = None
    design: Points | None = None
    drawings: tuple[Drawing, ...] = ()
    books: Mapping[str, Book] = field(default_factory=dict)
    elements: Mapping[str, ElementTable] = field(default_factory=dict)
    profiles: Mapping[str, ProfileTable] = field(default_factory=dict)
    superelevations: Mapping[str, SuperelevationTable] = field(default_factory=dict)
    stakes: Mapping[str, StakeTable] = field(default_factory=dict)
    faces: Mapping[str, Triangles] = field(default_factory=dict)
    notes: str = ""
    notices: tuple[Notice, ...] = ()
