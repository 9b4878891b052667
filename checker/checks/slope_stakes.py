"""Slope stakes: where the side slope meets the ground, by the elevation found at the stake itself.

The catch point lies out from the hinge by the slope times the cut or fill at the stake, d = s |h|,
not by that at the centre line: common practice of the trade, no source; checked against worked
examples in tests/published.
"""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column, refuse
from checker.checks.course import Course, course_of
from checker.checks.deltas import (
    Deltas,
    Lined,
    counts_item,
    deltas,
    missing_heights,
    point_columns,
    sigmas_of,
)
from checker.checks.frame import ground_scale, to_ground_m
from checker.checks.line_common import (
    Rows,
    across_items,
    aside,
    description_column,
    in_two_places,
    off_the_ends,
    row_names,
    shots_of,
    staked_again,
    wanted_points,
)
from checker.checks.older_courses import SAME_M, older_course
from checker.checks.shots import select_shots, sigma_level_of
from checker.checks.staking import line_comparisons
from checker.geometry.feet import Feet, Foot
from checker.geometry.grade import slope_stake_offset
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import Job, SlopeStakes
from checker.model.measure import Comparison, Earlier, Measure, Quantity
from checker.text import fixed


@dataclass(frozen=True, slots=True, kw_only=True)
class _Catch:
    """Where stakes should stand; every array of shape (rows,).

    hinge_m, hinge_z_m: offset (+ right) and elevation of the hinge; slope: run to rise of the side
    slope that governs; cut: whether it is the cut's; offset_m: of the catch point.
    """

    hinge_m: FloatArray
    hinge_z_m: FloatArray
    slope: FloatArray
    cut: BoolArray
    offset_m: FloatArray


def measure_slope_stakes(section: SlopeStakes, inputs: Inputs, job: Job) -> Measure:
    """Compare slope stakes with the catch points that follow from their own elevations.

    Raises InputError where the alignment has no profile, or a selection finds nothing.
    """
    course = course_of(section.alignment, inputs, job)
    if course.profile is None:
        refuse(
            "no-profile",
            section.where,
            f"slope stakes hang on the profile of {course.name}, which has none",
            'give the alignment profile = "..."',
        )
    shots = select_shots(section, section.measured, inputs, job)
    rows = shots_of(section.measured, inputs, shots)
    points = shots.points
    northing, easting = points.northing_m[rows.shot], points.easting_m[rows.shot]
    feet = course.feet(northing, easting)
    catch = _catch(section, course, feet, points.elevation_m[rows.shot])
    name = row_names(shots, rows)
    n, e = _beside(course, feet, northing, easting, catch.offset_m)
    design = wanted_points(name, n, e, catch.hinge_z_m)
    sigma = sigmas_of(points, rows.shot, sigma_level_of(section, job))
    found = deltas(design, np.arange(len(name)), points, rows.shot, sigma)
    across = feet.offset_m - catch.offset_m
    shown = Lined(
        along=np.full(len(name), np.nan),
        across=across,
        station=feet.station_m,
        offset=feet.offset_m,
        azimuth=course.alignment.azimuth_at(feet.distance_m),
    )
    earlier, useless = _earlier(section, inputs, job, rows, across)
    unchecked = off_the_ends(rows, feet, course, job.unit)
    compared = unchecked == ""
    governing = compared & ~rows.superseded & np.isfinite(across)
    return Measure(
        kind="slope_stake",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            *point_columns(found, name, rows.superseded, name, known="Catch", lined=shown),
            column("catch_offset", "Catch offset", Quantity.LENGTH, catch.offset_m),
            column("hinge_offset", "Hinge offset", Quantity.LENGTH, catch.hinge_m, detail=True),
            column("out", "Out from hinge", Quantity.LENGTH, np.abs(feet.offset_m - catch.hinge_m)),
            column("side_slope", "Side slope", Quantity.TEXT, _slopes(catch)),
            description_column(points.description[rows.shot]),
        ),
        summary=(
            counts_item("shots", "Shots compared", int(governing.sum())),
            *across_items(across[governing]),
        ),
        comparisons=_comparisons(shown, found, catch),
        judged_by_row=True,
        shots=rows.shot[:, None],
        used=np.unique(rows.shot[compared]),
        unchecked=unchecked,
        undecided=in_two_places(feet, course),
        said=staked_again(rows),
        counted=~rows.superseded & (rows.unchecked == ""),
        remarks=(_HOW, *course.remarks, *useless),
        earlier=earlier,
    )


