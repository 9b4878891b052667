"""Look at one file without a job: what kind it is, and what a job would read from it.

A file is recognised by its content, never by its name. What cannot be read is said in the readers'
own words, beside what can be seen all the same.
"""

import os
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.drawing import Drawing, Notice
from checker.model.job import AngleKind, Labels
from checker.model.overview import (
    ColumnOverview,
    DrawingOverview,
    Overview,
    TableOverview,
)
from checker.model.points import Points
from checker.read.alignments import ELEMENTS, INTERSECTIONS, PROFILE, STAKES, SUPERELEVATION
from checker.read.cells import floats, is_blank
from checker.read.decoding import decode
from checker.read.drawing import read_drawing
from checker.read.dxf_header import HEADER_UNITS
from checker.read.faces import FACES
from checker.read.figure_book import FIGURE, read_figure_book
from checker.read.files import Files, Source
from checker.read.frames import is_geographic, metres_per_unit
from checker.read.geojson import frame_of, is_geojson, read_geojson
from checker.read.headings import Assignment, Column, UnitKind, Vocabulary
from checker.read.level_book import LEVELS, read_level_book
from checker.read.points import VOCABULARY as POINTS
from checker.read.points import assign_columns, geographic_angle, read_points
from checker.read.sights import SIGHTS, read_sight_book
from checker.read.table_header import find_headings
from checker.read.tables import Table, read_table
from checker.read.traverse_book import TRAVERSE, read_traverse_book
from checker.read.vectors import VECTORS, read_vector_book
from checker.units import JOB_UNITS, AngleFormat, LengthUnit

_DRAWING_BYTES: Final = (b"AutoCAD Binary DXF", b"AC10")
_DRAWING_TEXT = re.compile(
    r"\A\s*(?:999[ \t]*\n[^\n]*\n\s*)*0[ \t]*\n[ \t]*(?:SECTION|EOF|[A-Z]{3,})", re.IGNORECASE
)
_UNITS_BY_NAME: Final = {
    "m": LengthUnit.METRE,
    "ft": LengthUnit.FOOT,
    "ift": LengthUnit.FOOT,
    "usft": LengthUnit.US_SURVEY_FOOT,
}


def open_one(path: Path) -> Source:
    """Return the content of a file that the command line names; InputError where there is none."""
    # This answers no to whatever cannot be a path, where that of Path would raise.
    if os.path.isfile(path / "job.toml"):  # noqa: PTH113
        problem = Problem(
            slug="job-file",
            where=Where(file=str(path)),
            message="this is the folder of a job; `checker show` is for a drawing or a table",
            hint=f"judge it: checker check {path}; or name one of its files",
        )
        raise InputError([problem])
    files = Files(path.parent, allow_outside=True, of_job=False)
    return files.open(path.name, "shown", Where(file=str(path)))


def is_drawing(data: bytes) -> bool:
    """Return whether a file looks like a drawing, sound or damaged, and not like a table."""
    if data.startswith(_DRAWING_BYTES):
        return True
    head = data[:4096].decode("cp1252", errors="replace").lstrip("\ufeffï»¿")
    return _DRAWING_TEXT.match(head.replace("\r\n", "\n").replace("\r", "\n")) is not None


def look_at(source: Source, unit: LengthUnit | None) -> Overview:
    """Return what a file holds.

    unit: what its lengths are in, None: as the file itself says, else metres. Raises InputError
    where the file is neither a drawing nor a table of text.
    """
    if Path(source.path).suffix.lower() == ".toml":
        raise InputError(
            [
                Problem(
                    slug="job-file",
                    where=Where(file=source.path),
                    message="this is a job file; `checker show` is for drawings and tables",
                    hint="run `checker check` with its folder",
                )
            ]
        )
    # Whatever is called so was meant as a drawing, and its reader says best why it is none.
    if is_drawing(source.data) or source.path.lower().endswith(".dxf"):
        return _look_at_drawing(source, unit)
    return _look_at_table(source, unit)


# ---------------------------------------------------------------- drawings


def _look_at_drawing(source: Source, unit: LengthUnit | None) -> DrawingOverview:
    wanted = unit or LengthUnit.METRE
    drawing = read_drawing(source, unit=wanted, labels=Labels())
    by_name = {words: metres for words, metres in HEADER_UNITS.values() if words}
    header_m = by_name.get(drawing.header_unit)
    if unit is None and header_m is not None:
        # Where the header names a unit that a job can have, that reading contradicts nothing.
        own = next((each for each in JOB_UNITS if each.metres == header_m), None)
        if own is not None and own is not wanted:
            wanted = own
            drawing = read_drawing(source, unit=wanted, labels=Labels())
    return DrawingOverview(
        drawing=drawing,
        unit=wanted,
        stated=unit is not None,
        header_m=header_m,
        label_layer=_label_layer(source, drawing, wanted),
    )


