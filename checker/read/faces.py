"""A surface as two tables: corners with coordinates, and faces that name three corners each."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.drawing import Notice, Triangles
from checker.read.books import other_kind_hint
from checker.read.cells import Faults, held
from checker.read.files import Source
from checker.read.headings import Assignment, Vocabulary, field
from checker.read.points import read_points
from checker.read.tables import read_table
from checker.text import quoted
from checker.units import LengthUnit

_OF_POINTS: Final = ("id", "northing", "easting", "elevation")
FACES: Final = Vocabulary(
    (
        field("a", "a p1 pt1 point1 corner1 vertex1 v1 n1 node1 first i"),
        field("b", "b p2 pt2 point2 corner2 vertex2 v2 n2 node2 second j"),
        field("c", "c p3 pt3 point3 corner3 vertex3 v3 n3 node3 third k"),
    )
)
"""The headings of a table of faces."""
CORNERS: Final = Vocabulary(
    (*(field(name) for name in _OF_POINTS), *(field(name) for name in FACES.names))
)
"""The fields that a job may map for the two tables."""


def read_faces(
    points: Source, faces: Source, *, unit: LengthUnit, columns: Mapping[str, str]
) -> tuple[Triangles, tuple[Notice, ...]]:
    """Return the triangles of two tables, with what must be said of them.

    points: rows of id, northing, easting, elevation in `unit`; faces: rows of a, b, c, ids of the
    three corners in either direction. columns: field -> heading, for both. Raises InputError with
    every fault: an unknown or repeated corner, a corner without an elevation.
    """
    corners, notices = read_points(
        [points],
        unit=unit,
        columns={name: text for name, text in columns.items() if name in _OF_POINTS},
        role="corners",
        unique=True,
    )
    table = read_table(
        faces, FACES, {name: text for name, text in columns.items() if name in FACES.names}
    )
    faults = Faults(faces.path)
    faults.take(table)
    assigned = Assignment(
        table.header,
        FACES,
        {name: text for name, text in columns.items() if name in FACES.names},
        Where(file=faces.path, line=table.header_line or None),
    )
    assigned.require(
        FACES.names,
        {name: f"corner {name} of the face" for name in FACES.names},
        held=held(table),
        other=lambda: other_kind_hint(faces, FACES),
    )
    faults.problems.extend(assigned.problems)
    if assigned.problems or not len(table):
        raise InputError(faults.listed())
    at = {str(name).strip(): index for index, name in enumerate(corners.id.tolist())}
    flat = np.isnan(corners.elevation_m)
    number = np.zeros((len(table), 3), dtype=np.int64)
    for place, name in enumerate(FACES.names):
        column = assigned.columns[name]
        cells = table.cells[column.index]
        found = np.array([at.get(cell.strip(), -1) for cell in cells], dtype=np.int64)
        number[:, place] = found
        faults.of_rows(
            table,
            np.flatnonzero(found < 0).tolist(),
            column.heading,
            lambda row, cells=cells: (  # type: ignore[misc]
                "unknown-corner",
                f"{points.path} has no point {quoted(cells[row])}",
                "a face names three points of the other table by their numbers",
            ),
        )
        faults.of_rows(
            table,
            np.flatnonzero((found >= 0) & flat[found]).tolist(),
            column.heading,
            lambda row, cells=cells: (  # type: ignore[misc]
                "corner-without-elevation",
                f"point {quoted(cells[row])} of {points.path} has no elevation",
                "a surface needs the elevation of every corner",
            ),
        )
    twice = (
        (number[:, 0] == number[:, 1])
        | (number[:, 1] == number[:, 2])
        | (number[:, 0] == number[:, 2])
    ) & (number >= 0).all(axis=1)
    faults.of_rows(
        table,
        np.flatnonzero(twice).tolist(),
        None,
        lambda _row: (
            "repeated-corner",
            "the face names one corner twice",
            "a face has three different corners; take the row out if it is none",
        ),
    )
    if faults.problems:
        raise InputError(faults.listed())
    xyz = np.column_stack((corners.easting_m, corners.northing_m, corners.elevation_m))
    triangles = Triangles(
        corner_m=xyz[number],
        layer=np.full(len(table), faces.path, dtype=object),
        handle=np.array([f"line {line}" for line in table.lines.tolist()], dtype=object),
        dropped={},
    )
    return triangles, (*notices, *table.notices, *assigned.notices())
