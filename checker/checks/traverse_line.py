"""The book of a traverse with its ends known, and what does not fit."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import find_control, known_points, refuse, stripped
from checker.checks.convergence import convergence_rad
from checker.errors import Where
from checker.geometry.plane import polar, wrap_azimuth
from checker.model.arrays import FloatArray
from checker.model.books import TraverseBook
from checker.model.inputs import Inputs
from checker.model.job import AngleKind, AzimuthKind, Position, Shape, Traverse

NOISE_M = 1e-9
"""A misclosure below a nanometre is binary rounding: it has no ratio and no azimuth."""
_OBSERVED = (AngleKind.AZIMUTH, AngleKind.BEARING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The book with its ends known.

    leg_m: brought to grid where the job says how; ground_m: as measured, both horizontal.
    start, close: northing and easting in metres; close None where nothing is to be closed on.
    start_z_m, rise_m: known elevation of the start and rise to the close, NaN where not known.
    legs: number of rows with a distance. turned_first: the first row has an angle.
    closing: the last row turns to a further mark and has no distance. angle_rad: shape (rows,), as
    booked, observed directions on the grid. start_azimuth_rad, close_azimuth_rad: on the grid.
    convergence_rad: at the start and the close, where it was taken off; None: not needed.
    """

    section: Traverse
    book: TraverseBook
    at: list[str]
    to: list[str]
    leg_m: FloatArray
    ground_m: FloatArray
    start_z_m: float
    rise_m: float
    start: tuple[float, float]
    close: tuple[float, float] | None
    turned_first: bool
    closing: bool
    angle_rad: FloatArray
    start_azimuth_rad: float | None
    close_azimuth_rad: float | None
    convergence_rad: tuple[float, float] | None = None

    @property
    def legs(self) -> int:
        """Number of legs."""
        return self.leg_m.size

    def where(self, row: int) -> Where:
        """Place of a row of the book; -1 for the last."""
        return Where(file=self.book.path, line=int(self.book.line[row]))


def line_of(section: Traverse, inputs: Inputs) -> Line:
    """Return the book with its ends known; raises InputError where it does not fit the job."""
    book = inputs.books[section.name]
    if not isinstance(book, TraverseBook):
        raise TypeError(section.name)
    distance = np.where(
        np.isnan(book.distance_m), book.slope_m * np.sin(book.zenith_rad), book.distance_m
    )
    if len(book) == 0 or not np.isfinite(distance[0]):
        refuse(
            "no-legs",
            Where(file=book.path),
            "the traverse book has no leg: no row with a distance",
            "give one row a leg, with at, to, the direction and the distance",
        )
    at, to = stripped(book.at), stripped(book.to)
    closing = bool(np.isnan(distance[-1]) and np.isnan(book.slope_m[-1]))
    legs = len(book) - closing
    start = _place(section.start, "start", section, inputs)
    start_z = close_z = _elevation(section.start, inputs)
    close: tuple[float, float] | None = None
    if section.shape is Shape.LOOP:
        close = start
    elif section.shape is Shape.LINK:
        if section.close is None:
            refuse(
                "no-close",
                section.where,
                "a link traverse ends on a known point, and the job names none",
                'add close = "the id of the control point", or use shape = "open"',
            )
        close = _place(section.close, "close", section, inputs)
        close_z = _elevation(section.close, inputs)
    else:
        close_z = float("nan")
    ground = np.asarray(distance[:legs], dtype=np.float64)
    line = Line(
        section=section,
        book=book,
        at=at,
        to=to,
        leg_m=ground if section.grid_factor is None else ground * section.grid_factor,
        ground_m=ground,
        start_z_m=start_z,
        # A loop closes on itself whatever its height.
        rise_m=0.0 if section.shape is Shape.LOOP else close_z - start_z,
        start=start,
        close=close,
        turned_first=bool(np.isfinite(book.angle_rad[0])),
        closing=closing,
        angle_rad=book.angle_rad,
        start_azimuth_rad=section.start_azimuth_rad,
        close_azimuth_rad=section.close_azimuth_rad,
    )
    _check_rows(line)
    _check_ends(line)
    return line if section.azimuths is AzimuthKind.GRID else _on_grid(line)


