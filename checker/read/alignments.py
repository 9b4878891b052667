"""Tables of alignments: elements, points of vertical intersection, stakes by station and offset."""

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from checker.errors import InputError
from checker.geometry.stations import StationError, parse_station
from checker.model.alignment import (
    ElementTable,
    IntersectionTable,
    ProfileTable,
    StakeTable,
    SuperelevationTable,
)
from checker.model.arrays import FloatArray, TextArray
from checker.model.drawing import Notice
from checker.read.books import BookTable
from checker.read.cells import is_blank
from checker.read.files import Source
from checker.read.headings import Vocabulary, field
from checker.read.tables import SHORT_ROW_HINT
from checker.text import quoted
from checker.units import (
    LengthUnit,
    UnitError,
    parse_angle,
    parse_bearing,
    parse_length,
    parse_slope,
)

_STATION: Final = (
    "station stn sta chainage ch stationing pvistation pvista pvichainage pvi vpistation vpista vpi"
)
_ELEVATION: Final = (
    "elevation elev elv el z rl reducedlevel level gradeelevation designelevation pvielevation "
    "pvielev pvielv vpielevation vpielev height"
)
_NORTHING: Final = "n north northing northings startn startnorthing nstart"
_EASTING: Final = "e east easting eastings starte starteasting estart"
ELEMENTS: Final = Vocabulary(
    (
        field("type", "type element elementtype kind part segment segmenttype"),
        field("length", "length len arclength l distance"),
        field("radius", "radius r rad"),
        field("radius_in", "radiusin rin startradius radiusstart radiusbegin"),
        field("radius_out", "radiusout rout endradius radiusend"),
        field("turn", "turn direction side hand turning lr"),
        field("northing", _NORTHING),
        field("easting", _EASTING),
        field("azimuth", "azimuth az startazimuth azimuthstart bearing tangentazimuth"),
    )
)
INTERSECTIONS: Final = Vocabulary(
    (
        field("northing", f"{_NORTHING} pinorthing npi"),
        field("easting", f"{_EASTING} pieasting epi"),
        field("radius", "radius r rad curveradius"),
        field("spiral", "spiral spirallength ls transition transitionlength clothoid"),
        field("spiral_in", "spiralin lsin ls1 spiralbefore transitionin"),
        field("spiral_out", "spiralout lsout ls2 spiralbehind spiralafter transitionout"),
    )
)
PROFILE: Final = Vocabulary(
    (
        field("station", _STATION),
        field("elevation", _ELEVATION),
        field("length", "length len l vc lvc vclength curvelength lengthofcurve lengthvc"),
        field("length_in", "lengthin lin l1 lengthbefore lengthback"),
        field("length_out", "lengthout lout l2 lengthbehind lengthahead lengthafter"),
    )
)
SUPERELEVATION: Final = Vocabulary(
    (
        field("station", _STATION),
        field("left", "left l lt leftslope slopeleft leftcrossfall leftcrossslope"),
        field("right", "right r rt rightslope sloperight rightcrossfall rightcrossslope"),
    )
)
STAKES: Final = Vocabulary(
    (
        field("id", "id point pt pointid pointno ptno number no name stake stakeid stakeno p pn"),
        field("station", _STATION),
        field("offset", "offset off o os o/s offsetdistance"),
        field("side", "side lr leftright leftorright hand"),
        field("northing", "n north northing northings"),
        field("easting", "e east easting eastings"),
        field("elevation", _ELEVATION),
        field("description", "description desc code feature remark note notes comment"),
    )
)
_USUAL: Final = {
    "type": "kind of element (type)",
    "length": "length",
    "station": "station",
    "elevation": "elevation",
    "id": "number of the stake (id)",
    "offset": "offset",
    "left": "slope on the left (left)",
    "right": "slope on the right (right)",
    "northing": "northing",
    "easting": "easting",
}
_KINDS: Final[Mapping[str, str]] = {
    word: kind
    for kind, words in (
        ("line", "line tangent straight tan l"),
        ("arc", "arc curve circular circle circulararc c"),
        ("spiral", "spiral clothoid transition transitioncurve s"),
    )
    for word in words.split()
}
_LEFT: Final = frozenset(("l", "lt", "left", "-"))
_RIGHT: Final = frozenset(("r", "rt", "right", "+"))
_ON_LINE: Final = frozenset(("c", "cl", "on", "centre", "center", "0"))
_SIDED: Final = re.compile(r"(?P<text>.*?)\s*(?P<side>left|right|lt|rt|l|r)\.?", re.IGNORECASE)
_LED: Final = re.compile(r"(?P<side>left|right|lt|rt|l|r)\.?\s*(?P<text>.*)", re.IGNORECASE)
_BACK_AHEAD: Final = re.compile(
    r"(?P<text>.*?)\s*(?P<side>back|bk|ahead|ah)\.?", re.IGNORECASE | re.DOTALL
)


