"""A mark whose governing shot is outside, while an earlier one of the same number was within."""

from dataclasses import replace

import numpy as np

from checker.model.finding import Finding, Verdict
from checker.model.points import Points


def with_earlier_shots(finding: Finding, measured: Points | None) -> Finding:
    """Return the finding with what an earlier shot of a row that is outside came to.

    No verdict changes: the latest shot governs. A number that was given to another mark by mistake
    looks just so, and whoever reads the reason should know of both shots.
    """
    measure = finding.measure
    again = next((each.values for each in measure.columns if each.key == "superseded"), None)
    if again is None or measured is None or not len(finding.row_verdict):
        return finding
    superseded = again.astype(np.bool_)
    within = np.flatnonzero(
        superseded
        & (finding.row_verdict == Verdict.WITHIN)
        & (measure.unchecked == "")
        & (measure.shots[:, 0] >= 0)
    )
    if not len(within):
        return finding
    earlier = {str(measure.id[row]): int(measure.shots[row, 0]) for row in within.tolist()}
    reasons, whole = finding.row_reason.copy(), finding.reason
    governs = ~superseded & measure.counted & (finding.row_verdict == Verdict.OUTSIDE)
    for row in np.flatnonzero(governs).tolist():
        name = str(measure.id[row])
        if name not in earlier:
            continue
        shot = earlier[name]
        place = f"{measured.files[int(measured.file[shot])]}:{int(measured.line[shot])}"
        own = str(reasons[row])
        reasons[row] = f"{own}; an earlier shot of {name} ({place}) was within"
        whole = whole.replace(f"{name}: {own}", f"{name}: {reasons[row]}", 1)
    return replace(finding, row_reason=reasons, reason=whole)
