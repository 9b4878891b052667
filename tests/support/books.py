"""Makers of field books, control and sections for the tests; metres and radians."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from checker.checks.levels import measure_levels
from checker.checks.traverse import measure_traverse
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.books import Book, LevelBook, RiseBook, TraverseBook
from checker.model.inputs import Inputs
from checker.model.job import AngleKind, Levels, Position, Shape, Traverse
from checker.model.measure import Comparison, Measure
from checker.model.points import Points, Quality
from checker.units import LengthUnit

NAN = math.nan
Known = Mapping[str, tuple[float, ...]]


def control_points(known: Known) -> Points:
    """Return control from id -> (n, e) or (n, e, z)."""
    count = len(known)
    rows = [(*place, NAN)[:3] for place in known.values()]
    n, e, z = np.array(rows, dtype=np.float64).reshape(count, 3).T
    blank = np.full(count, "", dtype=object)
    return Points(
        id=np.array(list(known), dtype=object),
        northing_m=n,
        easting_m=e,
        elevation_m=z,
        description=blank,
        layer=blank,
        handle=blank,
        file=np.zeros(count, dtype=np.int64),
        line=np.arange(2, count + 2, dtype=np.int64),
        files=("control.csv",),
        quality=Quality(),
    )


def traverse_book(rows: Sequence[tuple[str, str, float, float]]) -> TraverseBook:
    """Return a book from rows (at, to, angle_rad, distance_m); NaN where not observed."""
    nothing = np.full(len(rows), NAN)
    return TraverseBook(
        path="traverse.csv",
        line=np.arange(2, len(rows) + 2, dtype=np.int64),
        at=np.array([row[0] for row in rows], dtype=object),
        to=np.array([row[1] for row in rows], dtype=object),
        angle_rad=np.array([row[2] for row in rows], dtype=np.float64),
        distance_m=np.array([row[3] for row in rows], dtype=np.float64),
        slope_m=nothing,
        zenith_rad=nothing,
        hi_m=nothing,
        ht_m=nothing,
    )


def level_book(rows: Iterable[Mapping[str, Any]], *, scale: float = 1.0) -> LevelBook:
    """Return a page from rows with pt and any of bs, is, fs, distance; readings times scale."""
    rows = list(rows)

    def read(key: str) -> FloatArray:
        return np.array([row.get(key, NAN) for row in rows], dtype=np.float64) * scale

    return LevelBook(
        path="levels.csv",
        line=np.arange(2, len(rows) + 2, dtype=np.int64),
        point=np.array([row["pt"] for row in rows], dtype=object),
        bs_m=read("bs"),
        is_m=read("is"),
        fs_m=read("fs"),
        distance_m=read("distance"),
    )


def rise_book(
    rows: Sequence[tuple[str, str, float]],
    *,
    distance_m: Sequence[float] | None = None,
    setups: Sequence[float] | None = None,
) -> RiseBook:
    """Return a book of differences from rows (from, to, rise_m)."""
    nothing = [NAN] * len(rows)
    return RiseBook(
        path="levels.csv",
        line=np.arange(2, len(rows) + 2, dtype=np.int64),
        from_=np.array([row[0] for row in rows], dtype=object),
        to=np.array([row[1] for row in rows], dtype=object),
        rise_m=np.array([row[2] for row in rows], dtype=np.float64),
        distance_m=np.array(distance_m or nothing, dtype=np.float64),
        setups=np.array(setups or nothing, dtype=np.float64),
    )


def traverse(
    rows: Sequence[tuple[str, str, float, float]] | TraverseBook,
    *,
    known: Known | None = None,
    shape: Shape = Shape.LOOP,
    angles: AngleKind = AngleKind.RIGHT,
    start: str | tuple[float, float] = (0.0, 0.0),
    close: str | tuple[float, float] | None = None,
    **more: Any,
) -> Measure:
    """Return the measure of a traverse; `more` are further fields of the section."""
    section = Traverse(
        where=Where(file="job.toml", line=10),
        name="Traverse 1",
        file="traverse.csv",
        unit=more.pop("unit", LengthUnit.METRE),
        shape=shape,
        angles=angles,
        start=start if isinstance(start, str) else place(*start),
        close=close if close is None or isinstance(close, str) else place(*close),
        **more,
    )
    book = rows if isinstance(rows, TraverseBook) else traverse_book(rows)
    return measure_traverse(section, inputs("Traverse 1", book, known))


def levels(
    book: LevelBook | RiseBook,
    *,
    known: Known | None = None,
    start: str | float = 100.0,
    close: str | float | None = None,
    **more: Any,
) -> Measure:
    """Return the measure of a level run; `more` are further fields of the section."""
    section = Levels(
        where=Where(file="job.toml", line=20),
        name="Levels 1",
        file="levels.csv",
        unit=more.pop("unit", LengthUnit.METRE),
        start=start,
        close=close,
        **more,
    )
    return measure_levels(section, inputs("Levels 1", book, known))


def place(n: float, e: float) -> Position:
    """Return a position of the job without an elevation."""
    return Position(northing_m=n, easting_m=e, elevation_m=NAN)


def inputs(name: str, book: Book, known: Known | None) -> Inputs:
    """Return inputs with one book and perhaps control."""
    return Inputs(
        files=(),
        control=None if known is None else control_points(known),
        books={name: book},
    )


def summary(measure: Measure) -> dict[str, float]:
    """Return the summary's numbers by key; None as NaN."""
    found = {}
    for entry in measure.summary:
        assert not isinstance(entry.value, str)
        found[entry.key] = NAN if entry.value is None else float(entry.value)
    return found


def values(measure: Measure, key: str) -> FloatArray:
    """Return a column of numbers."""
    return np.asarray(measure.column(key).values, dtype=np.float64)


def comparison(measure: Measure, limit: str) -> Comparison:
    """Return the comparison that a tolerance's key limits."""
    return next(entry for entry in measure.comparisons if entry.limit == limit)


# ---------------------------------------------------------------- books from known coordinates

Place = tuple[float, float]


def angle_at(kind: AngleKind, back: Place, station: Place, ahead: Place, *, cw: bool) -> float:
    """Return the angle that stands in a book, radians, from coordinates (n, e).

    Worked out from the two directions by complex numbers, another way than the code under test.
    """
    into = complex(*back) - complex(*station)
    out = complex(*ahead) - complex(*station)
    # With north real and east imaginary a turn to the right is a positive angle.
    right = np.angle(out / into) % (2 * math.pi)
    if kind is AngleKind.LEFT or (kind is AngleKind.INTERIOR and cw):
        return float(-right % (2 * math.pi))
    if kind is AngleKind.DEFLECTION:
        return float(np.angle(out / -into))
    return float(right)


def direction(start: Place, end: Place) -> float:
    """Return the azimuth of a line, radians from 0 to 2 pi."""
    return float(np.angle(complex(*end) - complex(*start)) % (2 * math.pi))


def length(start: Place, end: Place) -> float:
    """Return the length of a line."""
    return math.dist(start, end)
