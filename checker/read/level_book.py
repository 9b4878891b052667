"""Level books: backsights and foresights, or differences of elevation."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from checker.errors import InputError, Where
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.books import BookedLevels, LevelBook, RiseBook
from checker.model.drawing import Notice
from checker.read.books import DISTANCE_WORDS, BookTable
from checker.read.files import Source
from checker.read.headings import Vocabulary, field
from checker.read.tables import lines_said
from checker.text import quoted
from checker.units import LengthUnit

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
            "deltaelevation delev observeddifference risefall δh riseforward forwardrise forward",
        ),
        field("rise_back", "riseback backrise backwardrise risebackward backward reverserise"),
        field("fall", "fall falls"),
        field(
            "elevation",
            "elevation elev elevations elevs reducedlevel reducedlevels rl rls bookedelevation",
        ),
        field(
            "hi",
            "hi heightofinstrument instrumentheight collimation heightofcollimation hoc hpc "
            "planeofcollimation collimationheight collimationlevel heightofplaneofcollimation",
        ),
        *(
            field(
                f"{sight}_{part}",
                " ".join(
                    f"{word}{end} {end}{word}" for word in words.split() for end in ends.split()
                ),
            )
            for sight, words in (
                ("bs", "bs backsight"),
                ("is", "is intermediate intermediatesight"),
                ("fs", "fs foresight"),
            )
            for part, ends in (
                ("distance", "distance dist length sightlength"),
                ("upper", "upper top upperwire topwire"),
                ("middle", "middle mid middlewire midwire"),
                ("lower", "lower bottom lowerwire bottomwire"),
            )
        ),
        field("distance", DISTANCE_WORDS + " sectionlength"),
        field("setups", "setups setup nsetups numsetups noofsetups numberofsetups n"),
    )
)
_SIGHTS: Final = ("bs", "is", "fs")
_WIRES: Final = ("upper", "middle", "lower")
_SIGHT_FIELDS: Final = tuple(
    f"{sight}_{part}" for sight in _SIGHTS for part in ("distance", *_WIRES)
)
_MAY_LACK: Final = ("is", "fs", "rise", "fall", "elevation", "hi")
"""What a row of sights need not have: another sight, and what is reduced from them."""
_LONGEST_READING_M: Final = 10.0
"""No levelling staff is longer (common practice, no source)."""


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
    readings = {"bs", "fs"} <= set(found) or {"bs_middle", "fs_middle"} <= set(found)
    if {"from", "to"} <= set(found) or ("rise" in found and not readings):
        return _rise_book(book, notices)
    return _level_book(book, notices)


def _rise_book(book: BookTable, notices: list[Notice] | None) -> RiseBook:
    book.leave(("point", "bs", "is", "fs", "elevation", "hi", *_SIGHT_FIELDS))
    book.require(("from", "to", "rise"))
    book.refuse_short_rows()
    start, end = book.names("from"), book.names("to")
    rise = _with_falls(book)
    book.faults_where(
        np.isnan(rise) & book.blank("rise") & book.blank("fall"),
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
    back = _backs(book, rise)
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
        back_m=back,
    )


def _with_falls(book: BookTable) -> FloatArray:
    """Return rises, falls negative; a row may have one of the two."""
    rise = book.cells.lengths("rise")
    if "fall" not in book.cells:
        return rise
    fall = book.cells.lengths("fall", signed=False)
    book.faults_where(
        np.isfinite(rise) & np.isfinite(fall) & (rise != 0.0) & (fall != 0.0),
        "fall",
        lambda _row: (
            "two-directions",
            "this row has both a rise and a fall",
            "leave one of them empty",
        ),
    )
    return np.asarray(np.where(np.isfinite(fall) & (np.isnan(rise) | (fall != 0)), -fall, rise))


def _backs(book: BookTable, rise: FloatArray) -> FloatArray | None:
    """Return the rises of the second running; one with the sign of the first is a fault."""
    if "rise_back" not in book.cells:
        return None
    back = book.cells.lengths("rise_back")
    with np.errstate(invalid="ignore"):
        same = np.abs(rise - back) < 0.1 * np.abs(rise + back)
    book.faults_where(
        same,
        "rise_back",
        lambda _row: (
            "same-sign",
            "the rise of the second running has the sign of the first",
            "a section levelled back falls where it rose: give it as levelled, from end to start",
        ),
    )
    return back


def _level_book(book: BookTable, notices: list[Notice] | None) -> LevelBook:
    book.leave(("from", "to", "setups", "rise_back"))
    wired = {f"{sight}_middle" for sight in ("bs", "fs")} <= set(book.assigned.columns)
    plain = {"bs", "fs"} <= set(book.assigned.columns)
    wired = wired and not plain
    book.require(("point", "bs_middle", "fs_middle") if wired else ("point", "bs", "fs"))
    if book.table.short:
        book.refuse_short_rows()
        raise InputError(book.faults.listed())
    # The first sight has no foresight; elsewhere the order of the sights tells what is missing.
    book.refuse_short_rows(lambda row: row == 0, may_lack=_MAY_LACK)
    point = book.names("point")
    wires = _wires(book) if wired else None
    if wires is None:
        sights = {name: book.cells.lengths(name) for name in _SIGHTS}
        for name, values in sights.items():
            _check_readings(book, name, values)
    else:
        sights = {name: wires[:, at].mean(axis=1) for at, name in enumerate(_SIGHTS)}
    distance = _section_lengths(book)
    lengths = [
        book.cells.lengths(f"{name}_distance", own_unit=True, signed=False) for name in _SIGHTS
    ]
    has = {name: ~book.blank(f"{name}_middle" if wired else name) for name in _SIGHTS}
    second = _second_rows(point, has)
    _check_order(book, has, ~book.blank("distance"), second)
    _say_negative(book, sights)
    booked = _booked(book)
    book.finish(notices)
    rows = np.flatnonzero(~second)
    two = rows[np.isin(rows + 1, np.flatnonzero(second))]

    def merged(values: FloatArray) -> FloatArray:
        """Return one row a point: what stands in the second of two rows is taken up."""
        values = values.copy()
        values[two] = np.where(np.isnan(values[two]), values[two + 1], values[two])
        return values[rows]

    steps = np.concatenate([book.steps(f"{name}_middle") for name in _SIGHTS])
    return LevelBook(
        path=book.table.path,
        line=book.table.lines[rows],
        point=point[rows],
        bs_m=merged(sights["bs"]),
        is_m=sights["is"][rows],
        fs_m=sights["fs"][rows],
        distance_m=distance[rows],
        sights_m=(
            np.column_stack([merged(each) for each in lengths])
            if any(f"{name}_distance" in book.cells for name in _SIGHTS)
            else None
        ),
        wires_m=None if wires is None else merged(wires),
        wire_step_m=0.0 if wires is None else float(np.nanmin(steps)),
        booked=None
        if booked is None
        else BookedLevels(
            reading_step_m=0.0
            if wired
            else float(np.nanmin(np.concatenate([book.steps(name) for name in _SIGHTS]))),
            **{key: merged(cells) for key, cells in booked.items()},
        ),
    )


def _wires(book: BookTable) -> FloatArray:
    """Return the three wires of every sight, shape (rows, 3, 3); a sight with fewer is a fault."""
    found = np.full((len(book), 3, 3), np.nan)
    for at, sight in enumerate(_SIGHTS):
        for wire, part in enumerate(_WIRES):
            name = f"{sight}_{part}"
            found[:, at, wire] = book.cells.lengths(name)
            _check_readings(book, name, found[:, at, wire])
        there = [~book.blank(f"{sight}_{part}") for part in _WIRES]
        some = np.logical_or.reduce(there) & ~np.logical_and.reduce(there)
        book.faults_where(
            some,
            f"{sight}_middle",
            lambda _row: (
                "missing-value",
                "a sight with three wires lacks one of them",
                "fill in the upper, the middle and the lower wire",
            ),
        )
    with np.errstate(invalid="ignore"):
        upside = np.any(
            (found[:, :, 0] - found[:, :, 1]) * (found[:, :, 1] - found[:, :, 2]) < 0.0, axis=1
        )
    book.faults_where(
        upside,
        None,
        lambda _row: (
            "wire-order",
            "the middle wire does not lie between the other two",
            "check the three readings, and which column is which wire",
        ),
    )
    return found


def _booked(book: BookTable) -> dict[str, FloatArray] | None:
    """Return what the page was reduced to in the field; None where it has no such column."""
    if not any(name in book.cells for name in ("rise", "fall", "elevation", "hi")):
        return None
    rise_step = book.steps("rise")
    fall_step = book.steps("fall")
    return {
        "rise_m": _with_falls(book),
        "rise_step_m": np.where(np.isnan(rise_step), fall_step, rise_step),
        "elevation_m": book.cells.lengths("elevation"),
        "elevation_step_m": book.steps("elevation"),
        "instrument_m": book.cells.lengths("hi"),
        "instrument_step_m": book.steps("hi"),
    }


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
