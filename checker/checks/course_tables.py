"""The curves of an alignment and of its profile, as a plan's table of curves gives them.

Formulas of the simple curve, see `geometry.curves`. Vertical curve of length L = l1 + l2 between
the grades g1 and g2: parabola, offset at the PVI l1 l2 (g2 - g1) / 2 L, rate K = L / |g2 - g1| in
percent (common practice, no source).
"""

from collections.abc import Sequence

import numpy as np

from checker.checks.closing import column
from checker.checks.course import Course, up_station
from checker.geometry.curves import STATION_M, CircularCurve
from checker.geometry.elements import place
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.measure import Quantity, Supplement
from checker.units import LengthUnit

_NEAR_M = 1e-6


def course_tables(course: Course, inputs: Inputs) -> tuple[Supplement, ...]:
    """Return the tables of horizontal and of vertical curves, as far as there are any."""
    return (*_curves(course), *_vertical(course, inputs))


def arcs_of(course: Course) -> IntArray:
    """Return the indices of the elements that are arcs."""
    elements = course.alignment.elements
    return np.flatnonzero(~elements.is_spiral & (elements.curvature_in != 0.0))


def _stations(course: Course, distance_m: Sequence[float] | FloatArray) -> FloatArray:
    return course.alignment.stationing.station(np.asarray(distance_m, dtype=np.float64))


def _curves(course: Course) -> tuple[Supplement, ...]:
    """Return the arcs with the elements that a plan gives them."""
    arcs = arcs_of(course)
    if not arcs.size:
        return ()
    elements = course.alignment.elements
    k, length = elements.curvature_in[arcs], elements.length_m[arcs]
    curves = [
        CircularCurve(radius_m=1.0 / abs(bend), delta_rad=abs(bend) * size)
        for bend, size in zip(k.tolist(), length.tolist(), strict=True)
    ]
    begin = course.alignment.starts_m[arcs]
    half = np.array([each.delta_rad < np.pi - 1e-9 for each in curves])
    tangent = np.where(half, [each.tangent_m for each in curves], np.nan)
    azimuth = elements.azimuth_rad[arcs]
    toward = np.column_stack((np.sin(azimuth), np.cos(azimuth)))
    start = place(elements, arcs, np.zeros(len(arcs)))
    corner_n, corner_e = course.on_grid(start + tangent[:, None] * toward)
    right = np.column_stack((np.cos(azimuth), -np.sin(azimuth)))
    centre_n, centre_e = course.on_grid(start + right / k[:, None])
    turn: TextArray = np.where(k > 0.0, "right", "left").astype(object)
    names: TextArray = np.array([f"C{number}" for number in range(1, len(arcs) + 1)], dtype=object)
    distance, angle, spot = Quantity.DISTANCE, Quantity.ANGLE, Quantity.COORDINATE

    def each_of(name: str) -> FloatArray:
        return np.array([getattr(each, name) for each in curves], dtype=np.float64)

    # The chord definition has no curve of a radius below half a chord.
    hundred = STATION_M if course.unit is LengthUnit.METRE else 100.0 * course.unit.metres
    small = each_of("radius_m") <= hundred / 2.0
    chord_degree = np.array(
        [
            np.nan if tight else each.degree_of_chord_rad(hundred)
            for each, tight in zip(curves, small.tolist(), strict=True)
        ]
    )
    return (
        Supplement(
            key="curves",
            title=f"Curves of alignment {course.name}",
            head="Curve",
            id=names,
            columns=(
                column("begin_station", "Begins", Quantity.STATION, _stations(course, begin)),
                column("end_station", "Ends", Quantity.STATION, _stations(course, begin + length)),
                column("turn", "Turns", Quantity.TEXT, turn),
                column("radius", "Radius", distance, each_of("radius_m")),
                column("delta", "Central angle", angle, each_of("delta_rad")),
                column("length", "Arc", distance, length),
                column("tangent", "Tangent", distance, tangent),
                column("chord", "Long chord", distance, each_of("chord_m")),
                column("ordinate", "Middle ordinate", distance, each_of("middle_m")),
                column(
                    "external", "External", distance, np.where(half, each_of("external_m"), np.nan)
                ),
                column(
                    "degree_arc",
                    "Degree, arc",
                    angle,
                    np.array([each.degree_of_arc_rad(hundred) for each in curves]),
                ),
                column("degree_chord", "Degree, chord", angle, chord_degree),
                column("pi_n", "PI N", spot, corner_n, detail=True),
                column("pi_e", "PI E", spot, corner_e, detail=True),
                column("centre_n", "Centre N", spot, centre_n, detail=True),
                column("centre_e", "Centre E", spot, centre_e, detail=True),
            ),
            note="The degree of curve is that of 100 ft, by its arc and by its chord.",
            detail=True,
        ),
    )


