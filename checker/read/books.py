"""Field books: traverses and level runs."""

import math
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.books import LevelBook, RiseBook, TraverseBook
from checker.model.drawing import Notice
from checker.model.job import AngleKind
from checker.read.cells import Cells, Faults, is_blank
from checker.read.files import Source
from checker.read.headings import Assignment, UnitKind, Vocabulary, field
from checker.read.tables import SHORT_ROW_HINT, lines_said, quoted, read_table
from checker.units import AngleFormat, LengthUnit, UnitError, parse_angle, parse_bearing

_DISTANCE: Final = (
    "distance dist horizontaldistance horizdistance horizontaldist horizdist hdist hdistance hd "
    "length leglength"
)
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
        field("distance", _DISTANCE),
        field(
            "slope_distance",
            "slopedistance slopedist slope sd sdist sdistance sloped slopelength inclineddistance",
        ),
        field(
            "zenith", "zenith zenithangle za zenithdistance zd va verticalangle vertangle zenithang"
        ),
        field("hi", "hi instrumentheight heightofinstrument instht ih instrht"),
        field(
            "ht",
            "ht hr th targetheight heightoftarget targetht reflectorheight heightofreflector "
            "rodheight prismheight",
        ),
    )
)
LEVELS: Final = Vocabulary(
    (
        field("point", "point pt station stn sta id pointid pointno ptno benchmark bm mark name"),
        field("bs", "bs backsight backsights bsight b+ plus bsreading backsightreading"),
        field(
            "is",
            "is intermediatesight intermediate intermediatesights ifs intermediateforesight isight "
            "sideshot isreading",
        ),
        field("fs", "fs foresight foresights fsight minus fsreading foresightreading"),
        field("from", "from frompoint frommark frombm start startpoint begin"),
        field("to", "to topoint tomark tobm end endpoint"),
        field(
            "rise",
            "rise dh dz deltah deltaz heightdifference elevationdifference diff difference "
            "deltaelevation delev observeddifference risefall δh",
        ),
        field("distance", _DISTANCE + " sectionlength"),
        field("setups", "setups setup nsetups numsetups noofsetups numberofsetups n"),
    )
)
_ROLES: Final = {
    "at": "station occupied (at)",
    "to": "station sighted (to)",
    "angle": "angle",
    "azimuth": "azimuth",
    "bearing": "bearing",
    "distance": "distance",
    "point": "point",
    "bs": "backsight (bs)",
    "fs": "foresight (fs)",
    "from": "beginning of the section (from)",
    "rise": "difference of elevation (rise)",
    "dx": "component x of the vector (dx)",
    "dy": "component y of the vector (dy)",
    "dz": "component z of the vector (dz)",
}
_DIRECTION: Final = {AngleKind.AZIMUTH: "azimuth", AngleKind.BEARING: "bearing"}
_LONGEST_READING_M: Final = 10.0
"""No levelling staff is longer (common practice, no source)."""
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


