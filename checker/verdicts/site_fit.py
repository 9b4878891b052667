"""What a failed site fit does to the points that it moved."""

from checker.model.arrays import TextArray, same_text
from checker.model.finding import Finding, Verdict


def fit_doubts(finding: Finding | None, points: int) -> TextArray:
    """Return for every as-measured point why the fit that moved it is in doubt, or "".

    The answer has shape (points,). finding: of a fit that was applied, else None: one that moved
    nothing doubts nothing. A fit that nobody stated a tolerance for is unchecked: said once.
    """
    doubted = finding is not None and finding.verdict > Verdict.UNCHECKED
    return same_text(f"site fit in doubt: {finding.reason}" if finding and doubted else "", points)
