"""The verdict of the whole job."""

from collections.abc import Sequence

import numpy as np

from checker.model.finding import Finding, Verdict


def overall(findings: Sequence[Finding]) -> tuple[Verdict, dict[Verdict, int]]:
    """Return the worst verdict, and how many counted rows or checks have each verdict.

    A check that is judged by row counts its counted rows. A check's own verdict counts once where
    it is judged as one, and where no counted row has it. A job without findings is unchecked:
    silence is no pass.
    """
    counts = dict.fromkeys(Verdict, 0)
    for finding in findings:
        codes = np.empty(0, dtype=np.int64)
        if finding.measure.judged_by_row:
            codes = finding.row_verdict[finding.measure.counted].astype(np.int64)
        of_rows = np.bincount(codes, minlength=len(Verdict)).tolist()
        if not of_rows[finding.verdict]:
            of_rows[finding.verdict] = 1
        for verdict, count in enumerate(of_rows):
            counts[Verdict(verdict)] += count
    worst = max((finding.verdict for finding in findings), default=Verdict.UNCHECKED)
    return worst, counts
