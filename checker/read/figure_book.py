"""Courses of a described figure: a row a course, straight or curved, as a deed gives them."""

import math
import re
from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.books import FigureBook
from checker.model.drawing import Notice
from checker.read.books import BookTable
from checker.read.cells import is_blank
from checker.read.files import Source
from checker.read.headings import UnitKind, Vocabulary, field
from checker.text import quoted
from checker.units import (
    ARCSEC,
    AngleFormat,
    LengthUnit,
    UnitError,
    parse_angle,
    parse_bearing,
)

FIGURE: Final = Vocabulary(
    (
        field("course", "course line courseno coursenumber leg call no number id name", "#"),
        field("bearing", "bearing brg quadrantbearing direction"),
        field("azimuth", "azimuth az azi gridazimuth"),
        field("distance", "distance dist length horizontaldistance"),
        field("radius", "radius rad r"),
        field("turn", "turn turns side hand lr leftright rotation concave curveto curvetothe"),
        field("arc", "arc arclength lengthofarc arclen curvelength l"),
        field("delta", "delta δ centralangle centangle includedangle"),
        field("chord", "chord chordlength chorddistance longchord lc chorddist"),
        field(
            "chord_bearing",
            "chordbearing chordazimuth chorddirection cb bearingofchord lcbearing chb chbrg",
        ),
        field(
            "radial_bearing",
            "radialbearing radial radialazimuth radialin radialbearingin bearingtocenter "
            "bearingtocentre bearingtoradiuspoint",
        ),
        field("tangent", "tangent tangency istangent tangentcurve"),
    )
)
_YES: Final = frozenset(("yes", "y", "true", "t", "tangent", "1", "x"))
_NO: Final = frozenset(("no", "n", "false", "f", "non-tangent", "nontangent", "0", "not tangent"))
_RIGHT: Final = frozenset(("right", "r", "rt", "to the right", "cw", "clockwise"))
_LEFT: Final = frozenset(("left", "l", "lt", "to the left", "ccw", "counter-clockwise"))
_QUADRANT: Final = re.compile(r"\s*(?:[NS]|due\b|north|south|east|west)", re.IGNORECASE)
_CURVE: Final = ("radius", "arc", "delta", "chord", "chord_bearing", "radial_bearing", "turn")
_MISSING: Final = frozenset(("?", "??", "unknown", "missing", "lost", "illegible", "not known"))
_MOST_UNKNOWN: Final = 2
"""So many unknowns the closure of a figure can be solved for: it has two components."""