_MOST_LABEL_LAYERS: Final = 5


def _label_layer(source: Source, drawing: Drawing, unit: LengthUnit) -> str:
    """Return the layer whose texts number most points, where their own layers number few."""
    nameless = _nameless(drawing)
    if nameless * 2 <= len(drawing.points):
        return ""
    texts: Counter[str] = Counter()
    for entry in drawing.counts:
        if entry.kind in ("TEXT", "MTEXT") and not any(sign in entry.layer for sign in "*?["):
            texts[entry.layer] += entry.count
    best, least = "", nameless // 2  # fewer than half is chance: a note beside a point
    most_first = sorted(texts, key=lambda layer: (-texts[layer], layer))
    for layer in most_first[:_MOST_LABEL_LAYERS]:
        left = _nameless(read_drawing(source, unit=unit, labels=Labels(layers=(layer,))))
        if left < least:
            best, least = layer, left
    return best


def _nameless(drawing: Drawing) -> int:
    return sum(str(name).startswith("@") for name in drawing.points.id.tolist())


# ---------------------------------------------------------------- tables


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """A kind of table, told by the columns that it cannot do without.

    needs: one of these sets of fields must be recognised.
    """

    words: str
    vocabulary: Vocabulary
    needs: tuple[frozenset[str], ...]


def _needs(*sets: str) -> tuple[frozenset[str], ...]:
    return tuple(frozenset(text.split()) for text in sets)


_POINTS: Final = _Kind(
    words="points",
    vocabulary=POINTS,
    needs=_needs("northing easting", "latitude longitude", "x y"),
)
_SIGHTS: Final = _Kind(
    words="observations of a network",
    vocabulary=SIGHTS,
    needs=_needs("at to direction", "at to angle", "at to distance", "at to rise"),
)
_KINDS: Final = (
    # Books first: "point" and "distance" alone would pass for more than one kind.
    _Kind(words="level book", vocabulary=LEVELS, needs=_needs("bs fs", "bs_middle fs_middle")),
    _Kind(words="vectors", vocabulary=VECTORS, needs=_needs("from to dx dy dz")),
    _Kind(words="differences of elevation", vocabulary=LEVELS, needs=_needs("from to rise")),
    # Elements with the place of the first are no points.
    _Kind(
        words="alignment elements", vocabulary=ELEMENTS, needs=_needs("type length radius northing")
    ),
    _Kind(
        words="points of intersection",
        vocabulary=INTERSECTIONS,
        needs=_needs("northing easting radius"),
    ),
    _POINTS,
    _Kind(
        words="traverse book",
        vocabulary=TRAVERSE,
        needs=_needs("at to angle", "at to azimuth", "at to bearing", "at to distance"),
    ),
    _SIGHTS,
    _Kind(words="stakes by station and offset", vocabulary=STAKES, needs=_needs("station offset")),
    _Kind(words="profile", vocabulary=PROFILE, needs=_needs("station elevation")),
    _Kind(words="superelevation", vocabulary=SUPERELEVATION, needs=_needs("station left right")),
    _Kind(words="faces of a surface", vocabulary=FACES, needs=_needs("a b c")),
    _Kind(words="alignment elements", vocabulary=ELEMENTS, needs=_needs("type length")),
    _Kind(
        words="courses of a figure",
        vocabulary=FIGURE,
        needs=_needs("bearing distance", "azimuth distance"),
    ),
)