def parse_station_text(text: str | float, unit: LengthUnit) -> tuple[float, str]:
    """Return a station in metres, and "back" or "ahead" where it says which place is meant.

    ``12+60 ahead`` is the place behind a station equation, ``12+60 back`` the one before it. Raises
    UnitError.
    """
    side = ""
    if isinstance(text, str):
        found = _BACK_AHEAD.fullmatch(text.strip())
        if found is not None:
            text, side = found["text"], "back" if found["side"].lower()[0] == "b" else "ahead"
    try:
        return unit.to_metres(parse_station(text)), side
    except StationError as fault:
        raise UnitError(str(fault), fault.hint) from None


class _Sheet(BookTable):
    """The table of a line: what its readers share beyond a book's."""

    def need_columns(self, *names: str) -> None:
        """Go on only where all of these columns are there."""
        self.look_for(names, _USUAL)
        if self.assigned.problems:
            raise InputError(self.faults.listed())
        self.faults.of_rows(
            self.table,
            self.table.short,
            None,
            lambda row: ("row-width", self.table.short_row(row), SHORT_ROW_HINT),
        )

    def has(self, name: str) -> bool:
        """Tell whether the table has the column."""
        return name in self.cells

    def empty(self, name: str) -> np.typing.NDArray[np.bool_]:
        """Return which cells of a column are empty; all where there is no such column."""
        if name not in self.cells:
            return np.ones(len(self.table), dtype=np.bool_)
        return np.array([is_blank(cell) for cell in self.cells.raw(name)], dtype=np.bool_)

    def need(self, name: str, rows: np.typing.NDArray[np.bool_] | None = None) -> None:
        """Report empty cells of a column, in the rows that need it."""
        wanted = self.empty(name) if rows is None else self.empty(name) & rows
        for row in np.flatnonzero(wanted).tolist():
            self.fault(
                row,
                name,
                "missing-value",
                f"this row has no {_USUAL.get(name, name)}",
                "fill it in, or take the row out of the file",
            )

    def stations(self) -> tuple[FloatArray, TextArray]:
        """Return stations in metres and which side of an equation they name."""
        sides: TextArray = np.full(len(self.table), "", dtype=object)
        metres = np.full(len(self.table), np.nan)
        if "station" not in self.cells:
            return metres, sides
        self.cells.compare_unit("station")
        comma = self.table.dialect.decimal_comma
        for row, cell in enumerate(self.cells.raw("station")):
            if is_blank(cell):
                continue
            try:
                text = cell.replace(",", ".") if comma else cell
                metres[row], sides[row] = parse_station_text(text, self.cells.unit)
            except UnitError as fault:
                self.fault(row, "station", "bad-station", str(fault), fault.hint)
        return metres, sides


def _azimuth(cell: str) -> float:
    if cell[:1].upper() in ("N", "S"):
        return parse_bearing(cell)
    angle = parse_angle(cell)
    if not 0.0 <= angle <= 2 * math.pi + 1e-12:
        raise UnitError(
            f"{quoted(cell)} is not an azimuth from 0 to 360 degrees", "count clockwise from north"
        )
    return angle