class BookTable:
    """A table with its columns recognised and its faults collected; shared by all books."""

    def __init__(
        self,
        source: Source,
        vocabulary: Vocabulary,
        unit: LengthUnit,
        columns: Mapping[str, str],
        *,
        tail: str | None = None,
    ) -> None:
        self.table = read_table(source, vocabulary, columns, tail=tail)
        self.where = Where(file=source.path, line=self.table.header_line or None)
        self.faults = Faults(source.path)
        self.faults.take(self.table)
        self.assigned = Assignment(self.table.header, vocabulary, columns, self.where)
        self.cells = Cells(self.table, self.assigned.columns, unit, self.faults)
        self.cells.compare_stated_units()

    def __len__(self) -> int:
        return len(self.table)

    def require(self, names: tuple[str, ...]) -> None:
        """Go on only where all of these columns are there, and a row that could be split."""
        self.assigned.require(names, _ROLES)
        self.faults.problems.extend(self.assigned.problems)
        if self.assigned.problems or not len(self):
            raise InputError(self.faults.listed())

    def fault(self, row: int, part: str | None, slug: str, message: str, hint: str) -> None:
        """Add a fault of one row; part: the field whose heading is named."""
        heading = self.cells.heading(part) if part is not None and part in self.cells else None
        self.faults.add(slug, self.table.where(row, heading), message, hint)

    def each(self, name: str, read: Callable[[str], float], slug: str) -> FloatArray:
        """Return a column read cell by cell, NaN where it is empty; slug: of a cell at fault."""
        values = np.full(len(self), np.nan)
        if name not in self.cells:
            return values
        comma = self.table.dialect.decimal_comma
        for row, cell in enumerate(self.cells.raw(name)):
            if is_blank(cell):
                continue
            try:
                values[row] = read(cell.replace(",", ".") if comma else cell)
            except UnitError as fault:
                self.fault(row, name, slug, str(fault), fault.hint)
        return values

    def faults_where(
        self, bad: BoolArray, part: str | None, say: Callable[[int], tuple[str, str, str]]
    ) -> None:
        """Add a fault for every row that is bad."""
        heading = self.cells.heading(part) if part is not None and part in self.cells else None
        self.faults.of_rows(self.table, np.flatnonzero(bad), heading, say)

    def names(self, name: str, *, last_may_lack: bool = False) -> TextArray:
        """Return a column of stations or points; an empty cell is a fault."""
        texts = self.cells.text(name)
        blank = np.array([is_blank(text) for text in texts], dtype=np.bool_)
        if last_may_lack and len(blank):
            blank[-1] = False
        self.faults_where(
            blank,
            name,
            lambda _row: (
                "missing-value",
                f"this row has no {_ROLES.get(name, name)}",
                "fill it in, or take the row out of the file",
            ),
        )
        return texts

    def refuse_short_rows(self, accepted: Callable[[int], bool] = lambda _row: False) -> None:
        """Report rows of a table of blanks in which nobody can tell what is missing."""
        self.faults.of_rows(
            self.table,
            [row for row in self.table.short if not accepted(row)],
            None,
            lambda row: (
                "row-width",
                self.table.short_row(row),
                SHORT_ROW_HINT,
            ),
        )

    def leave(self, names: tuple[str, ...]) -> None:
        """Leave these fields unread; they are then said to be unused."""
        for name in names:
            self.assigned.columns.pop(name, None)

    def finish(self, notices: list[Notice] | None) -> None:
        """Raise the faults, where there are any; else add what must be said."""
        if self.faults.problems:
            raise InputError(self.faults.listed())
        if notices is not None:
            notices += [*self.table.notices, *self.cells.notices, *self.assigned.notices()]