def _look_at_table(
    source: Source, unit: LengthUnit | None, kind: _Kind | None = None
) -> TableOverview:
    decode(source)  # refuses what is no text, before anything is guessed
    if is_geojson(source.data):
        return _look_at_geojson(source, unit or LengthUnit.METRE)
    kind = kind or kind_of(source)
    try:
        table = read_table(
            source,
            (kind or _POINTS).vocabulary,
            {},
            tail="description" if kind in (None, _POINTS) else None,
        )
    except InputError as fault:
        return _without_header(source, unit, fault.problems)
    if kind is None or kind is _POINTS:
        assigned, _ = assign_columns(table, {})
    else:
        where = Where(file=table.path, line=table.header_line or None)
        assigned = Assignment(table.header, kind.vocabulary, {}, where)
    said = said_unit(table, assigned.columns)
    own = unit or said or LengthUnit.METRE
    points, notices, problems = _read(source, kind, own, assigned)
    if problems and kind is not None and kind.vocabulary is TRAVERSE and _is_net(table, assigned):
        return _look_at_table(source, unit, _SIGHTS)
    return TableOverview(
        path=source.path,
        kind=kind.words if kind is not None else "",
        dialect=table.dialect.words,
        header_line=table.header_line,
        rows=len(table),
        columns=_columns(table, assigned),
        unit=own,
        unit_said=said is not None,
        points=points,
        notices=notices,
        problems=problems,
    )


def _is_net(table: Table, assigned: Assignment) -> bool:
    """Return whether rows one below the other go from one station to several, as in no traverse."""
    at, to = (table.cells[assigned.columns[key].index] for key in ("at", "to"))
    return any(at[row] == at[row + 1] and to[row] != to[row + 1] for row in range(len(table) - 1))


def kind_of(source: Source) -> _Kind | None:
    """Return the kind of table that a file is, by its headings; None where none fits."""
    headings: dict[int, tuple[str, ...]] = {}
    for kind in _KINDS:
        key = id(kind.vocabulary)
        if key not in headings:
            headings[key] = find_headings(source, kind.vocabulary)
        claims = [kind.vocabulary.claim(text) for text in headings[key] if text]
        known = {claim[0] for claim in claims if claim is not None}
        if any(need <= known for need in kind.needs):
            return kind
    return None


def other_kind(source: Source, vocabulary: Vocabulary) -> tuple[str, str] | None:
    """Return what a table looks like and what was wanted, where these are different kinds."""
    found = kind_of(source)
    if found is None or found.vocabulary is vocabulary:
        return None
    if {id(found.vocabulary), id(vocabulary)} == {id(TRAVERSE), id(SIGHTS)}:
        return None  # rows of both look alike
    wanted = next(kind for kind in _KINDS if kind.vocabulary is vocabulary)
    return _a(found), _a(wanted)


def _a(kind: _Kind) -> str:
    """Return the name of a kind as a table that a sentence speaks of."""
    if kind.words.endswith("book"):
        return f"a {kind.words}"
    return f"a table of {kind.words}"


def said_unit(table: Table, columns: Mapping[str, Column]) -> LengthUnit | None:
    """Return the unit of length that a table itself names: its headings, else lines above them."""
    for field, column in columns.items():
        unit = column.unit or table.units[column.index]
        plane = field in ("northing", "easting", "elevation", "distance", "bs", "rise", "station")
        if plane and unit is not None and unit.kind is UnitKind.LENGTH:
            return _UNITS_BY_NAME.get(unit.name)
    for unit, _ in table.stated:
        if unit.name in _UNITS_BY_NAME:
            return _UNITS_BY_NAME[unit.name]
    return None


_Read = tuple[Points | None, tuple[Notice, ...], tuple[Problem, ...]]


def _read(source: Source, kind: _Kind | None, unit: LengthUnit, assigned: Assignment) -> _Read:
    """Read the table as a job would, and return what it says."""
    notices: list[Notice] = []
    if kind is None or kind is _POINTS:
        return _read_points(source, unit)
    angles = AngleKind.RIGHT
    if "angle" not in assigned.columns:
        angles = AngleKind.BEARING if "bearing" in assigned.columns else AngleKind.AZIMUTH
    try:
        if kind.vocabulary is LEVELS:
            read_level_book(source, unit=unit, columns={}, notices=notices)
        elif kind.vocabulary is TRAVERSE:
            read_traverse_book(
                source,
                unit=unit,
                angles=angles,
                angle_format=AngleFormat.SEXAGESIMAL,
                columns={},
                notices=notices,
            )
        elif kind.vocabulary is VECTORS:
            read_vector_book(source, unit=unit, columns={}, notices=notices)
        elif kind.vocabulary is SIGHTS:
            read_sight_book(
                source,
                unit=unit,
                angle_format=AngleFormat.SEXAGESIMAL,
                columns={},
                notices=notices,
            )
        elif kind.vocabulary is FIGURE:
            read_figure_book(
                source,
                unit=unit,
                angle_format=AngleFormat.SEXAGESIMAL,
                columns={},
                notices=notices,
            )
    except InputError as fault:
        return None, tuple(notices), fault.problems
    return None, tuple(notices), ()


