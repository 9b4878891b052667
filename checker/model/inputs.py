"""Everything that was read for a job."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from checker.model.alignment import (
    ElementTable,
    IntersectionTable,
    ProfileTable,
    StakeTable,
    SuperelevationTable,
)
from checker.model.books import Book
from checker.model.drawing import Drawing, Figure, Notice, Triangles
from checker.model.job import OlderDesign
from checker.model.points import Points
from checker.model.wording import Wording


@dataclass(frozen=True, slots=True, kw_only=True)
class InputFile:
    """A file that was read; path as the job names it, role what it is for."""

    path: str
    role: str
    size: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """An earlier revision of the design: points in the frame of `Inputs.design`, lines as drawn.

    triangles: of its drawing, None without any. elements, intersections, profiles, stakes: as in
    `Inputs`, those that the revision states for itself.
    """

    of: OlderDesign
    points: Points
    figures: tuple[Figure, ...] = ()
    triangles: Triangles | None = None
    elements: Mapping[str, ElementTable] = field(default_factory=dict)
    intersections: Mapping[str, IntersectionTable] = field(default_factory=dict)
    profiles: Mapping[str, ProfileTable] = field(default_factory=dict)
    stakes: Mapping[str, StakeTable] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """The job's data. books: by the name of the section that asked for them.

    elements, intersections, profiles, superelevations: by the name of the alignment; stakes, faces
    (surfaces given as tables), approximate (rough positions of a network's stations), check_points
    (of an accuracy statement): by the name of the section.

    design: all design points of all drawings and tables, on the grid of the as-measured points
    once the run has brought ground to grid. older: earlier revisions of it, as the job lists them.
    notices: in the order of reading.
    """

    files: tuple[InputFile, ...]
    measured: Points | None = None
    control: Points | None = None
    design: Points | None = None
    older: tuple[Revision, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    books: Mapping[str, Book] = field(default_factory=dict)
    elements: Mapping[str, ElementTable] = field(default_factory=dict)
    intersections: Mapping[str, IntersectionTable] = field(default_factory=dict)
    profiles: Mapping[str, ProfileTable] = field(default_factory=dict)
    superelevations: Mapping[str, SuperelevationTable] = field(default_factory=dict)
    stakes: Mapping[str, StakeTable] = field(default_factory=dict)
    faces: Mapping[str, Triangles] = field(default_factory=dict)
    approximate: Mapping[str, Points] = field(default_factory=dict)
    check_points: Mapping[str, Points] = field(default_factory=dict)
    notes: str = ""
    wording: Wording = field(default_factory=Wording)
    notices: tuple[Notice, ...] = ()