def read_elements(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> ElementTable:
    """Read the elements of an alignment: one row a line, arc or spiral, end to end.

    Columns: type, length; radius with its sign or a column for the turn; the start of the first
    row as northing, easting and azimuth, where the job does not give it. Raises InputError.
    """
    sheet = _Sheet(source, ELEMENTS, unit, columns)
    sheet.need_columns("type", "length")
    rows = len(sheet.table)
    kind: TextArray = np.full(rows, "", dtype=object)
    for row, cell in enumerate(sheet.cells.raw("type")):
        word = re.sub(r"[\s_.\-]+", "", cell).lower()
        if word in _KINDS:
            kind[row] = _KINDS[word]
        else:
            sheet.fault(
                row,
                "type",
                "unknown-element",
                f"{quoted(cell)} is no kind of element",
                "write line, arc or spiral",
            )
    sheet.need("length")
    length = sheet.cells.lengths("length", signed=False)
    radius = {name: sheet.cells.lengths(name) for name in ("radius", "radius_in", "radius_out")}
    _turned(sheet, kind, radius)
    for row in np.flatnonzero((kind == "arc") & ~(np.abs(radius["radius"]) > 0.0)).tolist():
        sheet.fault(
            row,
            "radius",
            "element-radius",
            "this arc has no radius",
            "give its radius, and the side to which it turns in a column turn",
        )
    northing, easting = sheet.cells.lengths("northing"), sheet.cells.lengths("easting")
    azimuth = sheet.each("azimuth", _azimuth, "bad-angle")
    sheet.finish(notices)
    return ElementTable(
        path=source.path,
        line=sheet.table.lines,
        kind=kind,
        length_m=length,
        radius_m=radius["radius"],
        radius_in_m=radius["radius_in"],
        radius_out_m=radius["radius_out"],
        northing_m=northing,
        easting_m=easting,
        azimuth_rad=azimuth,
    )


def read_intersections(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> IntersectionTable:
    """Read points of intersection: one row each in order, the first and last being the ends.

    Columns: northing, easting; the radius of the arc at each; its spirals, as `spiral` on both
    sides or as spiral_in and spiral_out. Raises InputError.
    """
    sheet = _Sheet(source, INTERSECTIONS, unit, columns)
    sheet.need_columns("northing", "easting")
    sheet.need("northing")
    sheet.need("easting")
    lengths = {
        name: sheet.cells.lengths(name, signed=False)
        for name in ("radius", "spiral", "spiral_in", "spiral_out")
    }
    both, into, out = (lengths[name] for name in ("spiral", "spiral_in", "spiral_out"))
    for row in np.flatnonzero(~np.isnan(both) & ~(np.isnan(into) & np.isnan(out))).tolist():
        sheet.fault(
            row,
            "spiral",
            "conflicting-lengths",
            "this row gives one spiral for both sides and one for a side",
            "keep spiral, or spiral_in and spiral_out",
        )
    spirals = [np.nan_to_num(np.where(np.isnan(side), both, side)) for side in (into, out)]
    radius = np.nan_to_num(lengths["radius"])
    ends = np.zeros(len(radius), dtype=np.bool_)
    ends[[0, -1]] = True
    curved = (radius > 0.0) | (spirals[0] > 0.0) | (spirals[1] > 0.0)
    for row in np.flatnonzero(ends & curved).tolist():
        sheet.fault(
            row,
            "radius",
            "element-radius",
            "this row is an end of the course, and an end has no curve",
            "take the radius and the spirals out, or add the point where the course ends",
        )
    for row in np.flatnonzero(~ends & curved & (radius == 0.0)).tolist():
        sheet.fault(
            row,
            "radius",
            "element-radius",
            "this point has spirals and no radius",
            "give the radius of its arc, or take the spirals out",
        )
    northing, easting = sheet.cells.lengths("northing"), sheet.cells.lengths("easting")
    sheet.finish(notices)
    return IntersectionTable(
        path=source.path,
        line=sheet.table.lines,
        northing_m=northing,
        easting_m=easting,
        radius_m=radius,
        spiral_in_m=spirals[0],
        spiral_out_m=spirals[1],
    )


def _turned(sheet: _Sheet, kind: TextArray, radius: dict[str, FloatArray]) -> None:
    """Give the radii the sign of the turn; report a turn that is no side, or says otherwise."""
    if not sheet.has("turn"):
        return
    for row, cell in enumerate(sheet.cells.raw("turn")):
        word = cell.strip().lower()
        if is_blank(cell) and cell.strip() != "-":
            continue
        if kind[row] == "line":
            continue
        if word not in _LEFT | _RIGHT:
            sheet.fault(
                row, "turn", "unknown-side", f"{quoted(cell)} is no side", "write left or right"
            )
            continue
        sign = -1.0 if word in _LEFT else 1.0
        for values in radius.values():
            if values[row] < 0.0 and sign > 0.0:
                sheet.fault(
                    row,
                    "turn",
                    "unknown-side",
                    f"the radius {values[row] / sheet.cells.unit.metres:g} turns left by its sign, "
                    f"and the row says {quoted(cell)}",
                    "give the radius without a sign, or leave the turn out",
                )
            elif values[row] > 0.0:
                values[row] *= sign


def read_profile(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> ProfileTable:
    """Read points of vertical intersection: station, elevation, and the length of the curve.

    length: of the whole vertical curve, half on either side; or length_in and length_out. Raises
    InputError.
    """
    try:
        sheet = _Sheet(source, PROFILE, unit, columns)
        sheet.need_columns("station", "elevation")
    except InputError as fault:  # the alignment's own `columns` are those of its elements
        key = " profile_columns = {"
        raise InputError(
            [replace(p, hint=p.hint.replace(" columns = {", key)) for p in fault.problems]
        ) from None
    sheet.need("station")
    sheet.need("elevation")
    station, side = sheet.stations()
    elevation = sheet.cells.lengths("elevation")
    whole = np.nan_to_num(sheet.cells.lengths("length", signed=False))
    into = sheet.cells.lengths("length_in", signed=False)
    out = sheet.cells.lengths("length_out", signed=False)
    for row in np.flatnonzero((whole > 0.0) & ~(np.isnan(into) & np.isnan(out))).tolist():
        sheet.fault(
            row,
            "length",
            "conflicting-lengths",
            "this row gives the length of the whole curve and of its parts",
            "keep length, or length_in and length_out",
        )
    for row in np.flatnonzero(np.isnan(into) ^ np.isnan(out)).tolist():
        sheet.fault(
            row,
            "length_in" if np.isnan(into[row]) else "length_out",
            "conflicting-lengths",
            "this row gives one side of a vertical curve and not the other",
            "give both length_in and length_out",
        )
    sheet.finish(notices)
    parted = ~np.isnan(into)
    return ProfileTable(
        path=source.path,
        line=sheet.table.lines,
        station_m=station,
        side=side,
        elevation_m=elevation,
        length_in_m=np.where(parted, into, whole / 2.0),
        length_out_m=np.where(parted, out, whole / 2.0),
    )


def read_superelevation(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> SuperelevationTable:
    """Read crossfalls along an alignment: station, and the slopes left and right going outwards.

    A cell says its unit ("-2 %", "-1:48"), or the heading says percent. Raises InputError.
    """
    sheet = _Sheet(source, SUPERELEVATION, unit, columns)
    sheet.need_columns("station", "left", "right")
    slopes = {}
    for name in ("station", "left", "right"):
        sheet.need(name)
    station, side = sheet.stations()
    for name in ("left", "right"):
        said = re.search(r"%|percent|pct", sheet.cells.heading(name), re.IGNORECASE)
        read = partial(_slope, percent=said is not None)
        slopes[name] = sheet.each(name, read, "bad-slope")
    sheet.finish(notices)
    return SuperelevationTable(
        path=source.path,
        line=sheet.table.lines,
        station_m=station,
        side=side,
        left=slopes["left"],
        right=slopes["right"],
    )


def _slope(cell: str, *, percent: bool) -> float:
    """Return a slope; percent: what a bare number is, for its heading says so."""
    text = cell.replace("\N{MINUS SIGN}", "-").strip()
    bare = re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text) is not None
    return parse_slope(f"{text} %" if percent and bare else text)


def read_stakes(
    source: Source,
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> StakeTable:
    """Read stakes: id with station and offset (+ right, or a side), or northing and easting.

    The elevation may be left out. Raises InputError.
    """
    sheet = _Sheet(source, STAKES, unit, columns, tail="description")
    by_station = sheet.has("station") or not (sheet.has("northing") or sheet.has("easting"))
    sheet.need_columns("id", *(("station",) if by_station else ("northing", "easting")))
    sheet.need("id")
    station, side = sheet.stations()
    northing, easting = sheet.cells.lengths("northing"), sheet.cells.lengths("easting")
    offset = _offsets(sheet)
    placed = ~sheet.empty("northing") & ~sheet.empty("easting")
    if by_station:
        sheet.need("station", ~placed)
        offset = np.where(np.isnan(offset) & ~sheet.empty("station"), 0.0, offset)
        for row in np.flatnonzero(placed & ~sheet.empty("station")).tolist():
            sheet.fault(
                row,
                "station",
                "conflicting-places",
                "this row gives station and offset, and northing and easting too",
                "keep one of the two",
            )
    else:
        sheet.need("northing")
        sheet.need("easting")
    elevation = sheet.cells.lengths("elevation")
    ids = np.array([text.strip() for text in sheet.cells.raw("id")], dtype=object)
    sheet.finish(notices)
    return StakeTable(
        path=source.path,
        line=sheet.table.lines,
        id=ids,
        station_m=station,
        side=side,
        offset_m=offset,
        northing_m=northing,
        easting_m=easting,
        elevation_m=elevation,
        description=sheet.cells.text("description"),
    )


def _offsets(sheet: _Sheet) -> FloatArray:
    """Return offsets, + right; the side stands in the cell, in its own column, or as a sign."""

    def read(cell: str) -> float:
        text = cell.strip().replace("\N{MINUS SIGN}", "-")
        found = _SIDED.fullmatch(text) or _LED.fullmatch(text)
        if text.lower() in _ON_LINE:
            return 0.0
        if found is None:
            return parse_length(text, sheet.cells.unit)
        length = parse_length(found["text"], sheet.cells.unit)
        if length < 0.0:
            raise UnitError(f"{quoted(cell)} has a sign and a side", "keep one of the two")
        return -length if found["side"].lower()[0] == "l" else length

    sheet.cells.compare_unit("offset")
    values = sheet.each("offset", read, "not-a-number")
    if not sheet.has("side"):
        return values
    for row, cell in enumerate(sheet.cells.raw("side")):
        word = cell.strip().lower()
        if is_blank(cell) or word in _ON_LINE:
            if values[row] != 0.0 and word in _ON_LINE:
                sheet.fault(
                    row,
                    "side",
                    "unknown-side",
                    f"{quoted(cell)} is the line itself, and the offset is not 0",
                    "write left or right",
                )
            continue
        if word not in _LEFT | _RIGHT:
            sheet.fault(
                row, "side", "unknown-side", f"{quoted(cell)} is no side", "write left or right"
            )
        elif values[row] < 0.0:
            sheet.fault(
                row,
                "side",
                "unknown-side",
                f"the offset has a sign and the row says {quoted(cell)}",
                "give the offset without a sign, or leave the side out",
            )
        elif word in _LEFT:
            values[row] = -values[row]
    return values
