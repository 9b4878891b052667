"""As-measured elevations against the profile of an alignment, at their own place beside it."""

import numpy as np

from checker.checks.closing import column, refuse
from checker.checks.course import BEYOND_M, Course, course_of
from checker.checks.deltas import (
    Deltas,
    Lined,
    counts_item,
    deltas,
    missing_heights,
    point_columns,
    sigmas_of,
    spread_items,
)
from checker.checks.line_common import (
    beyond_m,
    description_column,
    heights_where_clear,
    in_two_places,
    line_remarks,
    off_the_ends,
    row_names,
    shots_of,
    staked_again,
    wanted_points,
)
from checker.checks.shots import select_shots, sigma_level_of
from checker.model.arrays import BoolArray, FloatArray, TextArray
from checker.model.finding import Verdict
from checker.model.inputs import Inputs
from checker.model.job import Job, Stakeout
from checker.model.measure import Comparison, Measure, Quantity

_GRADES_ALONE = (
    "Every shot is compared in height alone, with the profile at its own station and offset."
)


def measure_grades(section: Stakeout, inputs: Inputs, job: Job) -> Measure:
    """Compare the elevation of every shot with the profile at its own station and offset.

    Raises InputError where the alignment has no profile, or a selection finds nothing.
    """
    assert section.alignment is not None  # noqa: S101 - the job reader asks for it
    course = course_of(section.alignment, inputs, job)
    if course.profile is None:
        refuse(
            "no-profile",
            section.where,
            f'match = "station" without stakes compares elevations with the profile of '
            f"{course.name}, which has none",
            'give the alignment profile = "...", or design = { stakes = "..." }',
        )
    shots = select_shots(section, section.measured, inputs, job)
    rows = shots_of(section.measured, inputs, shots)
    points = shots.points
    feet = course.feet(points.northing_m[rows.shot], points.easting_m[rows.shot])
    on_it = np.abs(beyond_m(feet, course)) <= BEYOND_M
    level = np.where(on_it, course.elevation(feet.distance_m, feet.offset_m), np.nan)
    name = row_names(shots, rows)
    nothing = np.full(len(name), np.nan)
    design = wanted_points(name, nothing, nothing, level)
    sigma = sigmas_of(points, rows.shot, sigma_level_of(section, job))
    found = deltas(design, np.arange(len(name)), points, rows.shot, sigma)
    unchecked = off_the_ends(rows, feet, course, job.unit)
    shown = Lined(
        along=nothing,
        across=nothing,
        station=feet.station_m,
        offset=feet.offset_m,
        azimuth=course.alignment.azimuth_at(feet.distance_m),
    )
    sigma_dz = sigma.against_slope(
        shown.azimuth,
        course.grade(feet.distance_m),
        course.tilt(feet.distance_m, feet.offset_m),
    )
    unclear = in_two_places(feet, course)
    compared = unchecked == ""
    governing = compared & ~rows.superseded
    return Measure(
        kind="stakeout",
        name=section.name,
        where=section.where,
        tolerance=section.tolerance,
        id=name,
        columns=(
            *point_columns(found, name, rows.superseded, name, lined=shown),
            column("grade", "Grade", Quantity.GRADE, course.grade(feet.distance_m)),
            column("sigma_dz", "σ of ΔZ", Quantity.LENGTH, sigma_dz, detail=True),
            description_column(points.description[rows.shot]),
        ),
        summary=(
            counts_item("shots", "Shots compared", int(governing.sum())),
            *(each for each in spread_items(found, governing) if each.key.endswith("_z")),
        ),
        comparisons=_grade_comparisons(section, found, course, sigma_dz, unclear != ""),
        judged_by_row=True,
        shots=rows.shot[:, None],
        used=np.unique(rows.shot[compared]),
        unchecked=unchecked,
        undecided=unclear,
        said=staked_again(rows),
        counted=~rows.superseded & (rows.unchecked == ""),
        remarks=(_GRADES_ALONE, *line_remarks(section, rows, course, job.unit)),
    )


def _grade_comparisons(
    section: Stakeout, found: Deltas, course: Course, sigma_dz: FloatArray, unclear: BoolArray
) -> tuple[Comparison, ...]:
    """Return the height, and what a tolerance limits in plan, which a grade does not have."""
    rows = len(found.dz)
    absent, verdict = missing_heights(
        np.isnan(found.measured_z),
        np.isnan(found.known_z),
        f"the profile of {course.name} gives no elevation there",
    )
    vertical = Comparison(
        limit="vertical",
        label="vertical",
        value=found.dz,
        sigma=sigma_dz,
        absent=absent,
        absent_verdict=verdict,
    )
    made = [*heights_where_clear(vertical, unclear)]
    tolerance = section.tolerance
    for limit, keys in (
        ("horizontal", ("horizontal",)),
        ("along", ("along",)),
        ("across", ("across", "left", "right")),
    ):
        if tolerance is not None and any(getattr(tolerance, key) is not None for key in keys):
            why: TextArray = np.full(
                rows, f"{limit} is limited, but a grade has no place in plan", dtype=object
            )
            made.append(
                Comparison(
                    limit=limit,
                    label=limit,
                    value=np.full(rows, np.nan),
                    absent=why,
                    absent_verdict=np.full(rows, Verdict.UNCHECKED, dtype=np.int8),
                )
            )
    return tuple(made)
