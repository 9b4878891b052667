"""Shots against the lines and alignments of an earlier revision of the design."""

from dataclasses import replace

import numpy as np

from checker.checks.chains import join_figures
from checker.checks.frame import ground_scale, to_grid_m, to_ground_m
from checker.checks.lines import Near, limit_m, to_chains, to_course
from checker.checks.older_courses import SAME_M, older_course
from checker.checks.selecting import fits
from checker.checks.shots import plan_xy_m
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs, Revision
from checker.model.job import Job, Stakeout
from checker.model.measure import Comparison, Earlier, Measure


def with_older_lines(measure: Measure, section: Stakeout, inputs: Inputs, job: Job) -> Measure:
    """Return a measure of shots against lines that knows those of earlier revisions.

    A revision takes part where it has lines on the section's layers; a line that did not move
    beside a shot says nothing of it.
    """
    points = inputs.measured
    if points is None:
        return measure
    shot = measure.shots[:, 0]
    xy = to_ground_m(plan_xy_m(points, shot), job.reference.ground)
    limit = limit_m(section.tolerance)
    earlier, remarks = [], list(measure.remarks)
    for revision in inputs.older:
        near = None
        if section.design.layers:
            near = _drawn(section, revision, xy, limit, job)
        elif section.alignment is not None:
            course = older_course(section.alignment, revision, inputs, job)
            if isinstance(course, str):
                remarks.append(course)
            elif course is not None:
                near = to_course(course, points, shot, xy, limit)
                near = replace(near, level_m=course.elevation(near.along_m, np.zeros(len(xy))))
        if near is not None:
            found = _against(measure, section, near, job, points.elevation_m[shot])
            earlier.append(Earlier(words=revision.of.words, comparisons=found))
    return replace(measure, earlier=(*measure.earlier, *earlier), remarks=tuple(remarks))


def _drawn(
    section: Stakeout, revision: Revision, xy: FloatArray, limit: float, job: Job
) -> Near | None:
    """Return the nearest places of a revision's lines; None where it has none on the layers."""
    layers = np.array([figure.layer for figure in revision.figures], dtype=object)
    chosen: list[int] = (
        np.flatnonzero(fits(section.design.layers, layers)).tolist() if len(layers) else []
    )
    chains = join_figures([revision.figures[index] for index in chosen]).chains
    return to_chains(chains, xy, limit, job.unit) if chains else None


def _against(
    measure: Measure, section: Stakeout, near: Near, job: Job, level: FloatArray
) -> tuple[Comparison, ...]:
    """Return the rows' comparisons with a revision's line; NaN where it did not move."""
    limit = limit_m(section.tolerance)
    set_off = section.stake_offset_m or 0.0
    then = to_grid_m(near.xy_m + set_off * near.aside, job.reference.ground)
    now_n, now_e = (np.asarray(measure.column(key).values) for key in ("design_n", "design_e"))
    now_z = np.asarray(measure.column("design_z").values, dtype=np.float64)
    moved = np.hypot(then[:, 1] - now_n, then[:, 0] - now_e) > SAME_M
    moved |= np.abs(near.level_m - now_z) > SAME_M
    there = moved & (np.abs(near.beyond_m) <= limit)
    across = np.where(there, near.offset_m - set_off, np.nan)
    away = np.abs(across) / ground_scale(job.reference.ground)[0]
    return (
        Comparison(limit="horizontal", label="from the line", value=away),
        Comparison(limit="across", label="across", value=across),
        Comparison(
            limit="vertical", label="vertical", value=np.where(there, level - near.level_m, np.nan)
        ),
    )
