"""Figures of courses, as in a deed: straight lines and curves, their closure and area.

A curve is what the description gives of it: a radius and a turn with an arc, a central angle or a
chord, and its direction either by the chord's azimuth or by being tangent to the course before.
Misclosure is computed minus known: where the last course ends, minus where the figure began.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checker.geometry.arrays import BoolArray, FloatArray, GeometryError
from checker.geometry.curves import CircularCurve, CurveError, segment_area, solve_curve
from checker.geometry.plane import wrap_azimuth, wrap_signed


class FigureError(GeometryError):
    """A course that cannot be followed; `course` counts from 1."""

    def __init__(self, course: int, message: str, hint: str = "") -> None:
        """Keep which course it is, for the caller's place in the file."""
        self.course = course
        super().__init__(f"course {course}: {message}", hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One course as described; None: not given. Metres, radians.

    A straight course has azimuth_rad and distance_m. A curve has turn (+1 right, -1 left), two of
    radius_m, arc_m, delta_rad, chord_m (more are checked), and chord_azimuth_rad, tangent, or
    radial_azimuth_rad, the azimuth from its beginning to its centre. long tells that a curve fixed
    by radius and chord takes the longer way round; delta_leads, that of an arc and a central angle
    the angle is written the closer.
    """

    azimuth_rad: float | None = None
    distance_m: float | None = None
    turn: int | None = None
    radius_m: float | None = None
    arc_m: float | None = None
    delta_rad: float | None = None
    chord_m: float | None = None
    chord_azimuth_rad: float | None = None
    radial_azimuth_rad: float | None = None
    tangent: bool = False
    long: bool = False
    delta_leads: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure run from its point of beginning; arrays of shape (courses,).

    xy_m: shape (courses + 1, 2), (easting, northing). length_m: along the course, so an arc's own
    length. azimuth_in_rad, azimuth_out_rad: tangents at its start and its end. bulge: + left turn.
    break_rad: by how much the tangent turns from the end of the course before to the start of this
    one, + right, NaN for the first. tangent: the break is small though a curve is involved: a
    tangent curve. disagreement_m: the largest amount by which what is stated beyond need of a curve
    differs from what follows, 0 for a straight course.
    misclosure_m: (easting, northing). area_m2: positive, inside the figure closed by a straight
    line over its misclosure; counter_clockwise: the sense of the courses.
    """

    xy_m: FloatArray
    length_m: FloatArray
    chord_m: FloatArray
    azimuth_in_rad: FloatArray
    azimuth_out_rad: FloatArray
    bulge: FloatArray
    break_rad: FloatArray
    tangent: BoolArray
    disagreement_m: FloatArray
    misclosure_m: FloatArray
    area_m2: float
    counter_clockwise: bool

    @property
    def perimeter_m(self) -> float:
        """Length of all courses, arcs along the arc."""
        return float(np.sum(self.length_m))

    @property
    def misclosure_length_m(self) -> float:
        """Length of the misclosure."""
        return float(np.hypot(*self.misclosure_m))

    @property
    def ratio(self) -> float:
        """The N of the closure 1:N; infinite where the figure closes exactly."""
        miss = self.misclosure_length_m
        return self.perimeter_m / miss if miss > 0.0 else float("inf")


_TANGENT_RAD = np.radians(30.0 / 3600.0)


def run_figure(
    courses: Sequence[Course],
    start_xy_m: tuple[float, float] = (0.0, 0.0),
    *,
    tangent_rad: float = _TANGENT_RAD,
) -> Figure:
    """Return the figure of courses in the order in which they are described.

    tangent_rad: a curve whose tangent breaks by less than this is called tangent (30 seconds, what
    bearings written to the second leave after rounding; our choice, no source). FigureError for a
    course that lacks something, and for a first curve that is only said to be tangent.
    """
    if not courses:
        raise FigureError(1, "the figure has no courses")
    here = np.array(start_xy_m, dtype=np.float64)
    places, rows = [here], []
    direction: float | None = None
    for number, course in enumerate(courses, start=1):
        row = _course(number, course, direction)
        step = np.array([np.sin(row.chord_azimuth_rad), np.cos(row.chord_azimuth_rad)])
        here = here + row.chord_m * step
        places.append(here)
        rows.append(row)
        direction = row.azimuth_out_rad
    xy = np.array(places)
    entry = np.array([row.azimuth_in_rad for row in rows])
    leave = np.array([row.azimuth_out_rad for row in rows])
    curved = np.array([row.turn != 0 for row in rows])
    breaks = np.concatenate(([np.nan], wrap_signed(entry[1:] - leave[:-1])))
    beside = curved | np.concatenate(([False], curved[:-1]))
    signed = _signed_area(xy, rows)
    return Figure(
        xy_m=xy,
        length_m=np.array([row.length_m for row in rows]),
        chord_m=np.array([row.chord_m for row in rows]),
        azimuth_in_rad=wrap_azimuth(entry),
        azimuth_out_rad=wrap_azimuth(leave),
        bulge=np.array([-row.turn * np.tan(row.delta_rad / 4.0) for row in rows]),
        break_rad=breaks,
        tangent=beside & (np.abs(breaks) <= tangent_rad),
        disagreement_m=np.array([row.disagreement_m for row in rows]),
        misclosure_m=xy[-1] - xy[0],
        area_m2=abs(signed),
        counter_clockwise=signed > 0.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A course with everything worked out; turn 0 for a straight one."""

    chord_azimuth_rad: float
    chord_m: float
    length_m: float
    azimuth_in_rad: float
    azimuth_out_rad: float
    turn: int
    radius_m: float
    delta_rad: float
    disagreement_m: float


def _course(number: int, course: Course, before_rad: float | None) -> _Row:
    """Return one course worked out; before_rad: the direction in which the one before ends."""
    if course.turn is None and course.radius_m is None:
        if course.azimuth_rad is None or course.distance_m is None:
            raise FigureError(
                number,
                "a straight course needs a bearing or azimuth and a distance",
                "a curve needs a radius and a turn (left or right)",
            )
        if not course.distance_m > 0.0:
            raise FigureError(
                number, f"the distance is {course.distance_m:g}, expected more than 0"
            )
        return _Row(
            chord_azimuth_rad=course.azimuth_rad,
            chord_m=course.distance_m,
            length_m=course.distance_m,
            azimuth_in_rad=course.azimuth_rad,
            azimuth_out_rad=course.azimuth_rad,
            turn=0,
            radius_m=np.inf,
            delta_rad=0.0,
            disagreement_m=0.0,
        )
    if course.turn not in {1, -1}:
        raise FigureError(number, "a curve needs its turn", "say left or right")
    curve, off = _curve(number, course)
    half = course.turn * curve.delta_rad / 2.0
    if course.chord_azimuth_rad is not None:
        chord_azimuth = course.chord_azimuth_rad
    elif course.radial_azimuth_rad is not None:
        chord_azimuth = course.radial_azimuth_rad - course.turn * np.pi / 2.0 + half
    elif course.tangent and before_rad is not None:
        chord_azimuth = before_rad + half
    elif course.tangent:
        raise FigureError(
            number,
            "a first curve cannot be tangent to a course before it",
            "give its chord bearing, or begin the figure with another course",
        )
    else:
        raise FigureError(
            number,
            "a curve needs its chord bearing, or to be tangent",
            "or the radial bearing at its beginning",
        )
    return _Row(
        chord_azimuth_rad=chord_azimuth,
        chord_m=curve.chord_m,
        length_m=curve.length_m,
        azimuth_in_rad=chord_azimuth - half,
        azimuth_out_rad=chord_azimuth + half,
        turn=course.turn,
        radius_m=curve.radius_m,
        delta_rad=curve.delta_rad,
        disagreement_m=off,
    )


def _curve(number: int, course: Course) -> tuple[CircularCurve, float]:
    """Return the curve of a course, and by how much what is stated beyond need disagrees.

    Of more than two elements the radius goes with the arc before the angle before the chord; with
    the angle before the arc where that is written the closer, as it is of small radii.
    """
    arc, delta = {"length_m": course.arc_m}, {"delta_rad": course.delta_rad}
    first, second = (delta, arc) if course.delta_leads else (arc, delta)
    given = {"radius_m": course.radius_m, **first, **second, "chord_m": course.chord_m}
    known = {name: value for name, value in given.items() if value is not None}
    if len(known) < 2:
        raise FigureError(
            number, "a curve needs a radius and one of arc, central angle (delta) and chord"
        )
    two = dict(list(known.items())[:2])
    try:
        curve = solve_curve(**two)
    except CurveError as error:
        raise FigureError(number, str(error), error.hint) from error
    if course.long and set(two) == {"radius_m", "chord_m"}:
        curve = CircularCurve(radius_m=curve.radius_m, delta_rad=2.0 * np.pi - curve.delta_rad)
    follows = {
        "length_m": curve.length_m,
        "delta_rad": curve.delta_rad,
        "chord_m": curve.chord_m,
        "radius_m": curve.radius_m,
    }
    off = [
        abs(value - follows[name]) * (curve.radius_m if name == "delta_rad" else 1.0)
        for name, value in known.items()
        if name not in two
    ]
    return curve, max(off, default=0.0)


def _signed_area(xy: FloatArray, rows: Sequence[_Row]) -> float:
    """Return the area inside the courses, counter-clockwise positive, arcs included exactly."""
    east, north = (xy - xy[0]).T
    chords = np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]) / 2.0
    # A left turn bulges out of a counter-clockwise figure, so it adds.
    arcs = sum(
        -row.turn * float(segment_area(row.radius_m, row.delta_rad)) for row in rows if row.turn
    )
    return float(chords) + arcs
