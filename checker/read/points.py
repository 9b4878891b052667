"""Points of tables: control, design and as-measured, with what a receiver stored beside them.

Coordinates come in metres; what a file does not show is NaN, NaT or "", never 0.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import product
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from checker.errors import InputError, Problem, Where
from checker.model.arrays import FloatArray, IntArray, TextArray, TimeArray, same_text
from checker.model.drawing import Notice
from checker.model.points import Points, Quality
from checker.read.books import of_its_kind, other_kind_hint
from checker.read.cells import Cells, Faults, floats, held
from checker.read.correlation import read_correlation
from checker.read.decoding import decode
from checker.read.files import Source
from checker.read.frames import (
    VAGUEST_M,
    grid_m,
    is_geographic,
    metres_per_unit,
    other_grid_m,
    same_name,
)
from checker.read.geojson import is_geojson, read_geojson
from checker.read.headings import (
    Assignment,
    Field,
    Vocabulary,
    column_number,
    field,
    mapped,
)
from checker.read.short_rows import whole_rows
from checker.read.tables import Table, read_table
from checker.read.times import read_times
from checker.text import quoted
from checker.units import LengthUnit, SigmaLevel, parse_angle

A = TypeVar("A", bound=np.generic)

_HEAD: Final = 20_000
"""Characters of a file in which its headings stand."""

_AXES: Final = {
    "sigma_n": "n north northing",
    "sigma_e": "e east easting",
    "sigma_h": "h hz hor horiz horizontal 2d plan planimetric",
    "sigma_z": "z u up v vert vertical elev elevation",
}
_SIGMAS: Final = (
    "sigma sd std stdev stddev standarddeviation stderr rms precision prec accuracy acc"
)


def _sigma(name: str) -> Field:
    axes = _AXES[name].split()
    words = {a + b for axis, s in product(axes, _SIGMAS.split()) for a, b in ((axis, s), (s, axis))}
    words -= {"rmse"}  # the root mean square error of the whole, not that of the easting
    words |= {"s" + axis for axis in axes if axis in "neuzh"}
    return Field(name=name, tiers=(frozenset(words),))


VOCABULARY: Final = Vocabulary(
    (
        field(
            "id",
            "id point pt pnt p pointid ptid pointno ptno pointnum ptnum pointnumber ptnumber "
            "pointname ptname stakeid stakeno shot shotid shotno",
            "mark markid markno monument benchmark bm controlpoint vertex vertexid vertexno",
            "no num nr number # name label",
            "station stationid stationname stn sta",
            "punkt punktnr punktnummer pktnr punto ponto matricule punktid",
        ),
        field(
            "northing",
            "n north northing northings gridnorthing groundnorthing northcoordinate ncoordinate "
            "ncoord northcoord gridn gridnorth groundn groundnorth northingy ynorthing ynorth "
            "northy",
            "hochwert norte nord",
        ),
        field(
            "easting",
            "e east easting eastings grideasting groundeasting eastcoordinate ecoordinate ecoord "
            "eastcoord gride grideast grounde groundeast eastingx xeasting xeast eastx",
            "rechtswert este leste",
        ),
        field("x", "x xcoord xcoordinate coordx gridx"),
        field("y", "y ycoord ycoordinate coordy gridy"),
        field(
            "elevation",
            "z elevation elev elv el rl reducedlevel orthometricheight orthoheight orthoht zcoord "
            "zcoordinate coordz gridz elevationz zelevation zelev elevz",
            "height hgt ht h level lev",
            "cota quota höhe hoehe altitude alt",
        ),
        field(
            "description",
            "description desc descr d pointdescription ptdesc",
            "code featurecode fcode feature rawdescription fulldescription",
            "remark remarks note notes comment comments",
            "bemerkung beschreibung descripcion descripción descrizione descrição",
        ),
        field(
            "solution",
            "solution solutiontype solutionstatus soln fix fixtype fixstatus fixquality "
            "positionquality positiontype",
            "status mode quality",
        ),
        field(
            "satellites",
            "satellites satellite sats sat sv svs nsat nsats nsv nsvs numsats numsvs satcount "
            "satellitesused satsused svsused noofsatellites noofsats numberofsatellites",
        ),
        field("hdop", "hdop"),
        field("vdop", "vdop"),
        field("pdop", "pdop"),
        field(
            "age",
            "age ageofcorrections ageofcorrection correctionage correctionsage corrage "
            "differentialage diffage ageofdiff",
        ),
        *(_sigma(name) for name in _AXES),
        field(
            "correlation_ne",
            "correlationne correlationen correlation corrne corren rhone rhoen corrcoef",
        ),
        field(
            "covariance_ne",
            "covariancene covarianceen covariance covne coven cne",
        ),
        field("epochs", "epochs nepochs numepochs noofepochs numberofepochs epochcount"),
        field(
            "pole",
            "pole poleheight polelength poleht rod rodheight rodlength rodht",
            "antennaheight antennaht antheight antht",
        ),
        field("base", "base baseid basename basepoint basestation referencestation refstation"),
        field(
            "base_distance",
            "basedistance basedist distancetobase baseline baselinelength baselinedistance",
        ),
        field("session", "session sessionid sessionno sessionname", "setup setupid setupno"),
        field(
            "time",
            "time datetime timestamp utc timeutc utctime dateandtime datetimeutc utcdatetime "
            "observationtime obstime",
            "starttime",
        ),
        field("date", "date dateutc utcdate surveydate obsdate observationdate"),
        field(
            "elevation_mask", "elevationmask elevmask mask maskangle cutoff cutoffangle elevcutoff"
        ),
        field("latitude", "latitude lat latdd latitudedd"),
        field("longitude", "longitude lon long lng londd longitudedd"),
        field(
            "height",
            "ellipsoidheight ellipsoidalheight ellipheight ellheight heightellipsoid hell eht hae "
            "ellipht ellipsoidht ellht ellipsoidalht",
        ),
    )
)
_DEGREES_AGREE_M: Final = 0.02
"""Degrees written to seven decimals give a place to a centimetre; common practice, no source."""
_USUAL: Final = {
    "id": "point number (id)",
    "northing": "northing",
    "easting": "easting",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """The points of one file. quality: field of `Quality` -> array, only what the file shows."""

    id: TextArray
    northing_m: FloatArray
    easting_m: FloatArray
    elevation_m: FloatArray
    description: TextArray
    line: IntArray
    quality: dict[str, FloatArray | TextArray | TimeArray]


def read_points(  # noqa: PLR0913  (what every table of points needs)
    sources: Sequence[Source],
    *,
    unit: LengthUnit,
    columns: Mapping[str, str],
    role: str,
    sigma_level: SigmaLevel | None = None,
    unique: bool,
    crs_from: str | None = None,
    crs_to: str | None = None,
    vaguest_m: float = VAGUEST_M,
) -> tuple[Points, tuple[Notice, ...]]:
    """Read the points of one or more tables, in the order of the files and their rows.

    unit: of every length that does not name its own. columns: field -> heading (or place from 1)
    where headings are not recognised. role: what the points are, for messages ("design points",
    "as-measured", "control"). sigma_level: what stored sigmas are multiples of; None leaves them.
    unique: an id that returns with other coordinates is a fault; one that returns with the same is
    read once and said.
    crs_from, crs_to: the frame of the files, of longitude and latitude or another grid, and the
    grid that northings and eastings are wanted in; without them longitude and latitude are refused.
    vaguest_m: a transformation between them that is stated to be less accurate is refused.
    Raises InputError with the faults of all files.
    """
    problems: list[Problem] = []
    notices: list[Notice] = []
    parts: list[_Part] = []
    for source in sources:
        reader = _FileReader(source, unit, columns, sigma_level, (crs_from, crs_to), vaguest_m)
        reader.others = [other for other in sources if other is not source]
        try:
            parts.append(reader.read())
        except InputError as fault:
            problems.extend(fault.problems)
        notices.extend(reader.notices)
    if len(parts) == len(sources):
        points = _joined(parts, [source.path for source in sources])
        if unique:
            points, said, repeated = _once(points, unit, role)
            notices.extend(said)
            problems.extend(repeated)
        if not problems:
            return points, tuple(notices)
    raise InputError(problems)


def assign_columns(table: Table, columns: Mapping[str, str]) -> tuple[Assignment, list[Notice]]:
    """Return which columns of a table of points are which fields, and what must be said of it.

    y and x are taken for northing and easting, but only where nothing better stands there.
    """
    where = Where(file=table.path, line=table.header_line or None)
    assigned = Assignment(table.header, VOCABULARY, columns, where)
    notices = []
    found = assigned.columns
    y, x = found.pop("y", None), found.pop("x", None)
    if y is not None and x is not None and not {"northing", "easting"} & set(found):
        found["northing"], found["easting"] = y, x
        notices.append(
            Notice(
                slug="axes-by-letter",
                where=where,
                message=f'"{y.heading}" is taken for the northing and "{x.heading}" for the '
                "easting; in some countries the letters stand the other way round",
            )
        )
    elevation = found.get("elevation")
    if elevation is not None and elevation.tier >= 1 and not has_degrees(assigned):
        notices.append(
            Notice(
                slug="height-as-elevation",
                where=where,
                message=f'"{elevation.heading}" is taken for the elevation; it must not be a '
                "height above the ellipsoid",
            )
        )
    return assigned, notices


def has_degrees(assigned: Assignment) -> bool:
    """Return whether the points of a table are given by longitude and latitude alone."""
    found = set(assigned.columns)
    return {"latitude", "longitude"} <= found and not {"northing", "easting"} & found


class _FileReader:
    """Reads the points of one file; raises InputError with all of its faults."""

    def __init__(
        self,
        source: Source,
        unit: LengthUnit,
        columns: Mapping[str, str],
        sigma_level: SigmaLevel | None,
        frames: tuple[str | None, str | None],
        vaguest_m: float = VAGUEST_M,
    ) -> None:
        self._source = source
        self._unit = unit
        self._columns = columns
        self._sigma_level = sigma_level
        self._frames = frames
        self._vaguest_m = vaguest_m
        self._faults = Faults(source.path)
        self.notices: list[Notice] = []
        self.others: Sequence[Source] = ()

    def _columns_here(self, table: Table) -> Mapping[str, str]:
        """Return the job's columns, without those that are meant for other files of the same list.

        Two collectors head their files differently: a heading that the job names and this file does
        not have is let go where another file has it and this one's own is recognised.
        """
        kept = dict(self._columns)
        for name, found in mapped(self._columns, table.header).items():
            wanted = self._columns[name]
            if found or column_number(wanted) is not None:
                continue
            own = [
                heading
                for heading in table.header
                if (claim := VOCABULARY.claim(heading)) is not None and claim[0] == name
            ]
            if own and any(wanted in decode(other)[0][:_HEAD] for other in self.others):
                del kept[name]
                self.notices.append(
                    Notice(
                        slug="heading-elsewhere",
                        where=Where(file=table.path, line=table.header_line or None),
                        message=f"{name} is taken from {quoted(own[0])} here: the job's "
                        f"{quoted(wanted)} is a heading of another file",
                    )
                )
        return kept

    def read(self) -> _Part:
        source, frames = self._source, self._frames
        if is_geojson(source.data):
            text, _ = decode(source)
            geojson = read_geojson(source.path, text, VOCABULARY, self._unit, frames)
            table, frames = geojson.table, (geojson.crs, frames[1])
        else:
            try:
                table = read_table(source, VOCABULARY, self._columns, tail="description")
            except InputError as fault:
                raise of_its_kind(fault, source, VOCABULARY) from None
        self.notices.extend(table.notices)
        self._faults.take(table)
        assigned, said = assign_columns(table, self._columns_here(table))
        self.notices.extend(said)
        geographic = has_degrees(assigned)
        assigned.require(
            ("id",) if geographic else ("id", "northing", "easting"),
            _USUAL,
            held=held(table),
            other=lambda: other_kind_hint(source, VOCABULARY),
        )
        self._faults.problems.extend(assigned.problems)
        if not assigned.problems:
            table = whole_rows(table, assigned, self._faults)
        if assigned.problems or not len(table):
            raise InputError(self._faults.listed())
        cells = Cells(table, assigned.columns, self._unit, self._faults)
        cells.compare_stated_units()
        part = self._part(table, cells, frames, geographic=geographic)
        self.notices.extend(cells.notices)
        self.notices.extend(assigned.notices())
        if self._faults.problems:
            raise InputError(self._faults.listed())
        return part

    def _part(
        self,
        table: Table,
        cells: Cells,
        frames: tuple[str | None, str | None],
        *,
        geographic: bool,
    ) -> _Part:
        ids = cells.text("id")
        self._refuse_blank(table, cells, "id", cells.blank("id"))
        if geographic:
            northing, easting, elevation = self._projected(table, cells, frames)
        else:
            elevation = cells.lengths("elevation")
            northing, easting = cells.lengths("northing"), cells.lengths("easting")
            for name, values in (("northing", northing), ("easting", easting)):
                if np.isnan(values).any():
                    self._refuse_blank(table, cells, name, cells.blank(name))
            northing, easting = self._on_the_jobs_grid(cells, northing, easting, frames)
        return _Part(
            id=ids,
            northing_m=northing,
            easting_m=easting,
            elevation_m=elevation,
            description=cells.text("description"),
            line=table.lines,
            quality=self._quality(cells),
        )

    def _refuse_blank(
        self, table: Table, cells: Cells, name: str, blank: np.typing.NDArray[np.bool_]
    ) -> None:
        self._faults.of_rows(
            table,
            np.flatnonzero(blank),
            cells.heading(name),
            lambda row: (
                "missing-value",
                f"this row has no {_USUAL.get(name, name)}"
                + (f': "{cells.raw(name)[row]}"' if cells.raw(name)[row] else ""),
                "fill it in, or take the row out of the file",
            ),
        )

    def _projected(
        self, table: Table, cells: Cells, frames: tuple[str | None, str | None]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return northings, eastings and elevations of rows of longitude and latitude."""
        where = Where(file=table.path, line=table.header_line or None)
        if frames[0] is None or frames[1] is None:
            self._faults.add(
                "no-frame",
                where,
                "the points are given as longitude and latitude, and the job does not say in which "
                "frame they are and on which grid they are wanted",
                'state both in the job: [measured] crs = "EPSG:4326" or the like, and [reference] '
                "crs, the grid; or export northings and eastings",
            )
            raise InputError(self._faults.listed())
        degrees: list[FloatArray] = []
        for name, limit in (("latitude", 90.0), ("longitude", 360.0)):
            cells.degrees_only(name)
            values = cells.numbers(
                name,
                other=lambda cell: float(np.degrees(geographic_angle(cell))),
                any_form=True,
                slug="bad-angle",
            )
            self._refuse_blank(table, cells, name, cells.blank(name))
            raw = cells.raw(name)
            self._faults.of_rows(
                table,
                np.flatnonzero(np.abs(values) > limit),
                cells.heading(name),
                lambda row, raw=raw, name=name, limit=limit: (  # type: ignore[misc]
                    "bad-angle",
                    f"{quoted(raw[row])} is no {name}; expected at most {limit:g} degrees",
                    "check the column, and whether latitude and longitude are exchanged",
                ),
            )
            degrees.append(values)
        if self._faults.problems:
            raise InputError(self._faults.listed())
        northing, easting, said = grid_m(
            degrees[0], degrees[1], frames[0], frames[1], where, self._vaguest_m
        )
        self.notices.append(said)
        return northing, easting, self._heights(cells, where)

    def _on_the_jobs_grid(
        self,
        cells: Cells,
        northing: FloatArray,
        easting: FloatArray,
        frames: tuple[str | None, str | None],
    ) -> tuple[FloatArray, FloatArray]:
        """Return northings and eastings on the job's grid, brought over from the file's own."""
        own, wanted = frames
        if own is None or wanted is None or same_name(own, wanted) or self._faults.problems:
            return northing, easting
        where = Where(file=cells.table.path, line=cells.table.header_line or None)
        if is_geographic(own, where):
            # A receiver may store both kinds of coordinates: those of the grid are the crew's.
            self.notices.append(
                Notice(
                    slug="grid-as-read",
                    where=where,
                    message="the table has northings and eastings, which are taken as they stand, "
                    f'on the job\'s grid "{wanted}"; "{own}" is for longitude and latitude',
                )
            )
            self._compare_degrees(cells, northing, easting, (own, wanted))
            return northing, easting
        if metres_per_unit(own) != self._unit.metres:
            self.notices.append(
                Notice(
                    slug="grid-unit",
                    where=where,
                    message=f'the grid "{own}" counts in another unit than the file, which is read '
                    f"in {self._unit.words}, as the job says",
                )
            )
        northing, easting, said = other_grid_m(
            northing, easting, own, wanted, where, self._vaguest_m
        )
        self.notices.append(said)
        return northing, easting

    def _compare_degrees(
        self, cells: Cells, northing: FloatArray, easting: FloatArray, frames: tuple[str, str]
    ) -> None:
        """Say where a table's longitudes and latitudes are not at its northings and eastings."""
        if not {"latitude", "longitude"} <= set(cells.columns):
            return
        where = Where(file=cells.table.path, line=cells.table.header_line or None)
        degrees = [
            floats(
                cells.raw(name),
                decimal_comma=cells.table.dialect.decimal_comma,
                other=lambda cell: float(np.degrees(geographic_angle(cell))),
                any_form=True,
            )[0]
            for name in ("latitude", "longitude")
        ]
        there = np.flatnonzero(
            np.isfinite(degrees[0]) & (np.abs(degrees[0]) <= 90.0) & (np.abs(degrees[1]) <= 360.0)
        )
        if not len(there):
            return
        try:
            north, east, _ = grid_m(degrees[0][there], degrees[1][there], *frames, where)
        except InputError:
            return  # without a way between the frames there is nothing to compare
        away = np.hypot(north - northing[there], east - easting[there])
        worst = int(np.argmax(away))
        if away[worst] <= _DEGREES_AGREE_M:
            return
        self.notices.append(
            Notice(
                slug="degrees-differ",
                where=cells.table.where(int(there[worst])),
                message="the table's longitudes and latitudes, brought to the grid, lie up to "
                f"{self._unit.from_metres(float(away[worst])):.3f} {self._unit.short} from its "
                "northings and eastings: another grid, another datum, or ground coordinates",
            )
        )

    def _heights(self, cells: Cells, where: Where) -> FloatArray:
        """Return elevations; a height above the ellipsoid is none without a geoid."""
        column = cells.columns.get("elevation")
        if column is not None and column.tier < 1:
            return cells.lengths("elevation")
        ignored = column or cells.columns.get("height")
        if ignored is not None:
            self.notices.append(
                Notice(
                    slug="ellipsoid-height",
                    where=where,
                    message=f'"{ignored.heading}" is a height above the ellipsoid; no elevation is '
                    "made of it, so heights of this file stay unjudged",
                )
            )
        return np.full(len(cells.table), np.nan)

    def _sigmas(self, cells: Cells) -> dict[str, FloatArray]:
        """Return the standard deviations that the table shows, at one sigma."""
        level = self._sigma_level
        sigmas: dict[str, FloatArray] = {}
        for name in _AXES:
            if name in cells:
                value = cells.lengths(name, own_unit=True, signed=False)
                times = 1.0 if level is None else level.radial if name == "sigma_h" else level.axis
                sigmas[f"{name}_m"] = value / times
        correlation = read_correlation(cells, sigmas, level)
        if correlation is not None:
            sigmas["correlation_ne"] = correlation
        return sigmas

    def _quality(self, cells: Cells) -> dict[str, FloatArray | TextArray | TimeArray]:
        quality: dict[str, FloatArray | TextArray | TimeArray] = {**self._sigmas(cells)}
        for name in ("solution", "base", "session"):
            if name in cells:
                quality[name] = cells.blanks_as_nothing(name)
        for name in ("satellites", "epochs"):
            if name in cells:
                quality[name] = cells.counts(name)
        for name in ("hdop", "vdop", "pdop"):
            if name in cells:
                quality[name] = cells.counts(name, whole=False)
        if "age" in cells:
            quality["age_s"] = cells.seconds("age")
        for name in ("pole", "base_distance"):
            if name in cells:
                quality[f"{name}_m"] = cells.lengths(name, own_unit=True, signed=False)
        if "elevation_mask" in cells:
            cells.degrees_only("elevation_mask")
            quality["elevation_mask_rad"] = cells.numbers(
                "elevation_mask",
                factor=float(np.radians(1.0)),
                other=parse_angle,
            )
        time = read_times(cells)
        if time is not None:
            quality["time"] = time
        return quality