def _beside(
    course: Course, feet: Feet, northing: FloatArray, easting: FloatArray, offset: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return northings and eastings at offsets (+ right) beside each shot's own place of the line.

    They lie square to the line; outside a corner of it towards the shot.
    """
    xy = to_ground_m(np.column_stack((easting, northing)), course.ground)
    direction = course.alignment.azimuth_at(feet.distance_m)
    on = course.alignment.point_at(feet.distance_m)
    right = aside(xy, on, feet.offset_m, direction, feet.kind == Foot.VERTEX)
    return course.on_grid(on + offset[:, None] * right)


_HOW = (
    "The catch point is where the side slope from the hinge reaches the elevation found at the "
    "stake; cut and fill are against the hinge. The ground between is not looked at."
)


def _catch(section: SlopeStakes, course: Course, feet: Feet, elevation: FloatArray) -> _Catch:
    """Return the hinge on each stake's side of the line, and the catch point at its elevation."""
    left = feet.offset_m < 0.0
    hinge = np.where(left, -section.hinge_left_m, section.hinge_right_m)
    level = course.elevation(feet.distance_m, hinge)
    rise = elevation - level
    cut = rise > 0.0
    slope = np.where(cut, section.cut, section.fill)
    out = slope_stake_offset(np.abs(hinge), slope, rise)
    return _Catch(
        hinge_m=hinge,
        hinge_z_m=level,
        slope=slope,
        cut=np.asarray(cut, dtype=np.bool_),
        offset_m=np.where(left, -out, out),
    )


def _earlier(
    section: SlopeStakes, inputs: Inputs, job: Job, rows: Rows, across: FloatArray
) -> tuple[tuple[Earlier, ...], tuple[str, ...]]:
    """Return how stakes stand to the catch points of earlier revisions, and which are no use."""
    assert inputs.measured is not None  # noqa: S101  (it was measured)
    points, found, remarks = inputs.measured, [], []
    for revision in inputs.older:
        course = older_course(section.alignment, revision, inputs, job)
        if isinstance(course, str):
            remarks.append(course)
        elif course is not None:
            feet = course.feet(points.northing_m[rows.shot], points.easting_m[rows.shot])
            catch = _catch(section, course, feet, points.elevation_m[rows.shot])
            then = feet.offset_m - catch.offset_m
            then = np.where(np.abs(then - across) > SAME_M, then, np.nan)
            away = np.abs(then) / ground_scale(job.reference.ground)[0]
            found.append(
                Earlier(
                    words=revision.of.words,
                    comparisons=(
                        Comparison(limit="across", label="across", value=then),
                        Comparison(limit="horizontal", label="horizontal", value=away),
                    ),
                )
            )
    return tuple(found), tuple(remarks)


def _slopes(catch: _Catch) -> TextArray:
    """Return the side slope of every row in words."""
    texts: TextArray = np.full(len(catch.slope), "", dtype=object)
    for row in np.flatnonzero(np.isfinite(catch.offset_m)).tolist():
        run = fixed(float(catch.slope[row]), 2).rstrip("0").rstrip(".")
        texts[row] = f"{'cut' if catch.cut[row] else 'fill'} {run}:1"
    return texts


def _comparisons(shown: Lined, found: Deltas, catch: _Catch) -> tuple[Comparison, Comparison]:
    """Return the offset from the catch point; an error in height moves that point as well."""
    _, across = line_comparisons(shown, found)
    sigma = None if across.sigma is None else np.hypot(across.sigma, catch.slope * found.sigma.z)
    absent, verdict = missing_heights(
        np.isnan(found.measured_z),
        np.isnan(catch.hinge_z_m),
        "the profile gives no elevation there",
        "no elevation was measured, on which the catch point depends",
    )
    across = replace(across, sigma=sigma, absent=absent, absent_verdict=verdict)
    horizontal = replace(
        across, limit="horizontal", label="distance from the catch point", value=found.horizontal
    )
    return horizontal, across