def read_figure_book(
    source: Source,
    *,
    unit: LengthUnit,
    angle_format: AngleFormat,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> FigureBook:
    """Read the courses of a figure: a direction and a distance, or a curve.

    A curve has a turn (left, right) and two or more of radius, arc, delta and chord; its direction
    is that of its chord or of its radius at the beginning, or it is tangent to the course before.
    Of straight courses two bearings or distances may be missing. Raises InputError with
    all faults.
    """
    return _FigureReader(source, unit, angle_format, columns).read(notices)


class _FigureReader:
    def __init__(
        self,
        source: Source,
        unit: LengthUnit,
        angle_format: AngleFormat,
        columns: Mapping[str, str],
    ) -> None:
        self._book = BookTable(source, FIGURE, unit, columns)
        self._unit = unit
        self._format = angle_format

    def read(self, notices: list[Notice] | None) -> FigureBook:
        book = self._book
        found = book.assigned.columns
        direction = "azimuth" if "azimuth" in found and "bearing" not in found else "bearing"
        if {"azimuth", "bearing"} <= set(found):
            book.faults.add(
                "ambiguous-column",
                book.where,
                f'the table has both "{found["bearing"].heading}" and '
                f'"{found["azimuth"].heading}" for the direction of a course',
                "leave one of them out, so that it is plain which one counts",
            )
        book.require((direction, "distance"))
        told = ("bearing", "azimuth", "distance")
        # a straight course has none of a curve's cells
        book.refuse_short_rows(may_lack=tuple(name for name in found if name not in told))
        self._take_missing_out(("bearing", "azimuth", "distance"))
        count = len(book)
        course = book.cells.blanks_as_nothing("course") if "course" in book.cells else None
        azimuth, whole_circle = self._directions(direction)
        chord_azimuth, _ = self._directions("chord_bearing")
        radial_azimuth, _ = self._directions("radial_bearing")
        lengths = {name: self._length(name) for name in ("distance", "radius", "arc", "chord")}
        delta = self._delta()
        turn = self._turn()
        tangent = self._tangent()
        curved = np.zeros(count, dtype=np.bool_)
        for name in _CURVE:
            curved |= book.filled(name)
        taken = self._check(curved, azimuth, chord_azimuth, lengths, turn)
        taken &= np.isnan(radial_azimuth)
        chord_azimuth = np.where(taken, azimuth, chord_azimuth)
        book.finish(notices)
        return FigureBook(
            path=book.table.path,
            line=book.table.lines,
            course=np.array(
                [
                    str(index + 1) if course is None or not course[index] else str(course[index])
                    for index in range(count)
                ],
                dtype=object,
            ),
            azimuth_rad=np.where(curved, np.nan, azimuth),
            distance_m=lengths["distance"],
            turn=turn,
            radius_m=lengths["radius"],
            arc_m=lengths["arc"],
            delta_rad=delta,
            chord_m=lengths["chord"],
            chord_azimuth_rad=chord_azimuth,
            radial_azimuth_rad=radial_azimuth,
            tangent=tangent,
            radius_step_m=book.steps("radius"),
            arc_step_m=book.steps("arc"),
            delta_step_rad=self._angle_steps("delta"),
            chord_step_m=book.steps("chord"),
            whole_circle=whole_circle,
            chord_from_bearing=tuple(np.flatnonzero(taken).tolist()),
        )

    # ------------------------------------------------------------ columns

    def _take_missing_out(self, names: tuple[str, ...]) -> None:
        """Empty the cells that say in words that a bearing or a distance is not known."""
        found = self._book.assigned.columns
        for name in names:
            if name in found:
                self._book.cells.empty(name, _MISSING)

    def _length(self, name: str) -> FloatArray:
        book = self._book
        values = book.cells.lengths(name)
        with np.errstate(invalid="ignore"):
            bad = values <= 0.0
        if name in book.cells:
            raw = book.cells.raw(name)
            book.faults_where(
                bad,
                name,
                lambda row: (
                    "not-positive",
                    f"{quoted(raw[row])} is no {name} of a course; expected more than 0",
                    "check the number; which way a curve turns is said by turn, left or right",
                ),
            )
        return values

    def _directions(self, name: str) -> tuple[FloatArray, bool]:
        """Return azimuths, and whether the column holds whole-circle directions.

        A column of quadrant bearings in which one has lost its letters would be a course in another
        quadrant: a column is of one kind.
        """
        book = self._book
        if name not in book.cells:
            return np.full(len(book), np.nan), False
        cells = book.cells.raw(name)
        given = [row for row, cell in enumerate(cells) if not is_blank(cell)]
        quadrant = [row for row in given if _QUADRANT.match(cells[row])]
        if quadrant and len(quadrant) < len(given):
            odd = min(set(given) - set(quadrant), default=0)
            book.fault(
                odd,
                name,
                "bad-angle",
                f"{quoted(cells[odd])} is no bearing; other rows of this column are bearings",
                "write bearings as N 45-30-15 E, or azimuths from 0 to 360 degrees throughout",
            )
        if quadrant:
            kept = set(quadrant)
            values = np.full(len(book), np.nan)
            parsed = book.each(
                name,
                lambda cell: parse_bearing(cell, self._format) if _QUADRANT.match(cell) else 0,
                "bad-angle",
            )
            rows = sorted(kept)
            values[rows] = parsed[rows]
            return values, False
        self._check_unit(name)
        return book.each(name, self._whole_circle, "bad-angle"), bool(given)

    def _whole_circle(self, cell: str) -> float:
        angle = parse_angle(cell, self._format)
        if not 0.0 <= angle <= 2 * math.pi + 1e-12:
            raise UnitError(
                f"{quoted(cell)} is not between 0 and 360 degrees",
                "check the azimuth and its format (angle_format)",
            )
        return angle % (2 * math.pi)

    def _delta(self) -> FloatArray:
        self._check_unit("delta")

        def parse(cell: str) -> float:
            angle = parse_angle(cell, self._format)
            if not 0.0 < angle < 2 * math.pi:
                raise UnitError(
                    f"{quoted(cell)} is no central angle; expected between 0 and 360 degrees",
                    "which way a curve turns is said by turn, left or right",
                )
            return angle

        return self._book.each("delta", parse, "bad-angle")

    def _check_unit(self, name: str) -> None:
        book = self._book
        if name not in book.cells:
            return
        said, line = book.cells.said_unit(name)
        if said is None or said.kind is UnitKind.OTHER:
            return
        fits = {
            AngleFormat.SEXAGESIMAL: ("deg", "dms"),
            AngleFormat.PACKED: ("deg", "dms"),
            AngleFormat.GON: ("gon",),
            AngleFormat.RADIANS: ("rad",),
        }[self._format]
        if said.kind is not UnitKind.ANGLE or said.name not in fits:
            book.faults.add(
                "unit-contradiction",
                Where(file=book.table.path, line=line, part=book.cells.heading(name)),
                f'the table says "{said.text}", the job angle_format = "{self._format}"',
                "find out which is right, and mend the heading or the job's angle_format",
            )

    def _words(
        self, name: str, first: frozenset[str], second: frozenset[str], expected: str
    ) -> IntArray:
        """Return 1 for the first words, -1 for the second, 0 where the cell is empty."""
        book = self._book
        values = np.zeros(len(book), dtype=np.int64)
        if name not in book.cells:
            return values
        for row, cell in enumerate(book.cells.raw(name)):
            word = cell.strip().lower()
            if word in first:
                values[row] = 1
            elif word in second:
                values[row] = -1
            elif not is_blank(cell):
                book.fault(
                    row,
                    name,
                    "bad-word",
                    f"{quoted(cell)} is not understood; expected {expected}",
                    f"write {expected}, or leave the cell empty",
                )
        return values

    def _turn(self) -> IntArray:
        return self._words("turn", _RIGHT, _LEFT, "left or right")

    def _tangent(self) -> TextArray:
        words = self._words("tangent", _YES, _NO, "yes or no")
        texts = {1: "yes", -1: "no", 0: ""}
        return np.array([texts[int(word)] for word in words], dtype=object)

    def _angle_steps(self, name: str) -> FloatArray:
        """Return one unit of the last digit written of angles, radians; NaN where empty."""
        book = self._book
        steps = np.full(len(book), np.nan)
        if name not in book.cells:
            return steps
        for row, cell in enumerate(book.cells.raw(name)):
            if not is_blank(cell):
                steps[row] = angle_step(cell, self._format)
        return steps

    # ------------------------------------------------------------ rows

    def _check(
        self,
        curved: BoolArray,
        azimuth: FloatArray,
        chord_azimuth: FloatArray,
        lengths: Mapping[str, FloatArray],
        turn: IntArray,
    ) -> BoolArray:
        """Report rows that describe no course.

        Return the curves whose chord's direction stands in the column of the courses' directions.
        """
        book = self._book
        if book.faults.problems:
            raise InputError(book.faults.listed())
        has_direction = np.isfinite(azimuth)
        no_direction = ~curved & ~has_direction
        no_distance = ~curved & np.isnan(lengths["distance"])
        if np.count_nonzero(no_direction) + np.count_nonzero(no_distance) > _MOST_UNKNOWN:
            self._lacks(no_direction, "this course has no direction", _TOO_MANY)
            self._lacks(no_distance, "this course has no distance", _TOO_MANY)
        self._lacks(
            curved & np.isnan(lengths["radius"]) & ~self._fixed(lengths),
            "this curve has no radius",
            "fill in the radius, or two of arc, delta and chord; leave everything of a curve out "
            "of a straight course",
        )
        self._lacks(
            curved & (turn == 0),
            "this curve does not say which way it turns",
            "write left or right under turn",
        )
        book.faults_where(
            curved & np.isfinite(lengths["distance"]),
            "distance",
            lambda _row: (
                "two-distances",
                "this curve has a distance, which may be its arc or its chord",
                "write it under arc or under chord, and leave distance empty",
            ),
        )
        book.faults_where(
            curved & has_direction & np.isfinite(chord_azimuth),
            None,
            lambda _row: (
                "two-directions",
                "this curve has a direction of a course and one of its chord",
                "leave the bearing of a curve empty; its chord's is chord_bearing",
            ),
        )
        return curved & has_direction & np.isnan(chord_azimuth)

    def _fixed(self, lengths: Mapping[str, FloatArray]) -> BoolArray:
        """Return the curves that arc, delta and chord fix without a radius."""
        given = self._book.filled("delta").astype(np.int64)
        for name in ("arc", "chord"):
            given = given + np.isfinite(lengths[name])
        return np.asarray(given >= 2)

    def _lacks(self, bad: BoolArray, message: str, hint: str) -> None:
        self._book.faults_where(bad, None, lambda _row: ("missing-value", message, hint))


_TOO_MANY: Final = (
    "a figure's closure solves for two unknowns at most; fill it in from another source"
)


def angle_step(cell: str, fmt: AngleFormat) -> float:
    """Return one unit of the last digit of an angle as written, radians."""
    numbers = re.findall(r"\d+(?:[.,]\d*)?", cell)
    last = numbers[-1] if numbers else ""
    places = len(re.split(r"[.,]", last)[1]) if re.search(r"[.,]", last) else 0
    if fmt is AngleFormat.GON:
        return math.pi / 200.0 * 10.0**-places
    if fmt is AngleFormat.RADIANS:
        return 10.0**-places
    if fmt is AngleFormat.PACKED:  # ddd.mmss: two digits are minutes, four are seconds
        if places <= 2:
            return 60.0 * ARCSEC
        return float(ARCSEC * 10.0 ** (4 - places)) if places >= 4 else 10.0 * ARCSEC
    return float({1: 3600.0, 2: 60.0}.get(len(numbers), 1.0) * ARCSEC * 10.0**-places)