_HEMISPHERES: Final = {"n": 1.0, "e": 1.0, "s": -1.0, "w": -1.0}


def geographic_angle(cell: str) -> float:
    """Return an angle with its hemisphere, N and E positive; radians. Raises UnitError."""
    sign = _HEMISPHERES.get(cell[-1:].lower())
    if sign is None:
        return parse_angle(cell)
    return sign * parse_angle(cell[:-1].strip())


# ---------------------------------------------------------------- several files as one table


def _joined(parts: Sequence[_Part], paths: Sequence[str]) -> Points:
    """Return the files' points as one table."""
    counts = [len(part.id) for part in parts]

    def texts(get: Callable[[_Part], TextArray]) -> TextArray:
        return _in_one([get(part) for part in parts], np.empty(0, dtype=object))

    def numbers(get: Callable[[_Part], FloatArray]) -> FloatArray:
        return _in_one([get(part) for part in parts], np.empty(0))

    nothing = same_text("", sum(counts))
    shown = {name for part in parts for name in part.quality}
    quality = {
        entry.name: _joined_quality(parts, entry.name)
        for entry in fields(Quality)
        if entry.name in shown
    }
    return Points(
        id=texts(lambda part: part.id),
        northing_m=numbers(lambda part: part.northing_m),
        easting_m=numbers(lambda part: part.easting_m),
        elevation_m=numbers(lambda part: part.elevation_m),
        description=texts(lambda part: part.description),
        layer=nothing,
        handle=nothing,
        file=_in_one(
            [np.broadcast_to(np.int64(at), (count,)) for at, count in enumerate(counts)],
            np.empty(0, dtype=np.int64),
        ),
        line=_in_one([part.line for part in parts], np.empty(0, dtype=np.int64)),
        files=tuple(paths),
        quality=Quality(**quality),  # type: ignore[arg-type]
    )