# ---------------------------------------------------------------- traverse


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
        last = len(book) - 1
        book.refuse_short_rows(lambda row: row == last)
        at, to = book.names("at"), book.names("to")
        angle = self._directions(direction)
        distance = self._lengths("distance")
        slope = self._lengths("slope_distance")
        zenith = self._zeniths()
        hi, ht = self._heights("hi"), self._heights("ht")
        self._check_angles(angle, direction)
        self._check_distances()
        self._check_chain(at, to)
        book.finish(notices)
        return TraverseBook(
            path=book.table.path,
            line=book.table.lines,
            at=at,
            to=to,
            angle_rad=angle,
            distance_m=distance,
            slope_m=slope,
            zenith_rad=zenith,
            hi_m=hi,
            ht_m=ht,
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

    def _zeniths(self) -> FloatArray:
        book = self._book
        self._check_unit("zenith")
        values = book.each("zenith", lambda cell: parse_angle(cell, self._format), "bad-angle")
        if "zenith" not in book.cells:
            return values
        raw = book.cells.raw("zenith")
        with np.errstate(invalid="ignore"):
            face_two = (values > math.pi) & (values < 2 * math.pi)
            bad = ((values <= 0) | (values >= math.pi)) & ~face_two
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

    def _check_angles(self, angle: FloatArray, name: str) -> None:
        book = self._book
        cells = book.cells.raw(name)
        missing = np.array([is_blank(cell) for cell in cells], dtype=np.bool_)
        if self._angles not in _DIRECTION and len(missing):
            missing[0] = False  # the first leg may be given by start_azimuth alone
        book.faults_where(
            missing & np.isnan(angle),
            name,
            lambda _row: (
                "missing-value",
                f"this row has no {_ROLES.get(name, name)}",
                "fill it in; only the first row of a book of angles may go without",
            ),
        )

    def _check_distances(self) -> None:
        book = self._book
        given = self._filled("distance")
        sloped = self._filled("slope_distance")
        inclined = self._filled("zenith")
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
        neither = ~given & ~sloped
        if len(neither):
            neither[-1] = False
        book.faults_where(
            neither,
            "distance" if "distance" in book.cells else "slope_distance",
            lambda _row: (
                "missing-value",
                "this row has no distance, and it is not the last",
                "fill in the distance; only a last row that closes the angles goes without",
            ),
        )
        if len(book) and not given[-1] and not sloped[-1] and len(book) == 1:
            book.fault(
                0,
                None,
                "missing-value",
                "the book has no leg: its one row has no distance",
                "fill in the distance",
            )
        if len(book) > 1 and not given[-1] and not sloped[-1] and inclined[-1]:
            book.fault(
                len(book) - 1,
                "zenith",
                "missing-value",
                "this row has a zenith angle and no slope distance",
                "fill in the slope distance, or take the zenith angle out",
            )

    def _filled(self, name: str) -> BoolArray:
        book = self._book
        if name not in book.cells:
            return np.zeros(len(book), dtype=np.bool_)
        return np.array([not is_blank(cell) for cell in book.cells.raw(name)], dtype=np.bool_)

    def _check_chain(self, at: TextArray, to: TextArray) -> None:
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
                row > 0 and at[row] != to[row - 1] and not is_blank(at[row]) and to[row - 1] != ""
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


# ---------------------------------------------------------------- levels


def read_level_book(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> LevelBook | RiseBook:
    """Read a level book: backsights and foresights, or differences of elevation.

    unit: of lengths that do not name their own; a heading may give the distances in another.
    columns: field -> heading or place. A turning point may stand on one row or on two, its
    foresight first. Negative readings (a staff held upside down) are read as they stand and said.
    notices: takes what must be said. Raises InputError with all faults.
    """
    book = BookTable(source, LEVELS, unit, columns)
    found = book.assigned.columns
    readings = {"bs", "fs"} <= set(found)
    if {"from", "to"} <= set(found) or ("rise" in found and not readings):
        return _rise_book(book, notices)
    return _level_book(book, notices)


def _rise_book(book: BookTable, notices: list[Notice] | None) -> RiseBook:
    book.leave(("point", "bs", "is", "fs"))
    book.require(("from", "to", "rise"))
    book.refuse_short_rows()
    start, end = book.names("from"), book.names("to")
    rise = book.cells.lengths("rise")
    book.faults_where(
        np.isnan(rise) & _blank(book, "rise"),
        "rise",
        lambda _row: (
            "missing-value",
            "this row has no difference of elevation",
            "fill it in, or take the row out of the file",
        ),
    )
    book.faults_where(
        np.array([a == b and a != "" for a, b in zip(start, end, strict=True)], dtype=np.bool_),
        "to",
        lambda row: (
            "same-station",
            f"this row goes from {quoted(start[row])} to itself",
            "name the point at which the section ends",
        ),
    )
    distance = _section_lengths(book)
    setups = book.cells.counts("setups")
    with np.errstate(invalid="ignore"):
        none = setups < 1
    book.faults_where(
        none,
        "setups",
        lambda _row: (
            "not-positive",
            "a section has at least one set-up",
            "fill in how often the level was set up, or leave the cell empty",
        ),
    )
    book.finish(notices)
    return RiseBook(
        path=book.table.path,
        line=book.table.lines,
        from_=start,
        to=end,
        rise_m=rise,
        distance_m=distance,
        setups=setups,
    )


def _level_book(book: BookTable, notices: list[Notice] | None) -> LevelBook:
    book.leave(("from", "to", "rise", "setups"))
    book.require(("point", "bs", "fs"))
    if book.table.short:
        book.refuse_short_rows()
        raise InputError(book.faults.listed())
    point = book.names("point")
    sights = {name: book.cells.lengths(name) for name in ("bs", "is", "fs")}
    for name, values in sights.items():
        _check_readings(book, name, values)
    distance = _section_lengths(book)
    has = {name: ~_blank(book, name) for name in sights}
    second = _second_rows(point, has)
    _check_order(book, has, ~_blank(book, "distance"), second)
    _say_negative(book, sights)
    book.finish(notices)
    rows = np.flatnonzero(~second)
    two = rows[np.isin(rows + 1, np.flatnonzero(second))]
    sights["bs"][two] = sights["bs"][two + 1]
    return LevelBook(
        path=book.table.path,
        line=book.table.lines[rows],
        point=point[rows],
        bs_m=sights["bs"][rows],
        is_m=sights["is"][rows],
        fs_m=sights["fs"][rows],
        distance_m=distance[rows],
    )


def _second_rows(point: TextArray, has: dict[str, BoolArray]) -> BoolArray:
    """Return the rows that only add the backsight to the turning point of the row before."""
    second = np.zeros(len(point), dtype=np.bool_)
    only_fs = has["fs"] & ~has["bs"] & ~has["is"]
    only_bs = has["bs"] & ~has["fs"] & ~has["is"]
    second[1:] = only_fs[:-1] & only_bs[1:] & (point[:-1] == point[1:]).astype(np.bool_)
    return second


def _say_negative(book: BookTable, sights: dict[str, FloatArray]) -> None:
    """Say which rows hold negative readings: a staff held upside down, or a slip of the pen."""
    rows = [row for values in sights.values() for row in np.flatnonzero(values < 0)]
    if rows:
        numbers = sorted(int(book.table.lines[row]) for row in rows)
        book.cells.notices.append(
            Notice(
                slug="negative-reading",
                where=Where(file=book.table.path, line=numbers[0]),
                message=f"{lines_said(numbers)} with a negative reading, taken as a staff held "
                "upside down",
            )
        )


def _blank(book: BookTable, name: str) -> BoolArray:
    if name not in book.cells:
        return np.ones(len(book), dtype=np.bool_)
    return np.array([is_blank(cell) for cell in book.cells.raw(name)], dtype=np.bool_)


def _section_lengths(book: BookTable) -> FloatArray:
    values = book.cells.lengths("distance", own_unit=True, signed=False)
    book.faults_where(
        values == 0,
        "distance",
        lambda _row: (
            "not-positive",
            "a section of no length",
            "fill in the distance, or leave the cell empty",
        ),
    )
    return values


def _check_readings(book: BookTable, name: str, values: FloatArray) -> None:
    if name not in book.cells:
        return
    raw = book.cells.raw(name)
    with np.errstate(invalid="ignore"):
        bad = np.abs(values) > _LONGEST_READING_M
    book.faults_where(
        bad,
        name,
        lambda row: (
            "too-large",
            f"{quoted(raw[row])} is longer than any levelling staff (10 m)",
            "check the decimal point and the unit",
        ),
    )


def _check_order(
    book: BookTable, has: dict[str, BoolArray], has_distance: BoolArray, second: BoolArray
) -> None:
    """Report rows whose sights do not make a run of set-ups.

    Every set-up begins with a backsight and ends with the next foresight; a turning point has both,
    its foresight from the set-up before and its backsight into the next. second: rows that only
    add the backsight to the row before.
    """
    last = int(np.flatnonzero(~second)[-1])
    for row in range(len(book)):
        bs, mid, fs = bool(has["bs"][row]), bool(has["is"][row]), bool(has["fs"][row])
        if bool(has_distance[row]) and not fs:
            book.fault(
                row,
                "distance",
                "stray-distance",
                "this row has a distance and no foresight",
                "write the length of the section on the row of the foresight that ends it",
            )
        if second[row]:
            continue
        turned = row < len(book) - 1 and bool(second[row + 1])
        said = _row_fault((bs or turned, mid, fs), first=row == 0, last=row == last)
        if said is not None:
            book.fault(row, *said)


def _row_fault(
    sights: tuple[bool, bool, bool], *, first: bool, last: bool
) -> tuple[str, str, str, str] | None:
    """Return part, slug, message and hint of what is wrong with a row; None where it is sound."""
    bs, mid, fs = sights
    slug = "level-order"
    if not (bs or mid or fs):
        return "bs", slug, "this row has no reading", "fill it in, or take the row out of the file"
    if mid and (bs or fs):
        return (
            "is",
            slug,
            "this row has an intermediate sight beside a backsight or foresight",
            _TURNING_OR_NOT,
        )
    if first and (fs or mid):
        return (
            "fs" if fs else "is",
            slug,
            "the first row must hold the backsight to the starting mark and nothing else",
            "begin the book with the bench mark and its backsight",
        )
    if last and bs:
        return (
            "bs",
            slug,
            "the book ends with a backsight that no foresight follows",
            _LAST_ROW,
        )
    if last and not fs:
        return "fs", slug, "the book ends without a foresight", _LAST_ROW
    if fs and not bs and not last:
        return (
            "bs",
            slug,
            "this row has a foresight and no backsight, and it is not the last",
            _TURNING_OR_NOT,
        )
    if bs and not fs and not first:
        return (
            "fs",
            slug,
            "this row begins a new set-up, and the one before it has no foresight",
            _TURNING_OR_NOT,
        )
    return None


_TURNING_OR_NOT: Final = (
    "a turning point has both, the foresight that ends a set-up and the backsight that begins the "
    "next; an intermediate point has its one reading under is"
)
_LAST_ROW: Final = "the last row holds the foresight to the closing mark and nothing else"
