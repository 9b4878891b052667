"""The design as an earlier revision had it: its points, alignments, profiles and tables of stakes.

What a revision does not state for itself is taken as it is now: how stations count, the profile of
a drawing's alignment, the table of the stakes.
"""

from dataclasses import replace

import numpy as np

from checker.checks.course import Course, course_of
from checker.checks.deltas import picked
from checker.checks.selecting import fits
from checker.errors import InputError
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs, Revision
from checker.model.job import AlignmentInput, Job
from checker.model.measure import Comparison, Earlier, Measure

SAME_M = 1e-4
"""Metres: two revisions that put a point so near to the same place did not move it."""


def restates(name: str | None, revision: Revision, job: Job) -> bool:
    """Tell whether a revision has an alignment, or its profile, of its own."""
    if name is None:
        return False
    given = next(each for each in job.alignments if each.name == name)
    tables = (revision.elements, revision.intersections, revision.profiles)
    return any(name in each for each in tables) or _drawn(given.layer, revision)


def _drawn(layer: str | None, revision: Revision) -> bool:
    """Tell whether a revision's drawing has lines on a layer."""
    layers = np.array([figure.layer for figure in revision.figures], dtype=object)
    return layer is not None and bool(len(layers)) and bool(fits([layer], layers).any())


def inputs_of(revision: Revision, inputs: Inputs, job: Job) -> Inputs:
    """Return the inputs with the design of an earlier revision, where it states one."""
    drawings = inputs.drawings
    if drawings and any(_drawn(each.layer, revision) for each in job.alignments):
        # Layers that the revision does not draw on keep the lines of now.
        there = {figure.layer for figure in revision.figures}
        kept = [
            figure
            for drawing in inputs.drawings
            for figure in drawing.figures
            if figure.layer not in there
        ]
        drawings = (replace(drawings[0], figures=(*revision.figures, *kept)),)
    return replace(
        inputs,
        design=revision.points,
        drawings=drawings,
        elements={**inputs.elements, **revision.elements},
        intersections={**inputs.intersections, **revision.intersections},
        profiles={**inputs.profiles, **revision.profiles},
        stakes={**inputs.stakes, **revision.stakes},
    )


def job_of(revision: Revision, job: Job) -> Job:
    """Return the job with alignments from the kind of table that a revision gives for them."""

    def then(each: AlignmentInput) -> AlignmentInput:
        if each.name in revision.elements:
            return replace(each, layer=None, intersections=None, elements=each.name)
        if each.name in revision.intersections:
            return replace(each, layer=None, elements=None, intersections=each.name)
        return each

    return replace(job, alignments=tuple(then(each) for each in job.alignments))


def older_course(name: str, revision: Revision, inputs: Inputs, job: Job) -> Course | str | None:
    """Return an alignment as a revision had it; None: not in it; a text: why it cannot be used."""
    if not restates(name, revision, job):
        return None
    try:
        return course_of(name, inputs_of(revision, inputs, job), job_of(revision, job))
    except InputError as fault:
        return useless(revision, fault)


def useless(revision: Revision, fault: InputError) -> str:
    """Return that nothing is compared with a revision, and why, as a remark."""
    words = revision.of.words
    return (
        f"{words[:1].upper()}{words[1:]} is not compared here, its design cannot be used: "
        f"{fault.problems[0].message}."
    )


def with_older_grades(measure: Measure, name: str | None, inputs: Inputs, job: Job) -> Measure:
    """Return a measure of heights on an alignment's profile that knows those of revisions."""
    if inputs.measured is None or name is None:
        return measure
    shot = measure.shots[:, 0]
    points = inputs.measured
    northing, easting = picked(points.northing_m, shot), picked(points.easting_m, shot)
    now = np.asarray(measure.column("design_z").values, dtype=np.float64)
    earlier, remarks = list(measure.earlier), list(measure.remarks)
    for revision in inputs.older:
        course = older_course(name, revision, inputs, job)
        if isinstance(course, str):
            remarks.append(course)
        elif course is not None:
            feet = course.feet(northing, easting)
            level = course.elevation(feet.distance_m, feet.offset_m)
            dz = _where_moved(picked(points.elevation_m, shot) - level, level - now)
            earlier.append(
                Earlier(
                    words=revision.of.words,
                    comparisons=(Comparison(limit="vertical", label="vertical", value=dz),),
                    move_m=raised(level - now),
                )
            )
    return replace(measure, earlier=tuple(earlier), remarks=tuple(remarks))


def _where_moved(value: FloatArray, move: FloatArray) -> FloatArray:
    """Return values where something moved, else NaN."""
    return np.where(np.abs(move) > SAME_M, value, np.nan)


def raised(move_m: FloatArray) -> FloatArray:
    """Return moves north, east and up of rows whose heights alone are compared; shape (rows, 3)."""
    there = np.where(np.isnan(move_m), np.nan, 0.0)
    return np.column_stack((there, there, move_m))
