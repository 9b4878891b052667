"""Where stakes should stand: design points, tables by station and offset, stakes set off a line."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column
from checker.checks.course import Course, course_of, stake_distance
from checker.checks.deltas import Deltas, Lined, picked
from checker.checks.frame import ground_scale, to_grid_m
from checker.checks.selecting import need_points
from checker.errors import InputError, Problem, Where
from checker.geometry.feet import Foot
from checker.geometry.plane import along_across
from checker.model.alignment import StakeTable
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Job, Stakeout
from checker.model.measure import Column, Comparison, Quantity
from checker.model.points import Points, Quality
from checker.text import fixed
from checker.units import LengthUnit

_JOINT_M = 1e-6
"""A stake so near behind the end of an arc stands in its end."""
OTHER_SIDE = 0.3
"""A stake that stands off its feature on the other side, by its offset to within this share of it,
was set on the wrong side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Staked:
    """The design of a section, and how it lies to the section's alignment.

    points: where the stakes should stand, on the grid. feature: what they stand for; the same
    points unless they are set off. distance_m, offset_m: of the stakes, along the alignment and
    from it, shape (points,), NaN without one; azimuth_rad: of the alignment beside them.
    set_off_m: how far right (+) of its feature a stake stands; 0: it is the feature.
    said: shape (points,), what must be said of a point.
    """

    points: Points
    feature: Points
    course: Course | None
    distance_m: FloatArray
    offset_m: FloatArray
    azimuth_rad: FloatArray
    set_off_m: float
    said: TextArray


def staked_design(section: Stakeout, inputs: Inputs, job: Job) -> Staked:
    """Return where the stakes of a section should stand; raises InputError."""
    course = None if section.alignment is None else course_of(section.alignment, inputs, job)
    if section.stakes is not None:
        table = inputs.stakes[section.name]
        feature, distance, offset = _from_table(table, course, section, job)
    else:
        feature = need_points(inputs.design, "design", section.where)
        distance = offset = np.full(len(feature), np.nan)
    said: TextArray = np.full(len(feature), "", dtype=object)
    azimuth = np.full(len(feature), np.nan)
    if course is not None:
        feature, distance, offset = _on_course(feature, distance, offset, course, said)
        azimuth = course.alignment.azimuth_at(distance)
    set_off = section.stake_offset_m or 0.0
    return Staked(
        points=_set_off(feature, azimuth, set_off, job),
        feature=feature,
        course=course,
        distance_m=distance,
        offset_m=offset + set_off,
        azimuth_rad=azimuth,
        set_off_m=set_off,
        said=said,
    )


def _from_table(
    table: StakeTable, course: Course | None, section: Stakeout, job: Job
) -> tuple[Points, FloatArray, FloatArray]:
    """Return a table's stakes on the grid, with distance and offset where it states stations."""
    rows = len(table)
    distance = np.full(rows, np.nan)
    problems: list[Problem] = []
    by_station = ~np.isnan(table.station_m)
    if by_station.any() and course is None:
        raise InputError(
            [
                Problem(
                    slug="stakes-without-alignment",
                    where=section.where,
                    message=f'"{table.path}" gives stations, and the section names no alignment '
                    "on which they count",
                    hint='add alignment = "..."',
                )
            ]
        )
    for row in np.flatnonzero(by_station).tolist():
        assert course is not None  # noqa: S101 - refused above
        where = Where(file=table.path, line=int(table.line[row]))
        try:
            distance[row] = stake_distance(
                course, float(table.station_m[row]), str(table.side[row]), where
            )
        except InputError as fault:
            problems.extend(fault.problems)
    if problems:
        raise InputError(problems)
    xy = to_grid_m(np.column_stack((table.easting_m, table.northing_m)), job.reference.ground)
    northing, easting = xy[:, 1].copy(), xy[:, 0].copy()
    if course is not None:
        on_n, on_e = course.place(distance, table.offset_m)
        northing[by_station], easting[by_station] = on_n[by_station], on_e[by_station]
    blank: TextArray = np.full(rows, "", dtype=object)
    points = Points(
        id=table.id,
        northing_m=northing,
        easting_m=easting,
        elevation_m=table.elevation_m,
        description=table.description,
        layer=blank,
        handle=blank,
        file=np.zeros(rows, dtype=np.int64),
        line=table.line,
        files=(table.path,),
        quality=Quality(),
    )
    return points, distance, np.where(by_station, table.offset_m, np.nan)


def _on_course(
    points: Points, distance: FloatArray, offset: FloatArray, course: Course, said: TextArray
) -> tuple[Points, FloatArray, FloatArray]:
    """Return the points with the profile's elevations where they have none, and where they lie."""
    feet = course.feet(points.northing_m, points.easting_m)
    stated = ~np.isnan(distance)
    distance = np.where(stated, distance, feet.distance_m)
    offset = np.where(stated, offset, feet.offset_m)
    for row in np.flatnonzero((feet.rivals > 0) & ~stated).tolist():
        said[row] = f"lies as near to two places of {course.name}"
    for row in np.flatnonzero(~stated & (feet.kind >= Foot.BEFORE)).tolist():
        end = "before the start" if feet.kind[row] == Foot.BEFORE else "past the end"
        said[row] = f"lies {end} of {course.name}"
    level = course.elevation(distance, offset)
    elevation = np.where(np.isnan(points.elevation_m), level, points.elevation_m)
    return replace(points, elevation_m=elevation), distance, offset


def _set_off(feature: Points, azimuth: FloatArray, set_off_m: float, job: Job) -> Points:
    """Return the points moved that far to the right of the azimuth; elevations stay."""
    if not set_off_m:
        return feature
    ground = job.reference.ground
    move = set_off_m * (1.0 if ground is None else ground.combined_factor)
    return replace(
        feature,
        northing_m=feature.northing_m - move * np.sin(azimuth),
        easting_m=feature.easting_m + move * np.cos(azimuth),
    )