def _on_grid(line: Line) -> Line:
    """Return the line with stated azimuths and observed directions brought to the grid.

    Grid azimuth = geodetic azimuth - convergence at the station where it was observed.
    """
    section = line.section
    end = line.start if line.close is None else line.close
    north, east = np.array([line.start[0], end[0]]), np.array([line.start[1], end[1]])
    crs = section.crs or ""
    at_ends = convergence_rad(crs, north, east, section.where)
    angle = line.angle_rad
    if is_observed(section):
        # Where the stations lie is known well enough from directions all turned alike.
        latitude, departure = polar(angle[: line.legs] - at_ends[0], line.leg_m)
        north = line.start[0] + np.concatenate(([0.0], np.cumsum(latitude)))[: angle.size]
        east = line.start[1] + np.concatenate(([0.0], np.cumsum(departure)))[: angle.size]
        angle = wrap_azimuth(angle - convergence_rad(crs, north, east, section.where))

    def turned(azimuth: float | None, place: int) -> float | None:
        return None if azimuth is None else float(wrap_azimuth(azimuth - at_ends[place]))

    return replace(
        line,
        angle_rad=np.asarray(angle),
        start_azimuth_rad=turned(line.start_azimuth_rad, 0),
        close_azimuth_rad=turned(line.close_azimuth_rad, 1),
        convergence_rad=(float(at_ends[0]), float(at_ends[1])),
    )


def _place(
    end: str | Position, role: str, section: Traverse, inputs: Inputs
) -> tuple[float, float]:
    if isinstance(end, Position):
        return end.northing_m, end.easting_m
    index = find_control(inputs, end, role, section.where)
    assert inputs.control is not None  # noqa: S101  (find_control refused it)
    return float(inputs.control.northing_m[index]), float(inputs.control.easting_m[index])


def _elevation(end: str | Position, inputs: Inputs) -> float:
    """Return the known elevation of an end, NaN where it has none."""
    if isinstance(end, Position):
        return end.elevation_m
    index = known_points(inputs).get(end.strip())
    if inputs.control is None or index is None:
        return float("nan")
    return float(inputs.control.elevation_m[index])


def _check_rows(line: Line) -> None:
    book = line.book
    for row in np.flatnonzero(~np.isfinite(line.leg_m)).tolist():
        refuse(
            "missing-value",
            line.where(row),
            f"the leg {line.at[row]} to {line.to[row]} has no distance",
            "give its horizontal distance, or slope_distance with zenith",
        )
    later = np.arange(len(book)) > 0
    bare = np.isnan(book.angle_rad) & (later | is_observed(line.section))
    for row in np.flatnonzero(bare).tolist():
        refuse(
            "missing-value",
            line.where(row),
            f"the row {line.at[row]} to {line.to[row]} has no direction",
            "only the first row may lack its angle: the start azimuth is then that of its leg",
        )
    for row in range(1, len(book)):
        if line.at[row] != line.to[row - 1]:
            refuse(
                "broken-chain",
                line.where(row),
                f'this row stands at "{line.at[row]}", but the row before went to '
                f'"{line.to[row - 1]}"',
                "give the legs in the order walked, each from the station reached before",
            )


def _check_ends(line: Line) -> None:
    section = line.section
    if isinstance(section.start, str) and line.at[0] != section.start.strip():
        refuse(
            "book-ends",
            line.where(0),
            f'the book begins at "{line.at[0]}", the job says start = "{section.start}"',
            "make the first row stand at the start, or name that station in the job",
        )
    last = line.to[line.legs - 1]
    wanted = ""
    if section.shape is Shape.LOOP:
        wanted = line.at[0]
    elif section.shape is Shape.LINK and isinstance(section.close, str):
        wanted = section.close.strip()
    if wanted and last != wanted:
        says = (
            f'a loop ends where it began, at "{wanted}"'
            if section.shape is Shape.LOOP
            else f'the job says close = "{wanted}"'
        )
        refuse(
            "book-ends",
            line.where(line.legs - 1),
            f'the last leg goes to "{last}", but {says}',
            "add the missing leg, or correct the shape or the end in the job",
        )


def is_observed(section: Traverse) -> bool:
    """Tell whether the book gives the direction of every leg itself."""
    return section.angles in _OBSERVED


def word(section: Traverse) -> str:
    """Return what the book's directions are called."""
    return "directions" if is_observed(section) else "angles"
