"""Shots against the lines of an earlier revision of the design, as its drawings had them."""

from dataclasses import replace

import numpy as np

from checker.checks.chains import join_figures
from checker.checks.frame import to_grid_m, to_ground_m
from checker.checks.lines import limit_m, to_chains
from checker.checks.revisions import SAME_M
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
    if inputs.measured is None or not section.design.layers:
        return measure
    shot = measure.shots[:, 0]
    xy = to_ground_m(plan_xy_m(inputs.measured, shot), job.reference.ground)
    level = inputs.measured.elevation_m[shot]
    earlier = []
    for revision in inputs.older:
        found = _against(measure, section, revision, job, xy, level)
        if found:
            earlier.append(Earlier(words=revision.of.words, comparisons=found))
    return replace(measure, earlier=(*measure.earlier, *earlier))


def _against(
    measure: Measure,
    section: Stakeout,
    revision: Revision,
    job: Job,
    xy: FloatArray,
    level: FloatArray,
) -> tuple[Comparison, ...]:
    """Return the rows' comparisons with a revision's lines; none where it has none there."""
    layers = np.array([figure.layer for figure in revision.figures], dtype=object)
    chosen: list[int] = (
        np.flatnonzero(fits(section.design.layers, layers)).tolist() if len(layers) else []
    )
    chains = join_figures([revision.figures[index] for index in chosen]).chains
    if not chains:
        return ()
    limit = limit_m(section.tolerance)
    near = to_chains(chains, xy, limit, job.unit)
    set_off = section.stake_offset_m or 0.0
    then = to_grid_m(near.xy_m + set_off * near.aside, job.reference.ground)
    now_n, now_e = (np.asarray(measure.column(key).values) for key in ("design_n", "design_e"))
    now_z = np.asarray(measure.column("design_z").values, dtype=np.float64)
    moved = np.hypot(then[:, 1] - now_n, then[:, 0] - now_e) > SAME_M
    moved |= np.abs(near.level_m - now_z) > SAME_M
    there = moved & (np.abs(near.beyond_m) <= limit)
    across = np.where(there, near.offset_m - set_off, np.nan)
    return (
        Comparison(limit="horizontal", label="from the line", value=np.abs(across)),
        Comparison(limit="across", label="across", value=across),
        Comparison(
            limit="vertical", label="vertical", value=np.where(there, level - near.level_m, np.nan)
        ),
    )