def _read_points(source: Source, unit: LengthUnit) -> _Read:
    try:
        points, notices = read_points([source], unit=unit, columns={}, role="points", unique=False)
    except InputError as fault:
        # Without a job there is no frame to bring degrees to; that alone is no fault.
        lacking = tuple(
            Notice(slug=problem.slug, where=problem.where, message=problem.message)
            for problem in fault.problems
            if problem.slug == "no-frame"
        )
        rest = tuple(problem for problem in fault.problems if problem.slug != "no-frame")
        return None, lacking, rest
    return points, notices, ()


def _look_at_geojson(source: Source, unit: LengthUnit) -> TableOverview:
    text, _ = decode(source)
    where = Where(file=source.path)
    crs = frame_of(source.path, text)
    metres = None if is_geographic(crs, where) else metres_per_unit(crs)
    own = next((each for each in JOB_UNITS if each.metres == metres), None)
    geojson = read_geojson(source.path, text, POINTS, own or unit, (None, None))
    assigned, _ = assign_columns(geojson.table, {})
    frame = Notice(
        slug="geojson-frame",
        where=where,
        message=f'the coordinates are in "{crs}", as the file says or, where it says nothing, as '
        "RFC 7946 has it",
    )
    points, notices, problems = _read_points(source, own or unit)
    return TableOverview(
        path=source.path,
        kind="GeoJSON points",
        dialect=geojson.table.dialect.encoding,
        header_line=0,
        rows=len(geojson.table),
        columns=_columns(geojson.table, assigned),
        unit=own or unit,
        unit_said=own is not None,
        points=points,
        notices=(frame, *notices),
        problems=problems,
    )


def _without_header(
    source: Source, unit: LengthUnit | None, problems: tuple[Problem, ...]
) -> TableOverview:
    """Return the columns of a table whose headings are not recognised, by their places."""
    table = loose_table(source)
    if table is None:
        raise InputError(problems)
    where = Where(file=table.path, line=table.header_line or None)
    nothing = Assignment(table.header, Vocabulary(()), {}, where)
    return TableOverview(
        path=source.path,
        kind="",
        dialect=table.dialect.words,
        header_line=table.header_line,
        rows=len(table),
        columns=_columns(table, nothing),
        unit=unit or LengthUnit.METRE,
        unit_said=False,
        points=None,
        notices=table.notices,
        problems=problems,
    )


def loose_table(source: Source) -> Table | None:
    """Return a table whose headings nobody knows, split all the same; None where it cannot be."""
    try:
        table = read_table(source, Vocabulary(()), {"id": "1"})
    except InputError:
        return None
    if table.header_line == 0:
        bare = tuple("" for _ in table.header)
        return replace(table, header=bare)
    return table


def _how(column: Column | None) -> str:
    """Return by what a column was recognised, in a word or two."""
    if column is None:
        return ""
    if column.field in ("x", "y"):
        return "letter"
    return "heading" if column.tier < 1 else "lesser word"


def _degrees(cell: str) -> float:
    return float(np.degrees(geographic_angle(cell)))


def _columns(table: Table, assigned: Assignment) -> tuple[ColumnOverview, ...]:
    by_place = {column.index: (field, column) for field, column in assigned.columns.items()}
    found = []
    for index, heading in enumerate(table.header):
        field, column = by_place.get(index, ("", None))
        unit = (column.unit if column is not None else None) or table.units[index]
        cells = table.cells[index]
        filled = [cell for cell in cells if not is_blank(cell)]
        low, high = _range(cells, field, decimal_comma=table.dialect.decimal_comma)
        found.append(
            ColumnOverview(
                place=index + 1,
                heading=heading,
                field=field,
                how=_how(column),
                unit=unit.text if unit is not None else "",
                filled=len(filled),
                first=filled[0] if filled else "",
                low=low,
                high=high,
            )
        )
    return tuple(found)


def _range(
    cells: Sequence[str], field: str, *, decimal_comma: bool
) -> tuple[float | None, float | None]:
    """Return the least and the greatest of a column of numbers; None where it holds others."""
    is_angle = field in ("latitude", "longitude")
    values, errors = floats(
        cells,
        decimal_comma=decimal_comma,
        other=_degrees if is_angle else None,
        any_form=is_angle,
    )
    if errors or not np.isfinite(values).any():
        return None, None
    return float(np.nanmin(values)), float(np.nanmax(values))
