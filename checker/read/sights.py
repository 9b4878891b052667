"""Books of sights: the observations of a network, one row a sight."""

import math
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from checker.errors import Where
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.books import SightBook
from checker.model.drawing import Notice
from checker.read.books import BookTable
from checker.read.cells import is_blank
from checker.read.files import Source
from checker.read.headings import UnitKind, Vocabulary, field
from checker.text import quoted
from checker.units import (
    AngleFormat,
    LengthUnit,
    UnitError,
    parse_angle,
    parse_bearing,
    parse_small_angle,
)

_OBSERVED: Final = ("direction", "angle", "azimuth", "bearing", "distance", "slope_distance")
_ANGULAR: Final = ("direction", "angle", "azimuth")


def _sigma(name: str, *words: str) -> str:
    stems = (name.replace("_", ""), *words)
    return " ".join(f"{lead}{stem}" for stem in stems for lead in ("sigma", "sd", "stdev"))


SIGHTS: Final = Vocabulary(
    (
        field(
            "at",
            "at from station occupied occupiedstation instrumentstation instrument "
            "atstation fromstation atpoint frompoint occ",
            "stn sta point pt start",
        ),
        field("back", "back backsight bs backstation backsightstation backpoint"),
        field(
            "to",
            "to foresight fs sighted sightedpoint sightedstation tostation topoint target ahead "
            "aheadstation",
            "end",
        ),
        field("round", "round set roundno setno series roundnumber setnumber"),
        field(
            "direction",
            "direction dir circle reading circlereading horizontaldirection horizontalcircle "
            "directionreading",
        ),
        field(
            "angle",
            "angle horizontalangle horizangle ha hangle hzangle angleright observedangle anglert",
        ),
        field("azimuth", "azimuth az gridazimuth azi"),
        field("bearing", "bearing brg quadrantbearing gridbearing"),
        field(
            "distance",
            "distance dist horizontaldistance horizdistance horizontaldist horizdist hdist "
            "hdistance hd",
        ),
        field(
            "slope_distance",
            "slopedistance slopedist slope sd sdist sdistance sloped inclineddistance",
        ),
        field("zenith", "zenith zenithangle za zenithdistance zd va verticalangle zenithang"),
        field(
            "rise",
            "rise dh dz deltah deltaz heightdifference elevationdifference deltaelevation delev "
            "observeddifference difference risefall δh",
        ),
        field("length", "length linelength sectionlength levellength levelledlength"),
        field("setups", "setups nsetups numsetups noofsetups numberofsetups n"),
        field("sigma_direction", _sigma("direction", "dir")),
        field("sigma_angle", _sigma("angle", "ang")),
        field("sigma_azimuth", _sigma("azimuth", "az")),
        field("sigma_distance", _sigma("distance", "dist")),
        field("sigma_rise", _sigma("rise", "dh", "dz")),
    )
)
_MISSING: Final = (
    "missing-value",
    "this row has no observation",
    "fill one in (direction, angle, azimuth, distance, rise), or take the row out of the file",
)


def read_sight_book(
    source: Source,
    *,
    unit: LengthUnit,
    angle_format: AngleFormat,
    columns: Mapping[str, str],
    notices: list[Notice] | None = None,
) -> SightBook:
    """Read a book of sights: at, to, and any of direction, angle (from back), azimuth, distance.

    Also slope distances with zenith angles, and rises of level lines. Where a table has rises and
    nothing of the plan, its column of distances is the length of the lines. unit: of lengths that
    do not name their own. angle_format: how bare angles are read. Raises InputError.
    """
    return _SightReader(source, unit, angle_format, columns).read(notices)


