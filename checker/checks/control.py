"""Check shots against the known points: the proof that the control was right that day."""

import numpy as np

from checker.checks.control_sessions import about_sessions
from checker.checks.deltas import (
    Sigmas,
    counts_item,
    deltas,
    picked_text,
    point_columns,
    point_comparisons,
    sigmas_of,
    spread_items,
)
from checker.checks.selecting import exclusion_reasons, stripped_ids
from checker.checks.selecting import unique_points as unique
from checker.model.arrays import IntArray, TextArray
from checker.model.inputs import Inputs
from checker.model.job import ControlInput, Job
from checker.model.measure import Measure
from checker.model.points import Points
from checker.units import SigmaLevel


def measure_control(
    control: ControlInput, inputs: Inputs, job: Job, fitted: IntArray | None = None
) -> Measure | None:
    """Compare every as-measured point that carries a control id with that control point.

    An id may repeat, and each shot counts. Control points without a check shot and excluded shots
    are listed; they count only where a tolerance asks for proof and there is none at all. None
    where there are no as-measured points, or neither shots nor a tolerance. fitted: indices of
    shots that a site fit has brought to the control: they prove nothing, which is said, and with no
    others the control is unproven. Raises InputError where an exclusion names no shot.
    """
    known, measured = inputs.control, inputs.measured
    if known is None or measured is None:
        return None
    points = unique(known, np.arange(len(known)), control.where, "control")
    reason = exclusion_reasons(job, measured)
    names = stripped_ids(known)[points]
    position = {name: place for place, name in enumerate(names.tolist()) if name}
    at = np.array(
        [position.get(name, -1) for name in stripped_ids(measured).tolist()], dtype=np.int64
    )
    shots = np.flatnonzero((at >= 0) & (reason == ""))
    if not shots.size and control.tolerance is None:
        return None
    aside = np.flatnonzero((at >= 0) & (reason != ""))
    silent = np.setdiff1d(np.arange(len(points)), at[at >= 0])
    row_point = np.concatenate((at[shots], at[aside], silent))
    row_shot = np.concatenate((shots, aside, np.full(len(silent), -1, dtype=np.int64)))
    unchecked: TextArray = np.full(len(row_point), "", dtype=object)
    unchecked[row_shot < 0] = "no check shot"
    for row in range(len(shots), len(shots) + len(aside)):
        unchecked[row] = f"excluded: {reason[row_shot[row]]}"
    counted = np.arange(len(row_point)) < len(shots)
    if not shots.size:
        counted = np.ones(len(row_point), dtype=np.bool_)
    order = np.lexsort((np.arange(len(row_point)), row_point))
    row_point, row_shot = row_point[order], row_shot[order]
    unchecked, counted = unchecked[order], counted[order]
    stated = job.measured is not None and job.measured.sigma_level is not None
    level = None if control.tolerance is None or stated else control.tolerance.sigma_level
    found = deltas(
        known,
        points[row_point],
        measured,
        row_shot,
        _sigmas(known, points[row_point], measured, row_shot, level),
    )
    row_id = names[row_point]
    blank: TextArray = np.full(len(row_id), "", dtype=object)
    said = blank.copy()
    unproven = ""
    if fitted is not None:
        made = np.isin(row_shot, fitted)
        said[made] = "in the site fit: no independent proof"
        if made.any() and not np.any(~made & (unchecked == "")):
            unproven = "every check shot is in the site fit, so none is independent"
    return Measure(
        kind="control",
        name="control",
        where=control.where,
        tolerance=control.tolerance,
        id=row_id,
        columns=point_columns(
            found,
            picked_text(stripped_ids(measured), row_shot),
            np.zeros(len(row_id), dtype=np.bool_),
            row_id,
            known="Known",
        ),
        summary=(
            counts_item("points", "Control points", len(points)),
            counts_item("shots", "Check shots", len(shots)),
            counts_item("missing", "Without a check shot", len(points) - len(np.unique(at[shots]))),
            *spread_items(found, unchecked == ""),
        ),
        comparisons=point_comparisons(found, "the control"),
        judged_by_row=True,
        shots=row_shot[:, None],
        used=shots,
        unchecked=unchecked,
        undecided=blank,
        said=said,
        counted=counted,
        whole_unchecked=unproven,
        remarks=tuple(about_sessions(measured, shots, (at >= 0) | (reason != ""))),
    )


def _sigmas(
    known: Points, mark: IntArray, measured: Points, shot: IntArray, level: SigmaLevel | None
) -> Sigmas:
    """Return the standard deviations of shots against marks; arrays of shape (rows,).

    Where the table of control shows a mark's own, these count, and where it does not what the job
    states for all control.
    """
    stated = sigmas_of(measured, shot, level, design=False)
    own = sigmas_of(known, mark, None)
    shown = [~np.isnan(own.n) & ~np.isnan(own.e), ~np.isnan(own.z)]
    if not any(each.any() for each in shown):
        return stated
    bare = sigmas_of(measured, shot, level, control=False, design=False).joined(own)
    plan, height = shown
    correlation = None
    if bare.correlation is not None or stated.correlation is not None:
        nothing = np.zeros(len(mark))
        correlation = np.where(
            plan,
            nothing if bare.correlation is None else bare.correlation,
            nothing if stated.correlation is None else stated.correlation,
        )
    return Sigmas(
        n=np.where(plan, bare.n, stated.n),
        e=np.where(plan, bare.e, stated.e),
        h=np.where(plan, bare.h, stated.h),
        z=np.where(height, bare.z, stated.z),
        correlation=correlation,
    )