# ---------------------------------------------------------------- what the rows show


def lined(staked: Staked, known: IntArray, found: Deltas) -> Lined:
    """Return how shots lie to the alignment; known: indices of design points, -1 for none."""
    nothing = np.full(len(known), np.nan)
    course = staked.course
    if course is None:
        return Lined(
            along=nothing, across=nothing, station=nothing, offset=nothing, azimuth=nothing
        )
    azimuth = picked(staked.azimuth_rad, known)
    scale = float(ground_scale(course.ground)[0])
    along, across = along_across(scale * found.dn, scale * found.de, azimuth)
    feet = course.feet(found.measured_n, found.measured_e)
    return Lined(
        along=along,
        across=across,
        station=feet.station_m,
        offset=feet.offset_m,
        azimuth=azimuth,
    )


def line_comparisons(rows: Lined, found: Deltas) -> tuple[Comparison, Comparison]:
    """Return along and across with their uncertainties."""
    along = found.sigma.along(rows.azimuth)
    across = found.sigma.along(rows.azimuth + 0.5 * np.pi)
    pair = found.sigma.between(rows.azimuth)
    return (
        Comparison(
            limit="along", label="along", value=rows.along, sigma=along, pair_correlation=pair
        ),
        Comparison(
            limit="across", label="across", value=rows.across, sigma=across, pair_correlation=pair
        ),
    )


def design_columns(staked: Staked, known: IntArray) -> tuple[Column, ...]:
    """Return where the design lies along the alignment, its grade, and what stakes stand for."""
    course = staked.course
    if course is None:
        return ()
    distance = picked(staked.distance_m, known)
    station = np.where(
        np.isnan(distance), np.nan, course.alignment.stationing.station(np.nan_to_num(distance))
    )
    made = [
        column("design_station", "Design station", Quantity.STATION, station),
        column("design_offset", "Design offset", Quantity.LENGTH, picked(staked.offset_m, known)),
    ]
    deflection, chord = on_arcs(course, distance)
    if np.isfinite(deflection).any():
        made += [
            column("deflection", "Deflection in the arc", Quantity.ANGLE, deflection, detail=True),
            column("arc_chord", "Chord in the arc", Quantity.DISTANCE, chord, detail=True),
        ]
    if course.profile is not None:
        made.append(column("grade", "Grade", Quantity.GRADE, course.grade(distance)))
    if staked.set_off_m:
        feature, place = staked.feature, Quantity.COORDINATE
        made += [
            column("feature_n", "Feature N", place, picked(feature.northing_m, known), detail=True),
            column("feature_e", "Feature E", place, picked(feature.easting_m, known), detail=True),
            column(
                "feature_z", "Feature Z", place, picked(feature.elevation_m, known), detail=True
            ),
            column(
                "feature_offset",
                "Feature offset",
                Quantity.LENGTH,
                picked(staked.offset_m - staked.set_off_m, known),
            ),
            column("side", "Stake stands", Quantity.TEXT, _sides(known, staked.set_off_m)),
        ]
    return tuple(made)


def on_arcs(course: Course, distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return deflection angle (+ right) and chord from the beginning of the arc; NaN off arcs.

    The deflection from the tangent is half the angle of the arc run so far, the chord 2 R sin of it
    (common practice, no source).
    """
    elements, starts = course.alignment.elements, course.alignment.starts_m
    element, t = course.alignment.locate(np.nan_to_num(distance))
    # The end of an arc is its own, though the joint belongs to the element ahead.
    ended = (t <= _JOINT_M) & (element > 0) & (elements.curvature_in[element] == 0.0)
    element = np.where(ended, element - 1, element)
    t = np.where(ended, elements.length_m[element], t)
    k = elements.curvature_in[element]
    on = (k != 0.0) & ~elements.is_spiral[element] & np.isfinite(distance)
    on &= (distance >= 0.0) & (distance <= starts[-1])
    deflection = np.where(on, k * t / 2.0, np.nan)
    radius = np.abs(1.0 / np.where(k != 0.0, k, np.inf))
    return deflection, np.where(on, 2.0 * radius * np.sin(np.abs(deflection)), np.nan)


def _sides(known: IntArray, set_off_m: float) -> TextArray:
    sides: TextArray = np.full(len(known), "", dtype=object)
    sides[known >= 0] = side_word(set_off_m)
    return sides


def side_word(offset_m: float) -> str:
    """Return left or right."""
    return "left" if offset_m < 0 else "right"


def wrong_side(across_m: FloatArray, set_off_m: float) -> TextArray:
    """Return what to say of stakes on the other side of their feature, or ""; shape (rows,).

    across_m: of the stake from where it should stand. On the other side it is about twice the
    offset, and of the other sign.
    """
    said: TextArray = np.full(len(across_m), "", dtype=object)
    if not set_off_m:
        return said
    there = np.abs(across_m + 2.0 * set_off_m) <= OTHER_SIDE * abs(set_off_m)
    said[there] = (
        f"set on the other side: {side_word(-set_off_m)} of what it stands for, "
        f"the design says {side_word(set_off_m)}"
    )
    return said


def offset_remark(set_off_m: float, what: str, unit: LengthUnit) -> str:
    """Return what stakes set off a line are compared with."""
    size = f"{fixed(float(unit.from_metres(abs(set_off_m))), 3)} {unit.short}"
    return (
        f"These are offset stakes, {size} {side_word(set_off_m)} of {what}. In plan each is "
        "compared with that place; cut and fill are to what it stands for."
    )
