"""Traverse books: one row a leg, or several rows where a leg was measured in sets."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.books import TraverseBook
from checker.model.drawing import Notice
from checker.model.job import AngleKind
from checker.read.books import DISTANCE_WORDS, ROLES, BookTable
from checker.read.cells import is_blank
from checker.read.files import Source
from checker.read.headings import UnitKind, Vocabulary, field
from checker.read.sets import FACE_ONE, FACE_TWO, Rows, apart, groups_of, meaned
from checker.text import quoted
from checker.units import AngleFormat, LengthUnit, UnitError, parse_angle, parse_bearing

TRAVERSE: Final = Vocabulary(
    (
        field(
            "at",
            "at from occupied occupiedstation occupiedpoint instrumentstation instrument setup "
            "atstation fromstation atpoint frompoint occ",
            "station stn sta point pt",
        ),
        field(
            "to",
            "to foresight fs sighted sightedpoint sightedstation tostation topoint foresightpoint "
            "foresightstation target",
        ),
        field(
            "angle",
            "angle horizontalangle horizangle ha hangle hzangle angleright angleleft "
            "interiorangle deflectionangle deflection observedangle anglert anglelt interior",
        ),
        field("azimuth", "azimuth az gridazimuth azi", "direction"),
        field("bearing", "bearing brg quadrantbearing gridbearing"),
        field("distance", DISTANCE_WORDS),
        field(
            "slope_distance",
            "slopedistance slopedist slope sd sdist sdistance sloped slopelength inclineddistance",
        ),
        field(
            "zenith", "zenith zenithangle za zenithdistance zd va verticalangle vertangle zenithang"
        ),
        field("back", "back backstation backpoint backsightstation backsightpoint backsight bs"),
        field("face", "face circle position telescope directreverse dr fldr lr"),
        field("hi", "hi instrumentheight heightofinstrument instht ih instrht"),
        field(
            "ht",
            "ht hr th targetheight heightoftarget targetht reflectorheight heightofreflector "
            "rodheight prismheight",
        ),
    )
)
_DIRECTION: Final = {AngleKind.AZIMUTH: "azimuth", AngleKind.BEARING: "bearing"}
_ZENITH_HINT: Final = (
    "a zenith angle counts from straight up, a level sight is 90 degrees; an angle above the "
    "horizon must be taken from 90"
)
_CHAIN_HINT: Final = (
    "give the legs in the order walked, each from where the one before it ended; side shots belong "
    "to another file"
)
_HIGHEST_TRIPOD_M: Final = 10.0
"""No instrument or target of a traverse stands higher above its mark (common practice)."""


def read_traverse_book(
    source: Source,
    *,
    unit: LengthUnit,
    angles: AngleKind,
    angle_format: AngleFormat,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> TraverseBook:
    """Read a traverse book: one row a leg, in the order walked.

    unit: of lengths that do not name their own. angles: what the directions are; azimuths and
    bearings come as the azimuth of the leg, deflections right positive. angle_format: how bare
    numbers are read. columns: field -> heading or place. Only the first row may lack its angle,
    only the last its distance. notices: takes what must be said. Raises InputError with all faults.
    """
    return _TraverseReader(source, unit, angles, angle_format, columns).read(notices)


class _TraverseReader:
    def __init__(
        self,
        source: Source,
        unit: LengthUnit,
        angles: AngleKind,
        angle_format: AngleFormat,
        columns: Mapping[str, str],
    ) -> None:
        self._book = BookTable(source, TRAVERSE, unit, columns)
        self._angles = angles
        self._format = angle_format

    def read(self, notices: list[Notice] | None) -> TraverseBook:
        book = self._book
        direction = self._direction()
        sloped = "slope_distance" in book.cells and "distance" not in book.cells
        book.require(
            ("at", "to", direction, *(("slope_distance", "zenith") if sloped else ("distance",)))
        )
        book.leave(tuple({"angle", "azimuth", "bearing"} - {direction}))
        at, to = book.names("at"), book.names("to")
        group = groups_of([str(name).strip() for name in at], [str(name).strip() for name in to])
        start = np.flatnonzero(np.diff(group, prepend=-1))
        last = int(group[-1])
        book.refuse_short_rows(lambda row: int(group[row]) == last)
        face = self._faces()
        rows = Rows(
            line=book.table.lines,
            face=face,
            angle_rad=self._one_face(self._directions(direction), face, group),
            distance_m=self._lengths("distance"),
            slope_m=self._lengths("slope_distance"),
            zenith_rad=self._zeniths(face, group),
            hi_m=self._heights("hi"),
            ht_m=self._heights("ht"),
        )
        self._check_angles(rows.angle_rad, direction, group)
        self._check_distances(group)
        self._check_chain(at, to, group)
        back = self._backs(at, group)
        self._check_sets(rows, group)
        book.finish(notices)
        mean, sets = meaned(rows, group)
        return TraverseBook(
            path=book.table.path,
            line=mean.line,
            at=at[start],
            to=to[start],
            angle_rad=mean.angle_rad,
            distance_m=mean.distance_m,
            slope_m=mean.slope_m,
            zenith_rad=mean.zenith_rad,
            hi_m=mean.hi_m,
            ht_m=mean.ht_m,
            sets=sets,
            back=back,
        )

    def _faces(self) -> IntArray:
        """Return the face of every row, 0 where it is not said."""
        book = self._book
        found = np.zeros(len(book), dtype=np.int64)
        if "face" not in book.cells:
            return found
        for row, cell in enumerate(book.cells.raw("face")):
            word = cell.strip().lower()
            if word in FACE_ONE:
                found[row] = 1
            elif word in FACE_TWO:
                found[row] = 2
            elif not is_blank(cell):
                book.fault(
                    row,
                    "face",
                    "bad-word",
                    f"{quoted(cell)} is no face; expected 1 or 2",
                    "write 1 for face left (direct) and 2 for face right (reverse)",
                )
        return found

    def _one_face(self, angle: FloatArray, face: IntArray, group: IntArray) -> FloatArray:
        """Return directions of face two brought to face one, where they stand half a turn off."""
        if self._angles not in _DIRECTION:
            return angle
        one = {int(group[row]): row for row in np.flatnonzero(face == 1)[::-1].tolist()}
        angle = angle.copy()
        for row in np.flatnonzero(face == 2).tolist():
            first = one.get(int(group[row]))
            if first is not None and math.cos(angle[row] - angle[first]) < 0.0:
                angle[row] = (angle[row] + math.pi) % (2 * math.pi)
        return angle

    def _backs(self, at: TextArray, group: IntArray) -> tuple[str, ...]:
        """Return the back stations of the legs; one that is not the station before is a fault."""
        book = self._book
        if "back" not in book.cells:
            return ()
        back = [str(name).strip() for name in book.cells.blanks_as_nothing("back")]
        start = np.flatnonzero(np.diff(group, prepend=-1))
        for row, leg in enumerate(group.tolist()):
            before = str(at[start[leg - 1]]).strip() if leg else back[start[0]]
            if back[row] and back[row] != before:
                book.fault(
                    row,
                    "back",
                    "broken-chain",
                    f"the angle at {quoted(at[row])} is turned from {quoted(back[row])}, and the "
                    f"leg before came from {quoted(before)}",
                    "give the angle from the station that the line came from",
                )
        return tuple(back[row] for row in start)

    def _check_sets(self, rows: Rows, group: IntArray) -> None:
        """Report rows that can be no further set of the leg that they repeat."""
        book = self._book
        if book.faults.problems:
            return
        start = np.flatnonzero(np.diff(group, prepend=-1))
        for row, part in apart(rows, group):
            book.fault(
                row,
                None,
                "sets-apart",
                f"this row repeats the leg of line {int(rows.line[start[group[row]]])}, and its "
                f"{part} is not that of the same measurement",
                "repeated rows are sets that are meaned: take the blunder out, or mend the name of "
                "the station",
            )

    def _direction(self) -> str:
        """Return the field of the directions; headings that contradict the job are faults."""
        found = self._book.assigned.columns
        wanted = _DIRECTION.get(self._angles, "angle")
        if wanted in found:
            return wanted
        # In much of the world a whole-circle azimuth is headed "bearing", and an angle "angle".
        others = {
            AngleKind.AZIMUTH: ("angle", "bearing"),
            AngleKind.BEARING: ("angle", "azimuth"),
        }.get(self._angles, ())
        for other in others:
            if other in found:
                return other
        for other in ("azimuth", "bearing"):
            if other in found:
                self._book.faults.add(
                    "other-direction",
                    self._book.where,
                    f'the book has "{found[other].heading}", and the job says angles = '
                    f'"{self._angles}"',
                    f'write angles = "{other}" in the job, or map the column of the angles',
                )
                raise InputError(self._book.faults.listed())
        return wanted

    def _directions(self, name: str) -> FloatArray:
        book = self._book
        self._check_unit(name)
        if self._angles is AngleKind.BEARING:
            parse = self._bearing
        elif self._angles is AngleKind.DEFLECTION:
            parse = self._deflection
        else:
            parse = self._whole_circle
        return book.each(name, parse, "bad-angle")

    def _whole_circle(self, cell: str) -> float:
        if cell[:1].upper() in ("N", "S"):
            raise UnitError(
                f"{quoted(cell)} is a bearing, and the job says angles = {quoted(self._angles)}",
                'write angles = "bearing" in the job',
            )
        angle = parse_angle(cell, self._format)
        if not 0.0 <= angle <= 2 * math.pi + 1e-12:
            raise UnitError(
                f"{quoted(cell)} is not between 0 and 360 degrees",
                "check the angle, its format (angle_format) and the job's angles",
            )
        return angle

    def _bearing(self, cell: str) -> float:
        return parse_bearing(cell, self._format)

    def _deflection(self, cell: str) -> float:
        text, side = cell.strip(), 0.0
        for word, sign in (("left", -1.0), ("right", 1.0), ("lt", -1.0), ("rt", 1.0), ("l", -1.0)):
            if text.lower().endswith(word):
                text, side = text[: -len(word)].strip(), sign
                break
        else:
            if text.lower().endswith("r"):
                text, side = text[:-1].strip(), 1.0
            elif text[:1].lower() in ("l", "r"):
                side = -1.0 if text[0].lower() == "l" else 1.0
                text = text[1:].strip()
        angle = parse_angle(text, self._format)
        if side and text[:1] in "+-−":
            raise UnitError(
                f"{quoted(cell)} has both a sign and a side", "write 12-30-00 L, or -12-30-00"
            )
        if abs(angle) > math.pi + 1e-12:
            raise UnitError(
                f"{quoted(cell)} is more than 180 degrees",
                "a deflection turns from the line produced, at most 180 degrees to either side; "
                'whole-circle angles are angles = "right"',
            )
        return side * angle if side else angle

    def _check_unit(self, name: str) -> None:
        """Refuse a heading whose unit of angle is not the one that the job states."""
        book = self._book
        if name not in book.cells:
            return
        said, line = book.cells.said_unit(name)
        if said is None or said.kind is UnitKind.OTHER:
            return
        degrees = ("deg", "dms")
        fits = {
            AngleFormat.SEXAGESIMAL: degrees,
            AngleFormat.PACKED: degrees,
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

    def _lengths(self, name: str) -> FloatArray:
        values = self._book.cells.lengths(name)
        with np.errstate(invalid="ignore"):
            bad = values <= 0
        if name in self._book.cells:
            raw = self._book.cells.raw(name)
            self._book.faults_where(
                bad,
                name,
                lambda row: (
                    "not-positive",
                    f"{quoted(raw[row])} is no length of a leg; expected more than 0",
                    "check the distance",
                ),
            )
        return values

    def _zeniths(self, face: IntArray, group: IntArray) -> FloatArray:
        book = self._book
        self._check_unit("zenith")
        values = book.each("zenith", lambda cell: parse_angle(cell, self._format), "bad-angle")
        if "zenith" not in book.cells:
            return values
        raw = book.cells.raw("zenith")
        with np.errstate(invalid="ignore"):
            beyond = (values > math.pi) & (values < 2 * math.pi)
            bad = ((values <= 0) | (values >= math.pi)) & ~beyond
        # Face two counts the other way round; its mean with face one is free of the index error.
        with_one = np.isin(group, group[~beyond & np.isfinite(values)])
        known = beyond & (with_one | (face == 2))
        values[known] = 2 * math.pi - values[known]
        face_two = beyond & ~known
        book.faults_where(
            face_two,
            "zenith",
            lambda row: (
                "face-two",
                f"{quoted(raw[row])} is a zenith angle of face two",
                "write the mean of both faces, or 360 degrees less this angle",
            ),
        )
        book.faults_where(
            bad,
            "zenith",
            lambda row: (
                "bad-angle",
                f"{quoted(raw[row])} is no zenith angle; expected between 0 and 180 degrees",
                _ZENITH_HINT,
            ),
        )
        return values

    def _heights(self, name: str) -> FloatArray:
        values = self._book.cells.lengths(name, own_unit=True)
        with np.errstate(invalid="ignore"):
            bad = np.abs(values) > _HIGHEST_TRIPOD_M
        if name in self._book.cells:
            raw = self._book.cells.raw(name)
            self._book.faults_where(
                bad,
                name,
                lambda row: (
                    "too-large",
                    f"{quoted(raw[row])} is more than 10 m above a mark",
                    "check the height and its unit",
                ),
            )
        return values

    def _check_angles(self, angle: FloatArray, name: str, group: IntArray) -> None:
        book = self._book
        given = book.filled(name)
        missing = ~given & ~np.isin(group, group[given])
        missing[1:] &= group[1:] != group[:-1]  # said once for a leg
        if self._angles not in _DIRECTION:
            missing[group == 0] = False  # the first leg may be given by start_azimuth alone
        book.faults_where(
            missing & np.isnan(angle),
            name,
            lambda _row: (
                "missing-value",
                f"this row has no {ROLES.get(name, name)}",
                "fill it in; only the first row of a book of angles may go without",
            ),
        )

    def _check_distances(self, group: IntArray) -> None:
        book = self._book
        given = book.filled("distance")
        sloped = book.filled("slope_distance")
        inclined = book.filled("zenith")
        book.faults_where(
            given & sloped,
            "slope_distance",
            lambda _row: (
                "two-distances",
                "this row has both a horizontal and a slope distance",
                "leave one of them out, so that it is plain which one counts",
            ),
        )
        book.faults_where(
            sloped & ~given & ~inclined,
            "slope_distance",
            lambda _row: (
                "missing-value",
                "this row has a slope distance and no zenith angle",
                "fill in the zenith angle, or give the horizontal distance",
            ),
        )
        neither = ~np.isin(group, group[given | sloped])
        neither[1:] &= group[1:] != group[:-1]  # said once for a leg
        neither[group == group[-1]] = False
        book.faults_where(
            neither,
            "distance" if "distance" in book.cells else "slope_distance",
            lambda _row: (
                "missing-value",
                "this row has no distance, and it is not the last",
                "fill in the distance; only a last row that closes the angles goes without",
            ),
        )
        alone = group == group[-1]
        if not (given | sloped)[alone].any():
            if int(group[-1]) == 0:
                book.fault(
                    0,
                    None,
                    "missing-value",
                    "the book has no leg: its one row has no distance",
                    "fill in the distance",
                )
            elif inclined[-1]:
                book.fault(
                    len(book) - 1,
                    "zenith",
                    "missing-value",
                    "this row has a zenith angle and no slope distance",
                    "fill in the slope distance, or take the zenith angle out",
                )

    def _check_chain(self, at: TextArray, to: TextArray, group: IntArray) -> None:
        book = self._book
        book.faults_where(
            np.array(
                [a == b and not is_blank(a) for a, b in zip(at, to, strict=True)], dtype=np.bool_
            ),
            "to",
            lambda row: (
                "same-station",
                f"this row goes from {quoted(at[row])} to itself",
                "name the station that was sighted",
            ),
        )
        broken = np.array(
            [
                row > 0
                and group[row] != group[row - 1]
                and at[row] != to[row - 1]
                and not is_blank(at[row])
                and to[row - 1] != ""
                for row in range(len(book))
            ],
            dtype=np.bool_,
        )
        book.faults_where(
            broken,
            "at",
            lambda row: (
                "broken-chain",
                f"this row is at {quoted(at[row])}, the last one went to {quoted(to[row - 1])}",
                _CHAIN_HINT,
            ),
        )