def _in_one(arrays: Sequence[npt.NDArray[A]], none: npt.NDArray[A]) -> npt.NDArray[A]:
    """Return the arrays as one; a single one itself, for it may be large."""
    return arrays[0] if len(arrays) == 1 else np.concatenate([none, *arrays])


def _joined_quality(parts: Sequence[_Part], name: str) -> FloatArray | TextArray | TimeArray:
    known = next(part.quality[name] for part in parts if name in part.quality)
    nothing: object = "" if known.dtype == object else np.nan
    if known.dtype.kind == "M":
        nothing = np.datetime64("NaT", "ms")
    return np.concatenate(
        [
            part.quality.get(name, np.full(len(part.id), nothing, dtype=known.dtype))
            for part in parts
        ]
    )


def _once(
    points: Points, unit: LengthUnit, role: str
) -> tuple[Points, list[Notice], list[Problem]]:
    """Return the points with every id once, and what the repeats were."""
    first: dict[str, int] = {}
    repeats = [
        (first[text], row)
        for row, text in enumerate(points.id)
        if first.setdefault(text, row) != row
    ]
    if not repeats:
        return points, [], []
    same: list[tuple[int, int]] = []
    faults = {path: Faults(path) for path in points.files}
    for one, other in repeats:
        if _same_place(points, one, other):
            same.append((one, other))
            continue
        path = points.files[points.file[other]]
        faults[path].add(
            "repeated-id",
            _where(points, other),
            f"{role}: {quoted(points.id[other])} is given again with other coordinates: "
            f"here {_place(points, other, unit)}; at {_where(points, one)} "
            f"{_place(points, one, unit)}",
            "one number may stand for one place only: rename one of them, or take it out",
        )
    problems = [problem for file in faults.values() for problem in file.listed()]
    keep = np.ones(len(points), dtype=np.bool_)
    notices = []
    if same:
        keep[[other for _, other in same]] = False
        shown = "; ".join(
            f"{quoted(points.id[other])} at {_where(points, other)}" for _, other in same[:8]
        )
        more = f" and {len(same) - 8:,} more" if len(same) > 8 else ""
        notices.append(
            Notice(
                slug="same-point-again",
                where=_where(points, same[0][1]),
                message=f"{role}: given again with the same coordinates, read once: {shown}{more}",
            )
        )
    return _kept(points, keep), notices, problems