def _vertical(course: Course, inputs: Inputs) -> tuple[Supplement, ...]:
    """Return the vertical curves with their ends, rate, and high or low point."""
    table = inputs.profiles.get(course.name)
    if table is None or course.profile is None:
        return ()
    rows = np.flatnonzero(table.length_in_m + table.length_out_m > 0.0)
    if not rows.size:
        return ()
    line = course.profile
    at = up_station(
        table,
        "point of vertical intersection",
        "profile-order",
        course.alignment.stationing,
        course.unit,
    )[rows]
    before, behind = table.length_in_m[rows], table.length_out_m[rows]
    begin, end, length = at - before, at + behind, before + behind
    grade_in, grade_out = line.grade_at(begin), line.grade_at(np.minimum(end, line.end_m))
    change = grade_out - grade_in
    with np.errstate(divide="ignore"):
        rate = np.where(change != 0.0, length / np.abs(change * 100.0), np.nan)
    turn_at, turn_level = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    kind: TextArray = np.full(len(rows), "", dtype=object)
    for turn in line.turns():
        inside = (turn.station_m >= begin - _NEAR_M) & (turn.station_m <= end + _NEAR_M)
        for row in np.flatnonzero(inside).tolist():
            turn_at[row], turn_level[row], kind[row] = turn.station_m, turn.elevation_m, turn.kind
    turn_station = np.full(len(rows), np.nan)
    some = np.flatnonzero(~np.isnan(turn_at))
    turn_station[some] = _stations(course, turn_at[some])
    names: TextArray = np.array([f"VC{number}" for number in range(1, len(rows) + 1)], dtype=object)
    spot, station, grade = Quantity.COORDINATE, Quantity.STATION, Quantity.GRADE
    return (
        Supplement(
            key="vertical_curves",
            title=f"Vertical curves of alignment {course.name}",
            head="Curve",
            id=names,
            columns=(
                column("pvi_station", "PVI", station, _stations(course, at)),
                column("pvi_elevation", "PVI elevation", spot, table.elevation_m[rows]),
                column("grade_in", "Grade in", grade, grade_in),
                column("grade_out", "Grade out", grade, grade_out),
                column("length", "Length", Quantity.DISTANCE, length),
                column("begin_station", "Begins", station, _stations(course, begin)),
                column("begin_elevation", "Elevation there", spot, line.elevation(begin)),
                column("end_station", "Ends", station, _stations(course, end)),
                column(
                    "end_elevation",
                    "Elevation there",
                    spot,
                    line.elevation(np.minimum(end, line.end_m)),
                ),
                column(
                    "ordinate",
                    "Curve off the PVI",
                    Quantity.LENGTH,
                    before * behind * change / (2.0 * length),
                ),
                column("k", "K per percent", Quantity.DISTANCE, rate),
                column("turn", "Turning point", Quantity.TEXT, kind),
                column("turn_station", "Turns at", station, turn_station),
                column("turn_elevation", "Elevation there", spot, turn_level),
            ),
            detail=True,
        ),
    )