class _SightReader:
    def __init__(
        self,
        source: Source,
        unit: LengthUnit,
        angle_format: AngleFormat,
        columns: Mapping[str, str],
    ) -> None:
        self._book = BookTable(source, SIGHTS, unit, columns)
        self._format = angle_format

    def read(self, notices: list[Notice] | None) -> SightBook:
        book = self._book
        book.require(("at", "to"))
        book.refuse_short_rows()
        plan = {name for name in (*_OBSERVED, "zenith") if name in book.cells}
        levels = "rise" in book.cells and plan <= {"distance"}
        at, to = book.names("at"), book.names("to")
        back = self._texts("back")
        directions = {name: self._angles(name, self._whole_circle) for name in _ANGULAR}
        bearing = self._angles("bearing", lambda cell: parse_bearing(cell, self._format))
        distance = self._positive("distance", own_unit=levels)
        length = self._positive("length", own_unit=True)
        if levels:
            distance, length = np.full(len(book), np.nan), self._or(length, distance)
        slope, zenith = self._positive("slope_distance"), self._zeniths()
        rise = book.cells.lengths("rise")
        setups = book.cells.counts("setups")
        sigma = {name: self._angles(f"sigma_{name}", self._small) for name in _ANGULAR}
        azimuth = self._or(directions["azimuth"], bearing)
        self._refuse_doubles(directions["azimuth"], bearing, distance, slope)
        self._check_stations(at, back, to, directions["angle"])
        self._check_slopes(slope, zenith)
        seen = np.stack((*directions.values(), bearing, distance, slope, rise))
        blank = ~(np.isfinite(seen).any(axis=0) | self._filled((*_OBSERVED, "rise")))
        book.faults_where(blank, None, lambda _row: _MISSING)
        made = SightBook(
            path=book.table.path,
            line=book.table.lines,
            at=at,
            back=back,
            to=to,
            round=self._texts("round"),
            direction_rad=directions["direction"],
            angle_rad=directions["angle"],
            azimuth_rad=azimuth,
            distance_m=distance,
            slope_m=slope,
            zenith_rad=zenith,
            rise_m=rise,
            length_m=length,
            setups=setups,
            sigma_direction_rad=sigma["direction"],
            sigma_angle_rad=sigma["angle"],
            sigma_azimuth_rad=sigma["azimuth"],
            sigma_distance_m=self._positive("sigma_distance", own_unit=True),
            sigma_rise_m=self._positive("sigma_rise", own_unit=True),
        )
        book.finish(notices)
        return made

    @staticmethod
    def _or(one: FloatArray, other: FloatArray) -> FloatArray:
        return np.where(np.isnan(one), other, one)

    def _texts(self, name: str) -> TextArray:
        cells = self._book.cells.text(name)
        stripped = np.empty(len(cells), dtype=object)
        stripped[:] = ["" if is_blank(text) else text.strip() for text in cells.tolist()]
        return stripped

    def _filled(self, names: tuple[str, ...]) -> BoolArray:
        """Return the rows in which something stands in one of these columns, read or not."""
        found = np.zeros(len(self._book), dtype=np.bool_)
        for name in names:
            if name in self._book.cells:
                found |= np.array([not is_blank(cell) for cell in self._book.cells.raw(name)])
        return found

    # ------------------------------------------------------------ numbers

    def _angles(self, name: str, parse: Callable[[str], float]) -> FloatArray:
        book = self._book
        if name in book.cells and not name.startswith("sigma_"):
            self._check_unit(name)
        slug = "bad-value" if name.startswith("sigma_") else "bad-angle"
        return book.each(name, parse, slug)

    def _whole_circle(self, cell: str) -> float:
        if cell[:1].upper() in ("N", "S"):
            raise UnitError(f"{quoted(cell)} is a bearing", "head the column bearing")
        angle = parse_angle(cell, self._format)
        if not 0.0 <= angle <= 2 * math.pi + 1e-12:
            raise UnitError(
                f"{quoted(cell)} is not between 0 and 360 degrees",
                "check the angle and its format (angle_format)",
            )
        return angle

    def _small(self, cell: str) -> float:
        """Return a standard deviation of an angle; a bare number is in seconds (or milligon)."""
        try:
            number = float(cell)
        except ValueError:
            found = parse_small_angle(cell)
        else:
            seconds = math.pi / 648000.0
            milligon = math.pi / 200000.0
            bare = {AngleFormat.GON: milligon, AngleFormat.RADIANS: 1.0}
            found = number * bare.get(self._format, seconds)
        if not found > 0.0:
            raise UnitError(
                f"{quoted(cell)} is no standard deviation of an angle",
                "write more than 0: in arc seconds (milligon with gon), or with its unit",
            )
        return found

    def _check_unit(self, name: str) -> None:
        """Refuse a heading whose unit of angle is not the one that the job states."""
        book = self._book
        said, line = book.cells.said_unit(name)
        if said is None or said.kind is UnitKind.OTHER:
            return
        fits = {AngleFormat.GON: ("gon",), AngleFormat.RADIANS: ("rad",)}
        if said.kind is not UnitKind.ANGLE or said.name not in fits.get(
            self._format, ("deg", "dms")
        ):
            book.faults.add(
                "unit-contradiction",
                Where(file=book.table.path, line=line, part=book.cells.heading(name)),
                f'the table says "{said.text}", the job angle_format = "{self._format}"',
                "find out which is right, and mend the heading or the job's angle_format",
            )

    def _positive(self, name: str, *, own_unit: bool = False) -> FloatArray:
        book = self._book
        values = book.cells.lengths(name, own_unit=own_unit)
        with np.errstate(invalid="ignore"):
            bad = values <= 0
        if name in book.cells:
            raw = book.cells.raw(name)
            book.faults_where(
                bad,
                name,
                lambda row: (
                    "not-positive",
                    f"{quoted(raw[row])}: expected a {name.replace('_', ' ')} of more than 0",
                    "fill it in as measured, or leave the cell empty",
                ),
            )
        return values

    def _zeniths(self) -> FloatArray:
        def parse(cell: str) -> float:
            angle = parse_angle(cell, self._format)
            if not 0.0 < angle < math.pi:
                raise UnitError(
                    f"{quoted(cell)} is no zenith angle; expected between 0 and 180 degrees",
                    "a zenith angle counts from straight up, a level sight is 90 degrees; of face "
                    "two take 360 degrees less the reading",
                )
            return angle

        return self._angles("zenith", parse)

    # ------------------------------------------------------------ what does not go together

    def _refuse_doubles(
        self, azimuth: FloatArray, bearing: FloatArray, distance: FloatArray, slope: FloatArray
    ) -> None:
        book = self._book
        book.faults_where(
            np.isfinite(azimuth) & np.isfinite(bearing),
            "bearing",
            lambda _row: (
                "two-directions",
                "this row has both an azimuth and a bearing",
                "leave one of them out, so that it is plain which one counts",
            ),
        )
        book.faults_where(
            np.isfinite(distance) & np.isfinite(slope),
            "slope_distance",
            lambda _row: (
                "two-distances",
                "this row has both a horizontal and a slope distance",
                "leave one of them out, so that it is plain which one counts",
            ),
        )

    def _check_stations(
        self, at: TextArray, back: TextArray, to: TextArray, angle: FloatArray
    ) -> None:
        book = self._book
        for name, one, other in (("to", at, to), ("back", at, back), ("back", to, back)):
            same = np.array(
                [a == b and a != "" for a, b in zip(one.tolist(), other.tolist(), strict=True)],
                dtype=np.bool_,
            )
            book.faults_where(
                same,
                name,
                lambda row, one=one: (  # type: ignore[misc]
                    "same-station",
                    f"this row names {quoted(one[row])} twice",
                    "name the station occupied, the one sighted and the one behind: all different",
                ),
            )
        book.faults_where(
            np.isfinite(angle) & (back == ""),
            "back" if "back" in book.cells else "angle",
            lambda _row: (
                "missing-value",
                "this row has an angle and no back station that it was turned from",
                "fill in back, or head circle readings direction",
            ),
        )

    def _check_slopes(self, slope: FloatArray, zenith: FloatArray) -> None:
        book = self._book
        lacks = np.isfinite(slope) & np.isnan(zenith) & ~self._filled(("zenith",))
        book.faults_where(
            lacks,
            "slope_distance",
            lambda _row: (
                "missing-value",
                "this row has a slope distance and no zenith angle",
                "fill in the zenith angle, or give the horizontal distance",
            ),
        )
