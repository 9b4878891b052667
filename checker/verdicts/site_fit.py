"""What a failed site fit does to the points that it moved."""

import numpy as np

from checker.model.arrays import TextArray
from checker.model.finding import Finding, Verdict


def fit_doubts(finding: Finding | None, points: int) -> TextArray:
    """Return for every as-measured point why the fit that moved it is in doubt, or "".

    The answer has shape (points,). finding: of a fit that was applied, else None: one that moved
    nothing doubts nothing. A fit that nobody stated a tolerance for is unchecked: said once.
    """
    doubts: TextArray = np.full(points, "", dtype=object)
    if finding is not None and finding.verdict > Verdict.UNCHECKED:
        doubts[:] = f"site fit in doubt: {finding.reason}"
    return doubts