def _kept(points: Points, keep: np.typing.NDArray[np.bool_]) -> Points:
    quality = {
        entry.name: getattr(points.quality, entry.name)[keep]
        for entry in fields(Quality)
        if getattr(points.quality, entry.name) is not None
    }
    arrays = {
        entry.name: getattr(points, entry.name)[keep]
        for entry in fields(Points)
        if entry.name not in ("files", "quality", "budget")
    }
    return Points(**arrays, files=points.files, quality=Quality(**quality))


def _same_place(points: Points, one: int, other: int) -> bool:
    return all(
        np.array_equal(values[one], values[other], equal_nan=True)
        for values in (points.northing_m, points.easting_m, points.elevation_m)
    )


def _where(points: Points, row: int) -> Where:
    return Where(file=points.files[points.file[row]], line=int(points.line[row]) or None)


def _place(points: Points, row: int, unit: LengthUnit) -> str:
    """Return a point's coordinates in the job's unit, for a message."""
    northing, easting, elevation = (
        unit.from_metres(float(values[row]))
        for values in (points.northing_m, points.easting_m, points.elevation_m)
    )
    height = "no elevation" if np.isnan(elevation) else f"Z {elevation:.4f}"
    return f"N {northing:.4f}, E {easting:.4f}, {height}"
